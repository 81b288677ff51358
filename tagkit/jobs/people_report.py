"""The authorisation list: who may do what, until when. Codes only; names stay with the employer."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from tagkit.jobs.paper import Paper
from tagkit.jobs.people import last_day_passed
from tagkit.jobs.report_file import check_report_file, words_of, write_report
from tagkit.jobs.site import Site
from tagkit.jobs.tables import Table
from tagkit.language.words import Words

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
    now = site.proved().astimezone(site.timezone())
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


def report_people(site: Site, out: Path, words: Words | None = None) -> PeopleList:
    """Writes the list: PDF, CSV, XLSX or JSON by the name of ``out``; ``words``: the reader's."""
    check_report_file(out)
    spoken = words or words_of(site)
    found = people_list(site)
    write_report(
        site, spoken, out,
        paper=lambda path: _paper(site, found, spoken, path),
        tables=lambda reader: [_table(found, reader)],
        facts=found.to_json(),
    )  # fmt: skip
    return found


def _table(found: PeopleList, words: Words) -> Table:
    headings = (
        words("code"), words("initials"), words("role"), words("until"), words("days left"),
        words("state"), words("certificate"),
    )  # fmt: skip
    rows = tuple(
        (one.code, one.initials, words(one.role), one.until, one.days_left, words(one.state),
         one.reference)
        for one in found.people
    )  # fmt: skip
    return Table(words("People"), headings, rows)


def _paper(site: Site, found: PeopleList, words: Words, out: Path) -> None:
    paper = Paper(site, words, words("Authorised people"))
    paper.head_of_room(paper.title, words.minute(found.at))
    paper.box(words(NOTE))
    if not found.people:
        paper.text(words("Nobody is recorded yet."))
    else:
        paper.table(_table(found, words).headings, [_row(one, words) for one in found.people],
                    (11, 11, 15, 16, 13, 17, 17), size=9, right=(4,))  # fmt: skip
    paper.y += 8
    paper.text(words("Checked by ______________________ · Date ______________________"), 9)
    paper.save(out)


def _row(one: Authorised, words: Words) -> tuple[str, ...]:
    gone = one.state == "run out"
    state = words(one.state)
    left = "" if one.days_left is None or gone else str(one.days_left)
    return (
        one.code, one.initials, words(one.role),
        words.day(one.until) if one.until else words("no end set"), left,
        state.upper() if gone else state, one.reference or words("not named"),
    )  # fmt: skip
