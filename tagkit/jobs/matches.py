"""What a battery goes with in the whole fleet: its trucks or chargers, by plates."""

from __future__ import annotations

from dataclasses import dataclass

from tagkit.assets.tag import Kind
from tagkit.jobs.fit import Judgement, judge_states
from tagkit.jobs.plates import PlateGroup, plate_groups
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState
from tagkit.rules.verdict import Check, Result

_ORDER: dict[Result, int] = {"fit": 0, "not_confirmed": 1, "no_fit": 2}


@dataclass(frozen=True)
class Match:
    """Trucks or chargers with one plate, and the verdict on the battery with each of them."""

    group: PlateGroup
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
    """All trucks (or chargers) in the fleet, by plate: those that fit first."""
    found = [
        Match(group, judge_states(site, battery, group.example))
        for group in plate_groups(site, kind)
    ]
    return sorted(found, key=lambda one: (_ORDER[one.result], -len(one.group.tags), one.group.tags))
