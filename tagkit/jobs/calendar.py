"""Due dates as an iCalendar file (RFC 5545), for any calendar that takes one.

An entry keeps its identity from one export to the next, so that a calendar which reads the file
again moves entries instead of adding them.
"""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tagkit.jobs.care_facts import time_text
from tagkit.jobs.judging import catch_up
from tagkit.jobs.site import Site
from tagkit.jobs.tables import replace_file
from tagkit.jobs.telling import DUES, NOTE, SEVERITY, telling
from tagkit.jobs.today import authorisations
from tagkit.record.outlook import Notice

AHEAD = timedelta(days=90)
_WORDS = {
    "water": "water", "equalize": "equalize charge", "round": "full round",
    "pilot": "pilot cell", "inspection": "inspection", "cleaning": "wash and neutralise",
    "leakage": "case leakage test", "capacity test": "capacity test", "check": "check",
    "gear inspection": "inspection of lifting gear",
}  # fmt: skip
_ALL = -1
_LINE = 75  # octets, RFC 5545 section 3.1


def calendar_text(site: Site, at: datetime | None = None) -> str:
    """The due dates of the next 90 days and what is overdue, as text/calendar."""
    catch_up(site)
    now = at or site.now()
    until = time_text(now + AHEAD)
    stamp = f"{now.astimezone(UTC):%Y%m%dT%H%M%S}"
    lines = [
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//tagkit//battery room//EN",
        "CALSCALE:GREGORIAN",
        f"X-WR-CALNAME:{_escaped(site.settings.site.called)}",
    ]
    for one in _dated(site, until):
        told = telling(one, now)
        day = told.at.astimezone(site.timezone()).date()
        lines += _entry(
            f"{told.tag} {told.code}", day.isoformat(),
            f"{told.tag}: {_WORDS.get(told.code, told.code)}", told.sentence, stamp,
        )  # fmt: skip
    for person in authorisations(site, now.astimezone(site.timezone()).date() + AHEAD):
        lines += _entry(
            f"person {person.person}", person.until,
            f"{person.person}: authorisation ends", f"Renew it in time ({person.role}).", stamp,
        )  # fmt: skip
    lines.append("END:VCALENDAR")
    return "".join(f"{folded}\r\n" for line in lines for folded in [_folded(line)])


def _dated(site: Site, until: str) -> list[Notice]:
    """What falls due with a date of its own: mere notes have none, and are most of all notices."""
    tables = site.record.outlook()
    found = (
        one
        for rank in sorted(SEVERITY)
        if rank != NOTE
        for one in tables.notices(until, rank, _ALL)
        if one.code in DUES
    )
    return sorted(found, key=lambda one: (one.at, one.tag, one.code))


def write_calendar(site: Site, path: Path, at: datetime | None = None) -> int:
    """Writes the file; how many entries."""
    text = calendar_text(site, at)
    replace_file(path, text.encode("utf-8"))
    return text.count("BEGIN:VEVENT")


def _entry(key: str, day: str, summary: str, description: str, stamp: str) -> list[str]:
    compact = day.replace("-", "")
    identity = hashlib.sha256(key.encode()).hexdigest()[:24]
    return [
        "BEGIN:VEVENT",
        f"UID:{identity}@tagkit",
        f"DTSTAMP:{stamp}Z",
        f"DTSTART;VALUE=DATE:{compact}",
        f"SUMMARY:{_escaped(summary)}",
        f"DESCRIPTION:{_escaped(description)}",
        "TRANSP:TRANSPARENT",
        "END:VEVENT",
    ]


def _escaped(text: str) -> str:
    for plain, written in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\n", "\\n")):
        text = text.replace(plain, written)
    return "".join(char for char in text if char.isprintable() or char == "\t")


def _folded(line: str) -> str:
    """Long lines go on after a line break and a blank, never within a character."""
    parts: list[str] = []
    rest = line
    while len(rest.encode()) > _LINE - (1 if parts else 0):
        size = _LINE - (1 if parts else 0)
        cut = len(rest.encode()[:size].decode("utf-8", "ignore"))
        parts.append(rest[:cut])
        rest = rest[cut:]
    return "\r\n ".join([*parts, rest])
