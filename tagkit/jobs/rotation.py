"""Which battery goes into a truck next, and why each other one was passed over.

The outlook names the batteries that could come into question, rested longest first; what is
shown is judged by the full rules of fit and readiness. In a large fleet only those nearest to
being taken are judged one by one, and the rest is counted by what stands against it.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import plain, time_text, when
from tagkit.jobs.fit import Judgement, judge_states
from tagkit.jobs.judging import catch_up
from tagkit.jobs.readiness import gear_readiness
from tagkit.jobs.site import Site
from tagkit.record.outlook import Outlook, OutlookTables
from tagkit.record.state import AssetState
from tagkit.rules.rotation import Candidate, Place, Rotation, next_battery

FEW = 30
"""So many batteries of the truck's voltage are all judged one by one."""
_TAKEN, _OTHERS = 8, 2
"""In a larger fleet: charged ones, and those of each other standing."""

_STANDINGS = (
    "charged", "on charge", "hot", "not charged", "charge unknown", "held", "not confirmed",
    "in use",
)  # fmt: skip
_MARGIN = 0.02
"""Weights this far outside the window are not even looked at; stamps and scales differ less."""


@dataclass(frozen=True)
class Passed:
    """Batteries that were not judged one by one, and what stands against them."""

    why: str
    count: int


@dataclass(frozen=True)
class NextBattery:
    """The answer to “which one next?”."""

    truck: str
    known_as: str | None
    in_it: tuple[str, ...]
    rotation: Rotation
    passed: tuple[Passed, ...]
    truck_against: tuple[str, ...]
    """Why the truck itself may not be used."""
    at: datetime

    @property
    def next(self) -> str | None:
        """The battery to take; None when there is none, or the truck may not be used."""
        return None if self.truck_against else self.rotation.next

    @property
    def places(self) -> tuple[Place, ...]:
        """The batteries in order: those that may go, then those passed over."""
        return self.rotation.places

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit next --json`` prints it."""
        first = self.places[0] if self.places and self.places[0].place else None
        return {
            "truck": self.truck,
            "next": self.next,
            "why": first.why if first and self.next else None,
            "rotation": [place.to_json() for place in self.places],
            "passed_over": [{"why": one.why, "count": one.count} for one in self.passed],
            "truck_against": list(self.truck_against),
            "in_truck": list(self.in_it),
            "at": self.at.isoformat(),
        }


def next_for(
    site: Site, truck: str, *, at: datetime | None = None, everyone: bool = False
) -> NextBattery:
    """The battery for ``truck`` now. NotFound and WrongInput for what is no truck of ours.

    ``everyone``: every battery of its voltage is judged one by one, however long that takes.
    """
    catch_up(site)
    state = asset(site.record, truck, Kind.TRUCK)
    now = (at or site.now()).astimezone(site.timezone())
    tables = site.record.outlook()
    rows = _rows(tables, state, everyone)
    judged = [_judged(site, row, state, at) for row in rows if row.standing != "retired"]
    rotation = next_battery([one for one in judged if one], now)
    fact = state.nameplate.get("fleet_number")
    return NextBattery(
        state.tag,
        str(fact["value"]) if fact else None,
        tuple(held.tag for held in site.record.held_by(state.tag)),
        rotation,
        tuple(_not_judged(tables, state, rows)),
        tuple(reason.sentence for reason in gear_readiness(state).reasons),
        now,
    )


def _rows(tables: OutlookTables, truck: AssetState, everyone: bool) -> list[Outlook]:
    """The batteries worth judging, those that may go first."""
    volts = plain(truck.nameplate.get("voltage"))
    if volts is None:
        return []
    around = (volts - 0.01, volts + 0.01)
    there = sum(tables.standings(volts).values())
    if everyone or there <= FEW:
        return tables.batteries(around, _STANDINGS, None, there)
    window = _window(truck)
    return [
        row
        for standing in _STANDINGS
        for row in tables.batteries(
            around, (standing,), window, _TAKEN if standing == "charged" else _OTHERS
        )
    ]


def _window(truck: AssetState) -> tuple[float, float] | None:
    low, high = (plain(truck.nameplate.get(name)) for name in ("weight_min", "weight_max"))
    if low is None or high is None:
        return None
    return low * (1 - _MARGIN), high * (1 + _MARGIN)


def _judged(site: Site, row: Outlook, truck: AssetState, at: datetime | None) -> Candidate | None:
    state = site.record.state(row.tag)
    if state is None or state.retired_at:
        return None
    judgement = judge_states(site, state, truck, at=at)
    place = state.place or {}
    elsewhere = ""
    if place.get("kind") == "truck":
        same = place["name"] == truck.tag
        elsewhere = "in this truck" if same else f"in truck {place['name']}"
    ready = judgement.readiness
    return Candidate(
        state.tag,
        judgement.verdict.result,
        ready,
        _against(judgement),
        when(row.rested_since) if row.rested_since else None,
        elsewhere,
    )


def _against(judgement: Judgement) -> tuple[str, ...]:
    """The lines that decide, in words."""
    return tuple(
        f"{check.name} {check.found or 'not known'}, required {check.required or 'not known'}"
        for check in judgement.verdict.checks
        if check.result == judgement.verdict.result
    )[:3] if judgement.verdict.result != "fit" else ()  # fmt: skip


def _not_judged(tables: OutlookTables, truck: AssetState, rows: list[Outlook]) -> list[Passed]:
    """How many batteries were left out, by what stands against them."""
    volts = plain(truck.nameplate.get("voltage"))
    found = []
    others = {known: count for known, count in tables.voltages().items() if known != volts}
    if others:
        found.append(Passed("another voltage", sum(others.values())))
    if volts is None:
        return [Passed("the truck's voltage is not known", sum(others.values()))]
    shown = Counter(row.standing for row in rows)
    for standing, count in tables.standings(volts).items():
        left = count - shown.get(standing, 0)
        if left > 0 and standing != "retired":
            found.append(Passed(f"{standing}, not judged one by one", left))
    return found


def rotation_list(site: Site, now: datetime | None = None) -> dict[str, int]:
    """How many batteries there are by standing, ready and resting apart."""
    catch_up(site)
    return site.record.outlook().counts(time_text(now or site.now()))
