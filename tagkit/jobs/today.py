"""The morning list: what is overdue and due, what was flagged, what changed since yesterday."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from tagkit.jobs.care_facts import time_text
from tagkit.jobs.judging import catch_up
from tagkit.jobs.people import last_day_passed
from tagkit.jobs.site import Site
from tagkit.jobs.telling import ACT, DUES, NOTE, SEVERITY, STOP, WATCH, Telling, telling
from tagkit.record.envelope import Event
from tagkit.record.words import deed

MOST = 200
"""Lines of each severity that are listed; the rest is counted."""

_TOLD_KINDS = (
    "incident", "held", "released", "repaired", "inspected", "capacity_tested", "retired",
    "registered", "amended",
)  # fmt: skip
_COUNTED = {
    "changed": "changes",
    "charge_started": "charges begun",
    "charge_ended": "charges ended",
    "watered": "waterings",
    "cells_read": "rounds",
    "cleaned": "cleanings",
    "seen_at": "batteries seen",
    "leakage_tested": "leakage tests",
    "steps_confirmed": "steps confirmed",
}


@dataclass(frozen=True)
class Running:
    """An authorisation that has run out or will soon."""

    person: str
    role: str
    until: str
    ran_out: bool

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit today --json`` prints it."""
        return {
            "person": self.person, "role": self.role, "until": self.until, "ran_out": self.ran_out
        }  # fmt: skip


@dataclass(frozen=True)
class Happened:
    """Something worth telling that was recorded since yesterday."""

    event: str
    at: datetime
    words: str
    by: str
    kind: str

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit today --json`` prints it."""
        return {
            "event": self.event, "at": self.at.isoformat(), "what": self.words, "by": self.by,
            "kind": self.kind,
        }  # fmt: skip


@dataclass(frozen=True)
class Today:
    """The list. ``counts`` by severity and code are of everything, also of what is not listed."""

    at: datetime
    since: datetime
    standing: dict[str, int]
    tellings: tuple[Telling, ...]
    counts: tuple[tuple[str, str, int], ...]
    people: tuple[Running, ...]
    happened: tuple[Happened, ...]
    done: dict[str, int]

    @property
    def flags(self) -> tuple[Telling, ...]:
        """What was flagged, the gravest first."""
        return tuple(one for one in self.tellings if one.code not in DUES)

    @property
    def dues(self) -> tuple[Telling, ...]:
        """What is overdue, due and soon due."""
        order = {"overdue": 0, "due": 1, "soon": 2, "never done": 3}
        found = [one for one in self.tellings if one.code in DUES]
        return tuple(sorted(found, key=lambda one: (order[one.state or "due"], one.at)))

    def count(self, severity: str) -> int:
        """Everything of one severity."""
        return sum(number for grade, _, number in self.counts if grade == severity)

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit today --json`` prints it."""
        return {
            "at": self.at.isoformat(),
            "since": self.since.isoformat(),
            "batteries": self.standing,
            "flags": [one.to_json() for one in self.flags],
            "due": [one.to_json() for one in self.dues],
            "counts": [
                {"severity": grade, "code": code, "count": number}
                for grade, code, number in self.counts
            ],
            "people": [one.to_json() for one in self.people],
            "changed": {
                "done": self.done,
                "events": [one.to_json() for one in self.happened],
            },
        }


def today(site: Site, *, at: datetime | None = None, most: int = MOST) -> Today:
    """The list as it stands now. What falls due within the site's ``soon_days`` is on it."""
    catch_up(site)
    now = (at or site.now()).astimezone(site.timezone())
    tables = site.record.outlook()
    soon = time_text(now + timedelta(days=site.settings.schedule.soon_days))
    tellings = [
        telling(one, now)
        for rank in (STOP, ACT, WATCH, NOTE)
        for one in tables.notices(soon, rank, most)
    ]
    since = _since(now)
    counted = Counter(site.record.tally(since, now + timedelta(minutes=10)))
    return Today(
        now,
        since,
        tables.counts(time_text(now)),
        tuple(tellings),
        tuple((SEVERITY[rank], code, number) for rank, code, number in tables.tally(soon)),
        tuple(authorisations(site, now.date())),
        tuple(_happened(site, since, now)),
        {words: counted[kind] for kind, words in _COUNTED.items() if counted[kind]},
    )


def _since(now: datetime) -> datetime:
    """Yesterday at midnight, in the site's zone: the day before is told whole."""
    return (now - timedelta(days=1)).replace(hour=0, minute=0, second=0, microsecond=0)


def authorisations(site: Site, day: date) -> list[Running]:
    """Those that have run out, and those that will within the site's time; soonest first."""
    until = (day + timedelta(days=site.settings.people.soon_days)).isoformat()
    found = [
        Running(one.code, one.role, one.until, last_day_passed(site, one.until))
        for one in site.record.people().values()
        if one.until is not None and one.until <= until
    ]
    return sorted(found, key=lambda one: (one.until, one.person))


def _happened(site: Site, since: datetime, now: datetime) -> list[Happened]:
    events = site.record.happened(_TOLD_KINDS, since, now + timedelta(minutes=10), 60)
    told = [event for event in events if not event.voided and _worth(event)]
    return [Happened(one.id, one.happened, deed(one), one.by, one.kind) for one in told]


def _worth(event: Event) -> bool:
    """An inspection that found nothing is counted, not told."""
    return event.kind != "inspected" or not event.known or bool(event.body["findings"])
