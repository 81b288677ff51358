"""Marrying: making sure that a label sticks on the asset it was printed for.

After sticking, the label is scanned and what is stamped on that very case (or written on that
nameplate) is keyed in. Only then do the figures count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tagkit.assets.designation import contradictions, parse_designation
from tagkit.assets.fields import fields_of, read_fact
from tagkit.assets.kinds import PLATES
from tagkit.assets.stated import Source, Stated
from tagkit.assets.tag import Kind
from tagkit.errors import NeedsAnswer, WrongInput
from tagkit.jobs.answers import check_answer
from tagkit.jobs.assets import asset, is_married, plate
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.units import Dimension, Quantity

# What has to be keyed in, by kind; the other fields may be.
REQUIRED = {
    Kind.BATTERY: ("maker_serial", "voltage", "weight"),
    Kind.TRUCK: ("maker_serial", "voltage", "weight_min", "weight_max"),
    Kind.CHARGER: ("maker_serial", "voltages"),
    Kind.LIFTING: ("maker_serial",),
    Kind.ROOM: ("maker_serial",),
}
OPTIONS = {
    "maker_serial": "--serial",
    "voltage": "--voltage",
    "voltages": "--voltage",
    "weight": "--weight",
    "weight_min": "--weight-min",
    "weight_max": "--weight-max",
}
_INSTEAD = {
    (
        Kind.TRUCK,
        "weight",
    ): "Key in the two weights on its plate with --weight-min and --weight-max",
    (Kind.BATTERY, "weight_min"): "Key in the weight on its case with --weight",
    (Kind.BATTERY, "weight_max"): "Key in the weight on its case with --weight",
}


def options_for(kind: Kind) -> str:
    """The options of “tagkit marry” that this kind needs: “--serial … --voltage …”."""
    return " ".join(f"{OPTIONS[name]} …" for name in REQUIRED[kind])


@dataclass(frozen=True)
class Married:
    """What was logged, and every difference from what the record had."""

    event: Event
    tag: str
    differences: tuple[str, ...]
    notes: tuple[str, ...]


def marry(
    site: Site,
    number: str,
    stamped: dict[str, str],
    *,
    by: str,
    station: str,
    at: datetime | None = None,
    answer: str | None = None,
    photos: Sequence[str] = (),
) -> Married:
    """The label with this number is on its asset, where ``stamped`` (field -> text) is written.

    ``photos`` are names that keep_photo gave.

    Raises WrongInput when something required is missing, impossible or belongs to another
    asset; NeedsAnswer when the stamp differs from the record and nobody has said which is right.
    """
    with site.record.writing(by=by, station=station, at=at) as writing:
        found = asset(writing, number)
        kind = Kind(found.kind)
        if found.retired_at:
            raise WrongInput(f"{found.tag} is retired", "A number is never used again")
        facts = _facts(kind, stamped)
        check_jumpered(found)
        serial = str(facts["maker_serial"].value)
        other = site.record.by_maker_serial(kind, serial)
        if other is not None and other.tag != found.tag:
            raise WrongInput(
                f"serial {serial} belongs to {other.tag}, so this label is on the wrong "
                f"{kind.noun}",
                f"Take the label off and stick the one of {other.tag} there",
                "--serial",
            )
        differences = _differences(found.nameplate, facts)
        notes = _against_designation(kind, found, facts)
        if is_married(found):
            notes = (*notes, f"{found.tag} was married before; this is a repeated check")
        check_answer(answer)
        if differences and is_married(found):
            # Figures that count already are not changed by one person at a station.
            raise NeedsAnswer(
                f"the stamp on {found.tag} differs from the record, and it was married before: "
                f"{'; '.join(differences)}",
                "Read the stamp again. If the label is on the wrong case, move it; if the record "
                "is wrong, amend it with “tagkit amend” and a second person. Nothing was logged",
            )
        if (differences or _contradicts(notes)) and answer == "as-recorded":
            raise WrongInput(
                "then what was keyed in is not what is stamped there",
                "Read the stamp again and key it in; nothing was logged",
                "--answer",
            )
        if (differences or _contradicts(notes)) and answer is None:
            raise NeedsAnswer(
                f"the stamp on {found.tag} differs from the record: {'; '.join((*differences, *notes))}",
                "Read the stamp again. If it is right, add --answer as-shown; if the label is on "
                "the wrong case, move it. Nothing was logged",
            )
        event = writing.append(
            "married",
            [found.tag],
            {
                "facts": {name: fact.stored() for name, fact in facts.items()},
                "differences": [*differences, *notes],
                # Without an answer there is only the note of a repeated check that agreed.
                "settled": (answer or "as-shown") if differences or notes else None,
                **({"photos": list(photos)} if photos else {}),
            },
        )
    return Married(event, found.tag, differences, notes)


def _facts(kind: Kind, stamped: dict[str, str]) -> dict[str, Stated[Any]]:
    source = Source.STAMPED if kind is Kind.BATTERY else Source.NAMEPLATE
    known = fields_of(PLATES[kind])
    given = dict(stamped)
    if kind is Kind.CHARGER and "voltage" in given:
        given["voltages"] = given.pop("voltage")
    for name in given:
        if name not in known:
            instead = _INSTEAD.get((kind, name))
            raise WrongInput(
                f"a {kind.noun} has no {name.replace('_', ' ')}",
                "Leave that option out" if instead is None else instead,
                OPTIONS.get(name, name),
            )
    missing = [name for name in REQUIRED[kind] if name not in given]
    if missing:
        raise WrongInput(
            f"for a {kind.noun}, the {known[missing[0]].label} must be given",
            "Key in what is stamped on it",
            ", ".join(OPTIONS[name] for name in missing),
        )
    facts = {name: read_fact(known[name], written, source) for name, written in given.items()}
    _check_window(facts)
    return facts


def check_jumpered(found: AssetState) -> None:
    """A bridged cell is not seen on the stamp, which would make the battery fit again."""
    if found.jumpered:
        cells = ", ".join(map(str, found.jumpered))
        raise WrongInput(
            f"cell {cells} of {found.tag} is jumpered, so the stamp says more volts than it has",
            "Have the cell replaced and record that repair first; nothing was logged",
        )


def _check_window(facts: dict[str, Stated[Any]]) -> None:
    low, high = facts.get("weight_min"), facts.get("weight_max")
    if low and high and low.value.exact() > high.value.exact():
        raise WrongInput(
            f"the smallest weight {low.value} is above the largest {high.value}",
            "Read the plate again",
            "--weight-min",
        )


def _differences(known: dict[str, Any], facts: dict[str, Stated[Any]]) -> tuple[str, ...]:
    found = []
    for name, fact in facts.items():
        before = known.get(name)
        if before is None:
            continue
        was = Quantity.from_stored(before) if "unit" in before else before["value"]
        if not _same(was, fact.value):
            words = name.replace("_", " ").replace("maker serial", "maker's serial")
            recorded = _beside(was, fact.value)
            found.append(f"{words}: the record has {recorded}, stamped is {_shown(fact.value)}")
    return tuple(found)


def _same(was: Any, now: Any) -> bool:
    """Equal, or apart by no more than a rounded sheet (less than 1 kg, 1 mm) or the conversion
    between units (1 kg, 1 mm) allows. The stamp is what counts from then on."""
    if isinstance(was, Quantity) and isinstance(now, Quantity):
        apart = abs(was.exact() - now.exact())
        rounded = was.dimension in (Dimension.MASS, Dimension.LENGTH) and apart < 1
        return rounded or (apart == 0 if was.unit == now.unit else apart <= 1)
    if isinstance(was, str) and isinstance(now, str):
        return _letters(was) == _letters(now)
    if isinstance(now, tuple):
        return {Quantity.from_stored(item).exact() for item in was} == {
            item.exact() for item in now
        }
    return bool(was == now)


def _letters(text: str) -> str:
    return "".join(character for character in text.upper() if character.isalnum())


def _beside(was: Any, now: Any) -> str:
    """What the record has, in the unit of the stamp too where that is another."""
    both = isinstance(was, Quantity) and isinstance(now, Quantity)
    if both and was.unit != now.unit:
        return f"{was.rounded_to(now.unit)} ({was})"
    return _shown(was)


def _shown(value: Any) -> str:
    if isinstance(value, (list, tuple)):
        return " / ".join(
            str(item if isinstance(item, Quantity) else Quantity.from_stored(item))
            for item in value
        )
    return str(value)


def _against_designation(kind: Kind, found: Any, facts: dict[str, Stated[Any]]) -> tuple[str, ...]:
    """The stamp against the trade designation that the record has for this battery."""
    if kind is not Kind.BATTERY:
        return ()
    before: Any = plate(found)
    designation = parse_designation(before.designation.value) if before.designation else None
    if designation is None:
        return ()
    import dataclasses

    return tuple(contradictions(designation, dataclasses.replace(before, **facts)))


def _contradicts(notes: tuple[str, ...]) -> bool:
    return bool(notes) and not all("repeated check" in note for note in notes)
