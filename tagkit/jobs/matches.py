"""What goes with what in the whole fleet: a battery's trucks and chargers, by groups of a kind.

Trucks with the same plate have the same verdict, so each plate is judged once.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.jobs.fit import Judgement, judge_states
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState
from tagkit.rules.verdict import Check, Result

# What tells assets of one plate apart and no rule of fit asks for.
_NAMES = ("maker_serial", "fleet_number", "bay", "model", "group", "made_on", "in_service_on",
          "warranty_until")  # fmt: skip
_ORDER: dict[Result, int] = {"fit": 0, "not_confirmed": 1, "no_fit": 2}


@dataclass(frozen=True)
class Match:
    """Assets with one plate, and the verdict on the battery with each of them."""

    tags: tuple[str, ...]
    names: tuple[str, ...]
    """What people call them, in the order of ``tags``."""
    judged: Judgement

    @property
    def result(self) -> Result:
        """fit, no_fit or not_confirmed."""
        return self.judged.verdict.result

    @property
    def deciding(self) -> tuple[Check, ...]:
        """The lines that stop it."""
        return self.judged.verdict.deciding


def matches_of(site: Site, battery: AssetState, kind: Kind) -> list[Match]:
    """All trucks (or chargers) that are not retired, by plate: those that fit first."""
    groups: dict[str, list[dict[str, Any]]] = {}
    for state in site.record.kept_states(kind):
        if state.get("retired_at") is None and state.get("registered_at") is not None:
            groups.setdefault(_judged_by(state), []).append(state)
    found = []
    for group in groups.values():
        example = AssetState(**group[0])
        found.append(
            Match(
                tuple(str(state["tag"]) for state in group),
                tuple(_name(state) for state in group),
                judge_states(site, battery, example),
            )
        )
    return sorted(found, key=lambda one: (_ORDER[one.result], -len(one.tags), one.tags))


def _judged_by(state: dict[str, Any]) -> str:
    """Everything that the verdict on fit depends on, as text to be compared."""
    plate = state.get("nameplate") or {}
    facts = {name: fact for name, fact in plate.items() if name not in _NAMES}
    married = state.get("married_at") is not None or bool(state.get("as_stamped"))
    return json.dumps([facts, married, state.get("unknown_kinds")], sort_keys=True)


def _name(state: dict[str, Any]) -> str:
    plate = state.get("nameplate") or {}
    for field in ("fleet_number", "bay"):
        if fact := plate.get(field):
            return str(fact["value"])
    return str(state["tag"])
