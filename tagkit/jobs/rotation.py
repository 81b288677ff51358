"""Which battery goes into a truck next, and why each other one was passed over.

The outlook names the batteries that could come into question, rested longest first; what is
shown is judged by the full rules of fit and readiness. In a large fleet only those nearest to
being taken are judged one by one, and the rest is counted by what stands against it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import plain, time_text, when
from tagkit.jobs.fit import Beside, Judgement
from tagkit.jobs.flagged import flagged
from tagkit.jobs.judging import catch_up
from tagkit.jobs.site import Site
from tagkit.record.search import Rested
from tagkit.record.state import AssetState
from tagkit.rules.rotation import Candidate, Place, Rotation, next_battery

FEW = 30
"""So many batteries of the truck's voltage are all judged one by one."""
_TAKEN, _OTHERS = 8, 2
"""In a larger fleet: charged ones, more where none of these may go, and those of each other
standing."""
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
    volts = plain(state.nameplate.get("voltage"))
    standings = site.record.outlook().standings()
    alike = {
        known: there
        for known, there in standings.items()
        if volts is not None and same_voltage(known, volts)
    }
    beside = Beside(site, state, now)
    judged = _worth_judging(site, alike, beside, everyone)
    fact = state.nameplate.get("fleet_number")
    return NextBattery(
        state.tag,
        str(fact["value"]) if fact else None,
        tuple(held.tag for held in site.record.held_by(state.tag)),
        next_battery([one for few in judged.values() for one in few if one], now),
        tuple(_not_judged(standings, alike, volts, judged)),
        tuple(reason.sentence for reason in beside.ready.reasons),
        now,
    )


def same_voltage(one: float, other: float) -> bool:
    """Whether two nominal voltages are the same but for how they are stored."""
    return abs(one - other) <= 0.01


def _worth_judging(
    site: Site, alike: Mapping[float, Mapping[str, int]], beside: Beside, everyone: bool
) -> dict[str, list[Candidate | None]]:
    """Standing -> batteries of these voltages, judged, those that may go first; None is one that
    has just left the fleet."""
    standings = {standing for there in alike.values() for standing in there}
    everyone = everyone or sum(sum(there.values()) for there in alike.values()) <= FEW
    window = None if everyone else _window(beside.other)
    now = time_text(beside.now)
    found: dict[str, list[Candidate | None]] = {}
    for standing in sorted(standings):
        judged = found[standing] = []
        most = _TAKEN if standing == "charged" else _OTHERS
        for row in site.record.rested(alike, standing):
            if len(judged) >= most and not everyone:
                # Of the charged ones the first that fits must not be missed.
                ready = standing == "charged" and (row.rested_since or now) <= now
                if not ready or any(one and one.may_go for one in judged):
                    break
            if window is None or _within(window, row):
                judged.append(_judged(site, row, beside))
    return found


def _window(truck: AssetState) -> tuple[float, float] | None:
    low, high = (plain(truck.nameplate.get(name)) for name in ("weight_min", "weight_max"))
    if low is None or high is None:
        return None
    return low * (1 - _MARGIN), high * (1 + _MARGIN)


def _within(window: tuple[float, float], row: Rested) -> bool:
    """A battery whose weight is not known is judged: its line says so."""
    return row.kilograms is None or window[0] <= row.kilograms <= window[1]


def _judged(site: Site, row: Rested, beside: Beside) -> Candidate | None:
    state = site.record.state(row.tag)
    if state is None or state.retired_at:
        return None
    judgement = beside.judge(state)
    place = state.place or {}
    elsewhere = ""
    if place.get("kind") == "truck":
        same = place["name"] == beside.other.tag
        elsewhere = "in this truck" if same else f"in truck {place['name']}"
    return Candidate(
        state.tag,
        judgement.verdict.result,
        judgement.readiness,
        _against(judgement),
        when(row.rested_since) if row.rested_since else None,
        elsewhere,
        flagged(site, state, beside.now) if judgement.go else (),
    )


def _against(judgement: Judgement) -> tuple[str, ...]:
    """The lines that decide, in words."""
    return tuple(
        check.note
        if check.name == "married"
        else f"{check.name} {check.found or 'not known'}, required {check.required or 'not known'}"
        for check in judgement.verdict.checks
        if check.result == judgement.verdict.result
    )[:3] if judgement.verdict.result != "fit" else ()  # fmt: skip


def _not_judged(
    standings: Mapping[float, Mapping[str, int]],
    alike: Mapping[float, Mapping[str, int]],
    volts: float | None,
    judged: Mapping[str, Sequence[Candidate | None]],
) -> Iterator[Passed]:
    """How many batteries were left out, by what stands against them."""
    others = sum(sum(there.values()) for known, there in standings.items() if known not in alike)
    if volts is None:
        yield Passed("the truck's voltage is not known", others)
        return
    if others:
        yield Passed("another voltage", others)
    for standing, those in judged.items():
        there = sum(counts.get(standing, 0) for counts in alike.values())
        if (left := there - len(those)) > 0:
            yield Passed(f"{standing}, not judged one by one", left)
