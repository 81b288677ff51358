"""Assets with one plate: whatever is judged by plates is judged once for all of them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from tagkit.assets.tag import Kind
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


def plate_groups(site: Site, kind: Kind, *also: str) -> list[PlateGroup]:
    """The assets of a kind that are registered and not retired, by plate, in order of number.

    ``also`` names fields that tell groups apart although no rule asks for them.
    """
    groups: dict[str, list[dict[str, Any]]] = {}
    for state in site.record.kept_states(kind):
        if state.get("retired_at") is None and state.get("registered_at") is not None:
            groups.setdefault(_judged_by(state, also), []).append(state)
    return [_group(states) for states in groups.values()]


def called(state: AssetState) -> str | None:
    """What people call it, apart from its number: fleet number or bay."""
    return next(_calls(state.nameplate), None)


def _group(states: list[dict[str, Any]]) -> PlateGroup:
    example = next((state for state in states if not state.get("holds")), states[0])
    return PlateGroup(
        AssetState(**example),
        tuple(str(state["tag"]) for state in states),
        tuple(next(_calls(state.get("nameplate") or {}), str(state["tag"])) for state in states),
    )


def _judged_by(state: dict[str, Any], also: tuple[str, ...]) -> str:
    """Everything that the verdict on fit depends on, as text to be compared."""
    plate = state.get("nameplate") or {}
    facts = {name: fact for name, fact in plate.items() if name not in _NAMES or name in also}
    married = state.get("married_at") is not None or bool(state.get("as_stamped"))
    return json.dumps([facts, married, state.get("unknown_kinds")], sort_keys=True)


def _calls(plate: dict[str, Any]) -> Iterator[str]:
    return (str(fact["value"]) for field in ("fleet_number", "bay") if (fact := plate.get(field)))
