"""The month of the room, gathered: what was done, what was found, how the fleet stands."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from tagkit.errors import WrongInput
from tagkit.jobs.ageing import plan_retirement
from tagkit.jobs.care_facts import time_text
from tagkit.jobs.incidents import Incident, incident_of
from tagkit.jobs.judging import catch_up
from tagkit.jobs.site import Site
from tagkit.jobs.telling import ACT, DUES, STOP, Telling, telling
from tagkit.record.care_bodies import figure
from tagkit.record.envelope import Event
from tagkit.record.words import deed

_KINDS = (
    "changed", "charge_started", "charge_ended", "watered", "cells_read", "capacity_tested",
    "leakage_tested", "repaired", "inspected", "cleaned", "held", "released", "incident",
    "registered", "retired", "amended", "voided", "steps_confirmed",
)  # fmt: skip
DONE_NAMES = {
    "changed": "battery changes", "charge_ended": "charges ended", "watered": "waterings",
    "cells_read": "rounds", "capacity_tested": "capacity tests",
    "leakage_tested": "leakage tests", "repaired": "repairs", "inspected": "inspections",
    "cleaned": "cleanings", "held": "holds opened", "released": "releases",
    "incident": "incidents", "registered": "assets taken in", "retired": "assets retired",
    "amended": "figures amended", "voided": "entries cancelled",
    "steps_confirmed": "steps confirmed",
}  # fmt: skip


@dataclass(frozen=True)
class Month:
    """A month of the room. ``until`` is its end, or now while it still runs."""

    name: str
    since: datetime
    until: datetime
    done: dict[str, int]
    charge_kinds: dict[str, int]
    charge_flags: dict[str, int]
    litres: float
    ampere_hours: float
    changes_by_day: tuple[tuple[str, int], ...]
    incidents: tuple[Incident, ...]
    work: tuple[tuple[datetime, str, str], ...]
    standing: dict[str, int]
    open: tuple[Telling, ...]
    """Grave flags that stand at its end, which is now unless the month is over."""
    overdue: dict[str, int]
    retire_first: tuple[tuple[str, float | None], ...]

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit report month --json`` prints it."""
        return {
            "month": self.name,
            "since": self.since.isoformat(),
            "until": self.until.isoformat(),
            "done": self.done,
            "charge_kinds": self.charge_kinds,
            "charge_flags": self.charge_flags,
            "water": {"value": round(self.litres, 1), "unit": "l"},
            "ah_counted": {"value": round(self.ampere_hours), "unit": "Ah"},
            "changes_by_day": dict(self.changes_by_day),
            "incidents": [one.to_json() for one in self.incidents],
            "batteries": self.standing,
            "open": [one.to_json() for one in self.open],
            "overdue": self.overdue,
            "retire_first": [{"battery": tag, "score": score} for tag, score in self.retire_first],
        }


def month_of(site: Site, name: str | None = None) -> Month:
    """The month ``YYYY-MM``; the last whole one unless named. WrongInput for no month."""
    catch_up(site)
    zone = site.timezone()
    now = site.now().astimezone(zone)
    since = _begins(name, now)
    until = min(now, next_month(since))
    events = [
        event
        for event in site.record.happened(_KINDS, since, until + timedelta(seconds=1))
        if event.known and not event.voided
    ]
    counted = Counter(event.kind for event in events)
    days: Counter[str] = Counter(
        event.happened.astimezone(zone).date().isoformat()
        for event in events
        if event.kind == "changed"
    )
    tables = site.record.outlook()
    soon = time_text(now)
    notices = [telling(one, now) for rank in (STOP, ACT) for one in tables.notices(soon, rank, 200)]
    overdue = Counter(
        told.code
        for one in tables.all_notices(soon, DUES)
        if (told := telling(one, now)).state == "overdue"
    )
    return Month(
        f"{since:%Y-%m}",
        since,
        until,
        {DONE_NAMES[kind]: counted[kind] for kind in DONE_NAMES if counted[kind]},
        dict(Counter(one.body["charge_kind"] for one in events if one.kind == "charge_started")),
        dict(Counter(flag["code"] for one in events for flag in one.body.get("flags") or ())),
        sum(figure(one.body["litres"]) or 0.0 for one in events if one.kind == "watered"),
        sum(figure(one.body["ah"]) or 0.0 for one in events if one.kind == "charge_ended"),
        tuple((day, days[day]) for day in _days(since, until)),
        tuple(incident_of(one) for one in events if one.kind == "incident"),
        tuple((one.happened, deed(one), one.by) for one in events if _worth(one)),
        tables.counts(soon),
        tuple(one for one in notices if one.code not in DUES),
        dict(overdue),
        tuple((one.tag, one.score) for one in plan_retirement(site).places[:5]),
    )


def _worth(event: Event) -> bool:
    if event.kind in ("repaired", "capacity_tested", "held", "retired"):
        return True
    return event.kind == "inspected" and bool(event.body["findings"])


def _begins(name: str | None, now: datetime) -> datetime:
    first = now.replace(day=1, hour=0, minute=0, second=0, microsecond=0)
    if name is None:
        return (first - timedelta(days=1)).replace(day=1)
    match = re.fullmatch(r"(\d{4})-(\d{2})", name.strip())
    if not match or not 1 <= int(match[2]) <= 12 or not 2000 <= int(match[1]) <= 2199:
        raise WrongInput(f"“{name}” is not a month", "Write it as YYYY-MM", "MONTH")
    begins = first.replace(year=int(match[1]), month=int(match[2]))
    if begins > now:
        raise WrongInput(f"{name} has not begun", "Name a month that has", "MONTH")
    return begins


def next_month(since: datetime) -> datetime:
    """The first moment of the month after."""
    return (since + timedelta(days=32)).replace(day=1)


def _days(since: datetime, until: datetime) -> list[str]:
    days, day = [], since
    while day < until:
        days.append(day.date().isoformat())
        day += timedelta(days=1)
    return days
