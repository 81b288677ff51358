"""A notice as people and programs see it: how grave, since when, overdue or soon."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from tagkit.jobs.care_facts import when
from tagkit.record.outlook import NO_CELL, Notice
from tagkit.rules.flags import SEVERITIES, Severity

RANK: dict[Severity, int] = {severity: rank for rank, severity in enumerate(reversed(SEVERITIES))}
STOP, ACT, WATCH, NOTE = (RANK[one] for one in ("stop", "act", "watch", "note"))
SEVERITY = {rank: severity for severity, rank in RANK.items()}

DUES = (
    "water", "equalize", "round", "pilot", "inspection", "cleaning", "leakage", "capacity test",
    "check", "gear inspection",
)  # fmt: skip
"""Codes of what falls due, apart from flags."""

RELEASED = "released"
"""Code of a pass for one use that nobody has used yet."""

DUE_TITLES = {
    "pilot": "Pilot cell", "round": "Full round", "equalize": "Equalize charge",
    "cleaning": "Wash and neutralise", "inspection": "Inspection", "leakage": "Case leakage test",
    "capacity test": "Capacity test", "water": "Water", "check": "Room equipment",
    "gear inspection": "Lifting gear",
}  # fmt: skip


@dataclass(frozen=True)
class Telling:
    """A notice as people and programs see it."""

    tag: str
    code: str
    severity: str
    sentence: str
    at: datetime
    state: str | None
    """Of what falls due: overdue, due, soon, never done; None for a flag."""
    cell: int | None

    def to_json(self) -> dict[str, Any]:
        """As commands print it."""
        return {
            "asset": self.tag,
            "code": self.code,
            "severity": self.severity,
            "sentence": self.sentence,
            "at": self.at.isoformat(),
            "state": self.state,
            "cell": self.cell,
        }


def telling(notice: Notice, now: datetime) -> Telling:
    """The notice at ``now``."""
    at = when(notice.at)
    state = None
    if notice.code in DUES:
        if notice.rank == NOTE:
            state = "never done"
        elif at > now:
            state = "soon"
        else:
            state = "overdue" if now > at + timedelta(days=1) else "due"
    cell = notice.cell if notice.cell != NO_CELL and notice.code != "to do" else None
    return Telling(notice.tag, notice.code, SEVERITY[notice.rank], notice.sentence, at, state, cell)
