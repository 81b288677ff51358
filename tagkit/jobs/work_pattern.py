"""How the fleet works, from the changes on record: which shifts, how many of the trucks in each,
and how much of a battery an hour of work takes.

A truck whose battery will not last takes another when its shift begins, so changes follow work
through the week; what a use took is known from charges and gauges. Together they say how much
was used in a week, without which a plan would have every truck at work in every shift.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from tagkit.jobs.site import Site
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.rules.pool_simulation import Manned

WEEKS = 8
FEWEST_CHANGES = 60
FEWEST_WEEKS = 3.0
MOST_CHANGES = 20_000
_WORTH_PLANNING = 0.02  # of the changes: a shift with fewer is no shift
_AT_MOST = 20.0  # % in an hour; more is a wrong entry, not work


@dataclass(frozen=True)
class WorkPattern:
    """``manned``: share of the trucks at work by (weekday, shift); ``changes`` by truck."""

    weeks: float
    shifts: tuple[tuple[float, float], ...]
    manned: Manned
    changes: Mapping[str, int]

    @property
    def counted(self) -> int:
        """Changes that it was read from."""
        return sum(self.changes.values())

    @property
    def hours_a_week(self) -> float:
        """Hours that a truck is at work in a week, in the mean."""
        return sum(
            share * (self.shifts[shift][1] - self.shifts[shift][0])
            for (_, shift), share in self.manned.items()
        )

    def percent_an_hour(self, trucks: Sequence[str], percent_of_a_use: float) -> float | None:
        """Of capacity in an hour of work, for these trucks; None when they had no changes."""
        changes = sum(self.changes.get(tag, 0) for tag in trucks)
        if not changes or not self.hours_a_week:
            return None
        a_week = changes * percent_of_a_use / self.weeks / len(trucks)
        return min(_AT_MOST, a_week / self.hours_a_week)


def usual_shifts(site: Site) -> tuple[tuple[float, float], ...]:
    """What is assumed while the record does not tell: the site's shifts that end by midnight."""
    shifts = site.settings.schedule.shift_hours()
    return tuple(shift for shift in shifts if shift[1] <= 24) or shifts


def work_pattern(site: Site, trucks: Sequence[AssetState]) -> WorkPattern | None:
    """The pattern of the last weeks on record; None where too little is on record to tell."""
    known = {state.tag for state in trucks}
    last = max((state.last_changed_at for state in trucks if state.last_changed_at), default=None)
    if last is None:
        return None
    until = datetime.fromisoformat(last) + timedelta(minutes=1)
    found = [
        event
        for event in site.record.happened(
            ["changed"], until - timedelta(weeks=WEEKS), until, MOST_CHANGES
        )
        if event.known and not event.voided and event.body["truck"] in known
    ]
    if len(found) < FEWEST_CHANGES:
        return None
    weeks = (until - min(event.happened for event in found)) / timedelta(weeks=1)
    if weeks < FEWEST_WEEKS:
        return None
    return _pattern(site, found, weeks)


def _pattern(site: Site, changes: Sequence[Event], weeks: float) -> WorkPattern:
    zone = site.timezone()
    shifts = site.settings.schedule.shift_hours()
    places: Counter[tuple[int, int]] = Counter()
    for event in changes:
        moment = event.happened.astimezone(zone)
        into = [(moment.hour + moment.minute / 60 - start) % 24 for start, _ in shifts]
        # A change between two shifts counts to the one that has ended last.
        shift = min(
            range(len(shifts)),
            key=lambda number: (
                into[number] >= shifts[number][1] - shifts[number][0],
                into[number],
            ),
        )
        begun = moment - timedelta(hours=into[shift])
        places[begun.weekday(), shift] += 1
    worked = [
        shift
        for shift in range(len(shifts))
        if sum(places[day, shift] for day in range(7)) >= _WORTH_PLANNING * len(changes)
    ]
    busiest = max(places.values())
    manned = {
        (day, number): places[day, shift] / busiest
        for day in range(7)
        for number, shift in enumerate(worked)
    }
    by_truck = Counter(event.body["truck"] for event in changes)
    return WorkPattern(weeks, tuple(shifts[shift] for shift in worked), manned, by_truck)
