"""The condition of labels in service: from pictures to what to reprint, kept with each asset."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from tagkit.jobs.site import Site

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tagkit.reader.condition import Condition
    from tagkit.reader.grading import Grading
    from tagkit.reader.read import Read
    from tagkit.reader.sources import Frame
    from tagkit.record.state import AssetState


@dataclass(frozen=True, eq=False)
class LabelCondition:
    """One label in a picture: who it is, what was measured, what to do.

    ``printed`` is the form the record knows (template, revision …), None when the form was taken
    from the picture.
    """

    read: Read
    condition: Condition
    grading: Grading
    registered: bool
    printed: dict[str, Any] | None

    @property
    def tag(self) -> str:
        """Its number."""
        return str(self.read.tag)

    @property
    def to_keep(self) -> bool:
        """Whether it goes into the record: a known asset, and a picture that can be judged by."""
        return self.registered and not self.grading.doubts

    def to_json(self) -> dict[str, Any]:
        """The label's part of a picture's object. Shares run from 0 to 1; what was measured is
        null where the label could not be judged."""
        measured = self._measured() if self.grading.judged else dict.fromkeys(self._measured())
        return {
            "tag": self.tag,
            "verdict": self.grading.verdict,
            "reasons": [
                {"code": one.code, "reason": one.sentence, "verdict": one.verdict}
                for one in self.grading.reasons
            ],
            "doubts": list(self.grading.doubts),
            "registered": self.registered,
            "method": self.read.method,
            "printed": self.printed,
            "symbol": {
                "version": self.condition.symbol.version,
                "level": self.condition.symbol.level,
                "mask": self.condition.symbol.mask,
            },
            **measured,
            "pixels_per_module": round(self.condition.pixels_per_module, 2),
            "corners": [[round(x, 1), round(y, 1)] for x, y in self.read.corners],
        }

    def _measured(self) -> dict[str, Any]:
        found = self.condition
        sides = zip(("top", "right", "bottom", "left"), found.frame_sides, strict=True)
        return {
            "unused_error_correction": round(found.unused_error_correction, 3),
            "blocks": [
                {"codewords": one.codewords, "mendable": one.mendable, "wrong": one.wrong}
                for one in found.blocks
            ],
            "contrast": round(found.contrast, 3),
            "modulation_grade": found.modulation,
            "fixed_pattern_damage": {name: round(share, 3) for name, share in found.fixed_patterns},
            "grid_nonuniformity": {"value": round(found.grid_nonuniformity, 2), "unit": "modules"},
            "frame": _rounded(found.frame),
            "frame_sides": {name: _rounded(share) for name, share in sides},
            "quiet_zone": _rounded(found.quiet_zone),
            "glare": round(found.glare, 3),
        }


def conditions_in(
    site: Site, picture: NDArray[Any], reads: Sequence[Read] | None = None
) -> list[LabelCondition]:
    """The condition of every label of ours in one picture (grey or BGR, uint8).

    ``reads``: labels read or recovered before, with their corners; without, they are read here,
    and those that no decoder reads are recovered among the site's.
    """
    from tagkit.jobs.roster import roster_of
    from tagkit.reader.condition import expected_symbol, measure
    from tagkit.reader.grading import grade
    from tagkit.reader.read import read_picture, to_grey

    grey = to_grey(picture)
    limits = site.settings.condition
    found = []
    for read in read_picture(grey, roster_of(site)) if reads is None else reads:
        if read.tag is None:
            continue
        state = site.record.state(read.tag)
        forms = _printed_forms(state, read)
        symbols = [_symbol(form) for form in forms]
        symbol, _ = expected_symbol(grey, read.text, read.corners, symbols)
        condition = measure(grey, symbol, read.corners)
        printed = next(
            (form for form, one in zip(forms, symbols, strict=True) if one == symbol), None
        )
        registered = state is not None and state.registered_at is not None
        found.append(LabelCondition(read, condition, grade(condition, limits), registered, printed))
    return found


def keep_conditions(
    site: Site,
    looked_at: Sequence[LabelCondition],
    *,
    by: str,
    station: str,
    at: datetime | None = None,
) -> list[str]:
    """Keep what was found with each asset; ids of the events.

    Numbers not in the record are left out, and labels whose picture is doubtful. Of several
    labels of one asset the worst is kept: that one has to be mended.
    """
    worst: dict[str, LabelCondition] = {}
    for one in looked_at:
        if one.to_keep and (one.tag not in worst or _order(one) < _order(worst[one.tag])):
            worst[one.tag] = one
    if not worst:
        return []
    with site.record.writing(by=by, station=station, at=at) as writing:
        return [writing.append("label_inspected", [tag], _body(one)).id
                for tag, one in worst.items()]  # fmt: skip


def open_pictures(sources: Sequence[str]) -> list[Frame]:
    """The pictures of files and folders, all of them opened before anything is recorded.

    WrongInput or NotFound for what is no picture; a video is not taken: name one of its frames.
    """
    from tagkit.errors import WrongInput
    from tagkit.reader.sources import open_source

    frames = []
    for name in sources:
        with open_source(name) as source:
            if source.kind not in ("picture", "folder"):
                raise WrongInput(
                    "a label's condition is judged on a picture", "Save one frame of it", name
                )
            frames += list(source)
            if source.troubles:
                raise source.troubles[0]
    return frames


def _order(one: LabelCondition) -> tuple[int, float]:
    from tagkit.reader.grading import VERDICTS

    return -VERDICTS.index(one.grading.verdict), one.condition.unused_error_correction


def _body(one: LabelCondition) -> dict[str, Any]:
    found = one.condition
    return {
        "asset": one.tag,
        "verdict": one.grading.verdict,
        "unused_error_correction": round(found.unused_error_correction, 3),
        "contrast": round(found.contrast, 3),
        "frame": _rounded(found.frame),
        "fixed_pattern_damage": round(found.fixed_pattern_damage, 3),
        "reasons": [reason.sentence for reason in one.grading.reasons],
        "label": one.printed,
        "method": one.read.method,
    }


def _printed_forms(state: AssetState | None, read: Read) -> list[dict[str, Any]]:
    """The forms in which such labels were printed, newest first, each once.

    A decoder has read what the symbol says; of a recovered label only the number is known, so
    that any payload with it may be on it.
    """
    from tagkit.assets.payload import tag_in

    forms: dict[tuple[Any, ...], dict[str, Any]] = {}
    for label in sorted(state.labels if state else [], key=lambda one: -one["revision"]):
        payload = label["payload"]
        same = payload == read.text or (read.method == "recovered" and tag_in(payload) == read.tag)
        if same:
            key = (payload, label["version"], label["level"], label["mask"])
            forms.setdefault(key, label)
    return list(forms.values())


def _symbol(form: dict[str, Any]) -> Any:
    from tagkit.symbol.encode import encode

    return encode(form["payload"], form["level"], form["version"], form["mask"])


def _rounded(share: float | None) -> float | None:
    return None if share is None else round(share, 3)
