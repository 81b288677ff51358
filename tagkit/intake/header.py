"""Finding the row with the column headers, below whatever title stands above it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tagkit.intake.columns import read_header
from tagkit.intake.meanings import PASSED_OVER

_LOOK_IN = 40  # rows
_WIDEST = 200


@dataclass(frozen=True)
class HeaderRow:
    """Where the headers stand and how many of them are understood."""

    index: int
    score: int


def best_header(rows: Sequence[Sequence[str]]) -> HeaderRow | None:
    """The row with the most headers that tagkit knows (at least two), the first of equals.

    A sheet of a single column needs just that one.
    """
    best: HeaderRow | None = None
    for index, row in enumerate(rows[:_LOOK_IN]):
        filled = [text for text in row[:_WIDEST] if text.strip()]
        score = sum(1 for text in filled if _states_something(text))
        enough = score >= 2 or (score == 1 and len(filled) == 1 and _single_column(rows))
        if enough and (best is None or score > best.score):
            best = HeaderRow(index, score)
    return best


def _single_column(rows: Sequence[Sequence[str]]) -> bool:
    return all(len([text for text in row if text.strip()]) <= 1 for row in rows[:_LOOK_IN])


def _states_something(text: str) -> bool:
    column = read_header(text)
    return any(name != PASSED_OVER for name in column.meanings.values())
