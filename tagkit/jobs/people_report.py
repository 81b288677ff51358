"""The authorisation list: who may do what, until when. Codes only; names stay with the employer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from tagkit.jobs.people import last_day_passed
from tagkit.jobs.site import Site
from tagkit.jobs.tables import Table, write_tables

NOTE = (
    "Only trained and authorised people change or charge batteries (OSHA 1910.178(g) and (l), local "
    "equivalents). Certificates with name, dates and evaluator stay with the employer; this list "
    "refers to them and replaces none."
)


@dataclass(frozen=True)
class Authorised:
    """One person. ``state``: runs, runs out soon, run out."""

    code: str
    initials: str
    role: str
    until: str | None
    reference: str | None
    state: str
    days_left: int | None

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit report people --json`` prints it."""
        return {
            "person": self.code, "initials": self.initials, "role": self.role,
            "until": self.until, "reference": self.reference, "state": self.state,
            "days_left": self.days_left,
        }  # fmt: skip


@dataclass(frozen=True)
class PeopleList:
    """Everyone, those that run out first first."""

    at: datetime
    people: tuple[Authorised, ...]

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit report people --json`` prints it."""
        return {"at": self.at.isoformat(), "people": [one.to_json() for one in self.people]}


def people_list(site: Site) -> PeopleList:
    """Everyone who was ever authorised here."""
    now = max(site.now(), site.record.latest()).astimezone(site.timezone())
    soon = (now.date() + timedelta(days=site.settings.people.soon_days)).isoformat()
    found = []
    for person in site.record.people().values():
        state = "runs"
        if last_day_passed(site, person.until):
            state = "run out"
        elif person.until is not None and person.until <= soon:
            state = "runs out soon"
        left = None
        if person.until is not None:
            left = (date.fromisoformat(person.until) - now.date()).days
        found.append(
            Authorised(
                person.code, person.initials, person.role, person.until, person.reference, state,
                left,
            )
        )  # fmt: skip
    return PeopleList(now, tuple(sorted(found, key=lambda one: (one.until or "9999", one.code))))


def report_people(site: Site, out: Path) -> PeopleList:
    """Writes the list: PDF, CSV, XLSX or JSON by the name of ``out``."""
    found = people_list(site)
    if out.suffix.lower() != ".pdf":
        rows = tuple(
            (one.code, one.initials, one.role, one.until, one.reference, one.state)
            for one in found.people
        )
        headings = ("code", "initials", "role", "until", "reference", "state")
        write_tables(out, [Table("People", headings, rows)], found.to_json())
        return found
    from tagkit.jobs.paper import GREY, Paper, defers

    paper = Paper(site, "Authorised people", defers(site))
    paper.text(
        f"{site.settings.site.name or site.settings.site.code}, battery room", 11, colour=GREY
    )
    paper.text("Authorised people", 22, bold=True)
    paper.text(f"{found.at:%Y-%m-%d %H:%M}", 9, colour=GREY)
    paper.y += 2
    paper.box(NOTE)
    paper.table(
        ("code", "initials", "role", "until", "days left", "state", "certificate"),
        [
            (
                one.code, one.initials, one.role, one.until or "no end set",
                "" if one.days_left is None else str(one.days_left), one.state.upper()
                if one.state == "run out" else one.state, one.reference or "not named",
            )
            for one in found.people
        ],
        (10, 10, 14, 14, 10, 16, 26),
        size=9,
    )  # fmt: skip
    if not found.people:
        paper.text("Nobody is recorded yet.")
    paper.save(out)
    return found
