"""Assets with one plate: whatever is judged by plates is judged once for all of them."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from tagkit.assets.tag import Kind
from tagkit.jobs.assets import is_married
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState

# What tells assets of one plate apart and no rule of fit asks for.
_NAMES = ("maker_serial", "fleet_number", "bay", "model", "group", "made_on", "in_service_on",
          "warranty_until")  # fmt: skip


@dataclass(frozen=True)
class PlateGroup:
    """Assets in the fleet whose verdicts on fit are the same."""

    example: AssetState
    """One of them, not held if there is one."""
    tags: tuple[str, ...]
    names: tuple[str, ...]
    """What people call them, in the order of ``tags``: fleet number, bay, else the number."""
    held: frozenset[str] = frozenset()
    """Those of ``tags`` that are held."""


def plate_groups(site: Site, kind: Kind, *also: str) -> list[PlateGroup]:
    """The assets of a kind that are registered and not retired, by plate, in order of number.

    ``also`` names fields that tell groups apart although no rule asks for them.
    """
    groups: dict[str, list[_Read]] = {}
    for one in _read_again(site, kind, also):
        if one.key:
            groups.setdefault(one.key, []).append(one)
    return [_group(found) for found in groups.values()]


@dataclass(frozen=True)
class _Read:
    """A state that was read, beside the text it was read from; no key when it is of no group."""

    tag: str
    text: str
    state: AssetState
    key: str
    name: str


_KNOWN: dict[tuple[Path, Kind, tuple[str, ...]], dict[str, _Read]] = {}
"""What was read last; plates change seldom, and reading thousands of states takes long."""


def _read_again(site: Site, kind: Kind, also: tuple[str, ...]) -> Iterable[_Read]:
    """The states of a kind; only those whose text is another than last time are read."""
    place = (site.directory.resolve(), kind, also)
    before = _KNOWN.get(place, {})
    now = {}
    for tag, text in site.record.kept_states(kind):
        known = before.get(tag)
        now[tag] = known if known and known.text == text else _read(tag, text, also)
    _KNOWN[place] = now
    return now.values()


def _read(tag: str, text: str, also: tuple[str, ...]) -> _Read:
    state = AssetState.from_json(text)
    out = state.retired_at is not None or state.registered_at is None
    key = "" if out else sys.intern(_judged_by(state, also))  # thousands of plates, few sorts
    return _Read(tag, text, state, key, called(state) or tag)


def called(state: AssetState) -> str | None:
    """What people call it, apart from its number: fleet number or bay."""
    facts = (state.nameplate.get(field) for field in ("fleet_number", "bay"))
    return next((str(fact["value"]) for fact in facts if fact), None)


def _group(found: list[_Read]) -> PlateGroup:
    example = next((one.state for one in found if not one.state.holds), found[0].state)
    return PlateGroup(
        example,
        tuple(one.tag for one in found),
        tuple(one.name for one in found),
        frozenset(one.tag for one in found if one.state.holds),
    )


def _judged_by(state: AssetState, also: tuple[str, ...]) -> str:
    """Everything that the verdict on fit depends on, as text to be compared."""
    plate = state.nameplate
    facts = {name: fact for name, fact in plate.items() if name not in _NAMES or name in also}
    return json.dumps([facts, is_married(state), state.unknown_kinds], sort_keys=True)
