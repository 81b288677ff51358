"""What a rule of care found: a stable code, a sentence for people, and how much it matters."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal, get_args

Severity = Literal["note", "watch", "act", "stop"]
"""In rising order. ``stop``: neither use nor charge it until somebody has inspected it."""

SEVERITIES: tuple[Severity, ...] = get_args(Severity)


@dataclass(frozen=True)
class Flag:
    """One finding; ``cell`` is the number of the cell it is about, from the positive post."""

    code: str
    sentence: str
    severity: Severity
    cell: int | None = None

    def __str__(self) -> str:
        return self.sentence

    def to_json(self) -> dict[str, Any]:
        """As commands print it."""
        return {
            "code": self.code,
            "sentence": self.sentence,
            "severity": self.severity,
            "cell": self.cell,
        }


def worst(flags: Iterable[Flag]) -> Severity | None:
    """The highest severity among ``flags``; None when there is none."""
    return max((flag.severity for flag in flags), key=SEVERITIES.index, default=None)
