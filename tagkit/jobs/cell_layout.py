"""How the cells lie in the case: rows of cell numbers, numbered from the positive post.

The cells are joined one after the other, so the numbers run to and fro along the rows.
"""

from __future__ import annotations

import re

_USUAL = {6: 2, 9: 3, 12: 2, 18: 3, 20: 4, 24: 4, 36: 6, 40: 5}
"""Cells -> rows that such a case usually has."""


def cell_rows(layout: str | None, cells: int) -> list[list[int]]:
    """Rows of cell numbers as they lie, the positive post at the first of the first row.

    ``layout`` is what the nameplate says ("2 rows of 6", "4 x 6"); where it says nothing that
    gives ``cells``, the usual case is drawn.
    """
    rows = _rows_of(layout or "", cells) or _USUAL.get(cells) or _squarest(cells)
    across = -(-cells // rows)
    numbers = list(range(1, cells + 1))
    lines = [numbers[start : start + across] for start in range(0, cells, across)]
    return [line if place % 2 == 0 else line[::-1] for place, line in enumerate(lines)]


def _rows_of(layout: str, cells: int) -> int | None:
    found = [int(number) for number in re.findall(r"\d+", layout)]
    if len(found) >= 2 and found[0] * found[1] == cells:
        return found[0]
    return None


def _squarest(cells: int) -> int:
    """The most rows, at most the square root, that divide the cells evenly."""
    return next(rows for rows in range(int(cells**0.5), 0, -1) if cells % rows == 0)
