"""What the room needs now, for the start page."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from tagkit.jobs.care_facts import time_text
from tagkit.jobs.judging import ACT, STOP, Telling, telling
from tagkit.jobs.site import Site
from tagkit.record.search import Wanted
from tagkit.web.judged import up_to_date

MOST_TOLD = 6


@dataclass(frozen=True)
class Room:
    """The room at a glance."""

    current: bool
    """False while a large fleet is still being judged for the first time."""
    at: datetime
    counts: Mapping[str, int]
    stops: tuple[Telling, ...]
    stops_in_all: int
    acts: tuple[Telling, ...]
    acts_in_all: int
    assets: bool
    """Whether there is anything in the record."""
    contradictions: int

    @staticmethod
    def by_asset(told: Iterable[Telling]) -> Mapping[str, Sequence[Telling]]:
        """What is told of each asset, in the order in which the assets are first named."""
        found: dict[str, list[Telling]] = {}
        for one in told:
            found.setdefault(one.tag, []).append(one)
        return found


def room_now(site: Site) -> Room:
    """Counts, the gravest notices, and whether anything contradicts itself."""
    current, now = up_to_date(site), site.now()
    outlook, until = site.record.outlook(), time_text(now)
    tally: dict[int, int] = {}
    for rank, _, count in outlook.tally(until):
        tally[rank] = tally.get(rank, 0) + count
    stops, acts = (
        tuple(telling(one, now) for one in outlook.notices(until, rank, MOST_TOLD))
        for rank in (STOP, ACT)
    )
    counts = outlook.counts(until)
    return Room(
        current,
        now,
        counts,
        stops,
        tally.get(STOP, 0),
        acts,
        tally.get(ACT, 0),
        bool(counts) or site.record.search(Wanted(), 0, 1).total > 0,
        site.record.count_contradictions(),
    )
