"""What was read from one row: facts, warnings, problems."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from tagkit.assets.kinds import PLATES, AnyPlate
from tagkit.assets.stated import Stated
from tagkit.assets.tag import Kind


@dataclass(frozen=True)
class Problem:
    """Why a row can't be taken: where, what, and how to mend it."""

    column: str
    value: str
    problem: str
    remedy: str
    two_readings: bool = False  # the decimal mark or the unit would settle it


@dataclass
class RowReading:
    """What one row says."""

    row: int
    kind: Kind | None = None
    facts: dict[str, Stated[Any]] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)  # needed fields that nothing states
    problems: list[Problem] = field(default_factory=list)
    failed: set[str] = field(default_factory=set)  # fields whose cell could not be read
    unknown: set[str] = field(default_factory=set)  # fields whose cell says that nobody knows
    only_lead_acid: bool = False  # the chemistry's cell does not say which lead-acid

    def report(
        self, column: str, value: str, problem: str, remedy: str, *, two_readings: bool = False
    ) -> None:
        """Adds a problem; the row can't be taken."""
        self.problems.append(Problem(column, value.strip(), problem, remedy, two_readings))

    def plate(self) -> AnyPlate:
        """The nameplate of a row without problems."""
        assert self.kind is not None
        return PLATES[self.kind](**self.facts)

    def text(self, name: str) -> str:
        """A fact in words, or nothing."""
        fact = self.facts.get(name)
        return str(fact.value) if fact else ""
