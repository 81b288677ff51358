"""Finding the row with the column headers, below whatever title stands above it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tagkit.intake.columns import read_header, unit_symbol
from tagkit.intake.grid import Cell, Row
from tagkit.intake.meanings import DIMENSIONS, PASSED_OVER

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


def whole_header(rows: Sequence[Row], index: int) -> tuple[Row, int]:
    """The header at ``index`` with what a line of its own above or below adds to it, and where
    the rows begin.

    Suppliers part a header in two lines: "Weight" over "kg" and "lb", "Voltage" over "V". A line
    below belongs to it if each of its cells is a unit or makes a header that states something;
    of a line above only that is taken without which the header says nothing.
    """
    header, below = rows[index], index + 1
    if below < len(rows) and _goes_on(header, rows[below]):
        header, below = _joined(header, rows[below]), below + 1
    if index and rows[index - 1].number == rows[index].number - 1:
        header = _completed(header, rows[index - 1])
    return header, below


def _goes_on(header: Row, line: Row) -> bool:
    tops = _spread(header, len(line.cells))
    adds = False
    for column, cell in line.filled():
        text, top = cell.text.strip(), tops[column]
        if cell.number or cell.problem or len(text) > 60:
            return False
        if text == header.cell(column).text.strip():
            continue  # a head that reaches over both lines
        if unit_symbol(text) is None and not _states_something(_under(top, text)):
            return False
        adds = True
    return adds


def _joined(header: Row, line: Row) -> Row:
    width = max(len(header.cells), len(line.cells))
    tops = _spread(header, width)
    texts = []
    for column in range(width):
        own, below = header.cell(column).text.strip(), line.cell(column).text.strip()
        texts.append(own if below in ("", own) else _under(tops[column], below))
    return Row(line.number, tuple(Cell(text) for text in texts))


def _under(top: str, text: str) -> str:
    """The header that ``text`` makes below ``top``: a unit in brackets, both words, or its own."""
    if dimension := _dimension(top, text):
        return dimension
    if unit_symbol(text) is not None and top:
        return f"{top} ({text})"
    both = f"{top} {text}".strip()
    return both if _states_something(both) or not _states_something(text) else text


def _dimension(top: str, text: str) -> str | None:
    """The header of one of the dimensions that stand below a head for all three, whose unit
    counts for each: "L" below "Dimensions (mm)" is "L (mm)". None where it is not one."""
    above = read_header(top)
    if DIMENSIONS not in above.meanings.values() or top == text:
        return None
    own = read_header("height" if text.casefold() == "h" else text)  # elsewhere, an h is an hour
    if own.unit or not own.meanings or not set(own.meanings.values()) <= _DIMENSIONS:
        return None
    return f"{own.header} ({above.unit})" if above.unit else own.header


_DIMENSIONS = frozenset(("length", "width", "height"))


def _completed(header: Row, above: Row) -> Row:
    tops = _spread(above, len(header.cells))
    cells = []
    for column, cell in enumerate(header.cells):
        text = cell.text.strip()
        both = _under(tops[column], text)
        silent = text and not _states_something(text) and not _known_number(text)
        told = silent and _states_something(both)
        cells.append(Cell(both) if told or _dimension(tops[column], text) else cell)
    return Row(header.number, tuple(cells))


def _spread(row: Row, width: int) -> list[str]:
    """The texts of a line of heads, each over the columns to its right that have none."""
    texts, last = [], ""
    for column in range(width):
        last = row.cell(column).text.strip() or last
        texts.append(last)
    return texts


def _known_number(text: str) -> bool:
    return PASSED_OVER in read_header(text).meanings.values()


def _single_column(rows: Sequence[Sequence[str]]) -> bool:
    return all(len([text for text in row if text.strip()]) <= 1 for row in rows[:_LOOK_IN])


def _states_something(text: str) -> bool:
    column = read_header(text)
    return any(name != PASSED_OVER for name in column.meanings.values())
