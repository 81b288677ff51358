"""The month of the room: what was done, what was found, how the fleet stands."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from tagkit.errors import WrongInput
from tagkit.jobs.ageing import plan_retirement
from tagkit.jobs.care_facts import time_text
from tagkit.jobs.incidents import Incident, incident_of
from tagkit.jobs.judging import catch_up
from tagkit.jobs.site import Site
from tagkit.jobs.tables import Table, write_tables
from tagkit.jobs.telling import ACT, DUES, STOP, Telling, telling
from tagkit.record.care_bodies import figure
from tagkit.record.envelope import Event
from tagkit.record.words import deed

_KINDS = (
    "changed", "charge_started", "charge_ended", "watered", "cells_read", "capacity_tested",
    "leakage_tested", "repaired", "inspected", "cleaned", "held", "released", "incident",
    "registered", "retired", "amended", "voided", "steps_confirmed",
)  # fmt: skip
_NAMES = {
    "changed": "battery changes", "charge_ended": "charges ended", "watered": "waterings",
    "cells_read": "rounds", "capacity_tested": "capacity tests",
    "leakage_tested": "leakage tests", "repaired": "repairs", "inspected": "inspections",
    "cleaned": "cleanings", "held": "holds opened", "released": "releases",
    "incident": "incidents", "registered": "assets taken in", "retired": "assets retired",
    "amended": "figures amended", "voided": "entries cancelled",
    "steps_confirmed": "steps confirmed",
}  # fmt: skip
CAUTION = (
    "Work on batteries is for trained, authorised people. What stands as held, flagged or overdue "
    "here is to be settled before the battery is used; this report settles nothing."
)


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
    until = min(now, _next(since))
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
        {_NAMES[kind]: counted[kind] for kind in _NAMES if counted[kind]},
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


def report_month(site: Site, name: str | None, out: Path) -> Month:
    """Writes the report: PDF, CSV, XLSX or JSON by the name of ``out``."""
    found = month_of(site, name)
    if out.suffix.lower() == ".pdf":
        _paper(site, found, out)
    else:
        write_tables(out, tables_of(found), found.to_json())
    return found


def tables_of(found: Month) -> list[Table]:
    """The month as tables."""
    return [
        Table("Done", ("what", "count"), tuple(found.done.items())),
        Table("Changes", ("day", "changes"), found.changes_by_day),
        Table("Charges", ("kind", "count"), tuple(found.charge_kinds.items())),
        Table("Flags of charges", ("flag", "count"), tuple(found.charge_flags.items())),
        Table(
            "Incidents", ("at", "sort", "what", "hurt", "assets", "by"),
            tuple((one.at.isoformat(), one.sort, one.what, one.hurt, ", ".join(one.assets), one.by)
                  for one in found.incidents),
        ),
        Table("Open", ("asset", "severity", "what", "since"),
              tuple((one.tag, one.severity, one.sentence, one.at.isoformat())
                    for one in found.open)),
        Table("Overdue", ("what", "count"), tuple(found.overdue.items())),
        Table("Work", ("at", "what", "by"),
              tuple((at.isoformat(), what, by) for at, what, by in found.work)),
    ]  # fmt: skip


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


def _next(since: datetime) -> datetime:
    return (since + timedelta(days=32)).replace(day=1)


def _days(since: datetime, until: datetime) -> list[str]:
    days, day = [], since
    while day < until:
        days.append(day.date().isoformat())
        day += timedelta(days=1)
    return days


def _paper(site: Site, found: Month, out: Path) -> None:
    from tagkit.jobs.charts import bars
    from tagkit.jobs.paper import GREY, Paper, defers

    paper = Paper(site, f"Battery room, {found.name}", defers(site))
    name = site.settings.site.name or site.settings.site.code
    paper.text(f"{name}, battery room", 11, colour=GREY)
    paper.text(f"Month {found.name}", 22, bold=True)
    zone = site.timezone()
    if found.until < _next(found.since):
        paper.text(f"up to {found.until.astimezone(zone):%Y-%m-%d %H:%M}", 9, colour=GREY)
    paper.y += 2
    paper.box(CAUTION)
    paper.heading("Done")
    parts = [f"{count} {words}" for words, count in found.done.items()]
    paper.text(", ".join(parts) or "Nothing was recorded.", 9)
    kinds = ", ".join(f"{kind} {count}" for kind, count in sorted(found.charge_kinds.items()))
    paper.text(
        f"Charges begun: {kinds or 'none'}. Water: {found.litres:.1f} l. Counted by chargers: "
        f"{found.ampere_hours:,.0f} Ah.",
        9,
    )
    flags = ", ".join(f"{code} {count}" for code, count in sorted(found.charge_flags.items()))
    paper.text(f"Flags of charges and waterings: {flags or 'none'}.", 9)
    paper.y += 2
    paper.drawing(
        bars(
            paper.inner, 42, "Battery changes a day",
            [day[-2:] for day, _ in found.changes_by_day],
            [float(count) for _, count in found.changes_by_day],
        )
    )  # fmt: skip
    paper.heading("Incidents")
    if found.incidents:
        words = {True: "yes", False: "no", None: "not said"}
        paper.table(
            ("when", "sort", "what", "hurt", "by"),
            [
                (f"{one.at.astimezone(zone):%m-%d %H:%M}", one.sort, one.what[:240],
                 words[one.hurt], one.by)
                for one in found.incidents
            ],
            (11, 13, 62, 8, 6),
        )  # fmt: skip
    else:
        paper.text("None was recorded.", 9)
    paper.heading(f"The fleet at {site.now().astimezone(zone):%Y-%m-%d %H:%M}")
    standing = ", ".join(f"{count} {words}" for words, count in sorted(found.standing.items()))
    paper.text(f"Batteries: {standing or 'none'}.", 9)
    overdue = ", ".join(f"{what} {count}" for what, count in sorted(found.overdue.items()))
    paper.text(f"Overdue: {overdue or 'nothing'}.", 9)
    if found.open:
        paper.y += 1
        paper.table(
            ("asset", "grade", "what", "since"),
            [(one.tag, one.severity, one.sentence, f"{one.at.astimezone(zone):%Y-%m-%d}")
             for one in found.open[:25]],
            (16, 7, 65, 12),
        )  # fmt: skip
    paper.heading("First on the retirement list")
    paper.text(
        ", ".join(
            f"{tag} ({score:.0f} of 100)" if score is not None else f"{tag} (not judged)"
            for tag, score in found.retire_first
        )
        or "No battery is in use.",
        9,
    )
    paper.heading("Work and findings")
    if found.work:
        paper.table(
            ("when", "what", "by"),
            [(f"{at.astimezone(zone):%m-%d %H:%M}", what[:200], by) for at, what, by in found.work[:60]],
            (12, 81, 7),
        )  # fmt: skip
    else:
        paper.text("No repairs, tests, holds or findings.", 9)
    paper.save(out)
