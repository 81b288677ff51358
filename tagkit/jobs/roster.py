"""The reader's roster made from the record: which labels there can be, and how they were printed.

Reading ten thousand states takes some tenths of a second, so what was found is kept while the
program runs, and only assets with new events are looked up again.
"""

from __future__ import annotations

import json
import threading
from typing import TYPE_CHECKING

from tagkit.assets.payload import PayloadStyle, payload_for
from tagkit.assets.tag import Kind, parse_tag
from tagkit.jobs.printing import check_template
from tagkit.jobs.site import Site

if TYPE_CHECKING:
    from tagkit.labels.template_model import Template
    from tagkit.reader.recovery.roster import Roster, Variant
    from tagkit.record.state import AssetState

_MOST_KEPT = 4  # records; one program seldom reads for more


def roster_of(site: Site) -> Roster:
    """Every registered asset, retired ones too, with every form in which its label was printed.

    An asset that no printed label is on record for has the form that the site would print now:
    its payload, on its usual template. Ask anew whenever a picture comes in: while nothing
    about labels has changed, it is one and the same object.
    """
    key = (str(site.record.path.resolve()), site.settings.payload_style(),
           site.settings.site.units)  # fmt: skip
    with _lock:
        known = _kept.pop(key, None) or _Known()
        _kept[key] = known  # the one used last stands last
        while len(_kept) > _MOST_KEPT:
            del _kept[next(iter(_kept))]
        return known.roster(site)


class _Known:
    """What was found in one record, and up to which events."""

    def __init__(self) -> None:
        self._heads: dict[str, int] = {}
        self._labels: dict[str, tuple[Variant, ...]] = {}
        self._roster: Roster | None = None

    def roster(self, site: Site) -> Roster:
        from tagkit.reader.recovery.roster import Roster

        heads = {head.epoch: head.sequence for head in site.record.heads()}
        if self._roster is not None and heads == self._heads:
            return self._roster
        changed = self._changed(site, heads)
        self._heads = heads
        if changed or self._roster is None:
            self._roster = Roster(one for labels in self._labels.values() for one in labels)
        return self._roster

    def _changed(self, site: Site, heads: dict[str, int]) -> bool:
        """Bring the labels up to date; whether any of them changed."""
        template = check_template(site, None)
        style = site.settings.payload_style()
        if (
            any(heads.get(epoch, 0) < last for epoch, last in self._heads.items())
            or not self._heads
        ):
            # The first time, or another record stands in the same place.
            before, self._labels = self._labels, {}
            for state in site.record.states():
                if labels := _labels(state, template, style):
                    self._labels[state.tag] = labels
            return before != self._labels
        changed = False
        named = {tag for raw, _ in site.record.export(self._heads) for tag in _tags(raw)}
        for tag in sorted(named):
            found = site.record.state(tag)
            labels = _labels(found, template, style) if found is not None else ()
            if labels != self._labels.get(tag, ()):
                changed = True
                self._labels.pop(tag, None)
                if labels:
                    self._labels[tag] = labels
        return changed


_Key = tuple[str, PayloadStyle, str]
_kept: dict[_Key, _Known] = {}
_lock = threading.Lock()


def _labels(state: AssetState, template: Template, style: PayloadStyle) -> tuple[Variant, ...]:
    """The forms of one asset's label, each once; none for what is not registered."""
    from tagkit.labels.symbol_room import symbol_for
    from tagkit.reader.recovery.roster import Variant

    if state.registered_at is None:
        return ()
    tag = parse_tag(state.tag)
    if state.labels:
        return tuple(dict.fromkeys(
            Variant(tag, one["payload"], one["version"], one["level"], one["mask"])
            for one in state.labels
        ))  # fmt: skip
    payload = payload_for(tag, style)
    symbol = symbol_for(payload, template)
    return (Variant(tag, payload, symbol.version, symbol.level, symbol.mask),)


def _tags(raw: bytes) -> list[str]:
    """The assets that an event names, from its stored bytes."""
    named: list[str] = json.loads(raw)["tags"]
    return [tag for tag in named if tag[:1] in _KINDS]


_KINDS = frozenset(kind.value for kind in Kind)
