"""Rows that are no assets: totals, repeated headers, remarks under the table."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from tagkit.errors import WrongInput
from tagkit.intake.columns import Column, read_header
from tagkit.intake.grid import Cell, Row
from tagkit.intake.meanings import dimension_of
from tagkit.intake.sheet import Sheet
from tagkit.intake.words import plain
from tagkit.units import DecimalMark, Dimension, parse_quantity

_TOTAL = re.compile(
    r"(grand |sub ?|zwischen|general )?"
    r"(totals?|sums?|summe|gesamt|gesamtsumme|gesamtgewicht|insgesamt|suma|total general|"
    r"subtotal|total weight|peso total|gesamt gewicht|average|durchschnitt|promedio|mittelwert)"
    r"( weight| gewicht| kg| lb| batteries| batterien| baterias| pcs| stuck)?"
)
HEADER_AGAIN = "the header once more"
_REMARK_WORDS = 3
_TABLE = 3  # columns; below that a single word may well be an asset
_HEAVIEST = Decimal(6000)  # kg, of any single battery


def not_an_asset(
    row: Row, above: Sequence[Row], sheet: Sheet, mark: DecimalMark | None
) -> str | None:
    """Why ``row`` states no asset, or None when it may."""
    filled = list(row.filled())
    if not filled:
        return "blank"
    texts = [cell.text.strip() for _, cell in filled]
    if _repeats_header(filled, sheet):
        return HEADER_AGAIN
    if _says_total(filled, sheet):
        return f"a line of totals ({texts[0][:40]})"
    if len(filled) == 1 and not filled[0][1].number:
        words = texts[0].split()
        heads = len(sheet.columns.known) >= _TABLE and not any(c.isdigit() for c in texts[0])
        if heads or len(words) >= _REMARK_WORDS or len(texts[0]) > 60:
            return f"a remark: “{texts[0][:60]}”"
    if _is_bare_sum(filled, above, sheet, mark):
        return "a sum of weights"
    return None


def begins_another_table(row: Row) -> bool:
    """Whether the row is a line of headers: only words, most of which head something known."""
    filled = list(row.filled())
    if len(filled) < 2 or any(cell.number or cell.problem for _, cell in filled):
        return False
    known = sum(1 for _, cell in filled if read_header(cell.text).known)
    return known >= 2 and 2 * known >= len(filled) and not any(_figure(cell) for _, cell in filled)


def _figure(cell: Cell) -> bool:
    return any(c.isdigit() for c in cell.text) and not read_header(cell.text).known


def _repeats_header(filled: Sequence[tuple[int, Cell]], sheet: Sheet) -> bool:
    """Every cell says what the header above it says, as at the top of each printed page."""
    return all(
        index < len(sheet.header.cells)
        and cell.text.strip().casefold() == sheet.header.cells[index].text.strip().casefold()
        for index, cell in filled
    )


def _says_total(filled: Sequence[tuple[int, Cell]], sheet: Sheet) -> bool:
    """A totals word in the first cell, or in any cell of a row that names no serial."""
    words = [_TOTAL.fullmatch(plain(cell.text).strip(" :.=∑Σ")) for _, cell in filled]
    if words[0]:
        return True
    named = {
        column.index
        for column in sheet.columns.known
        if {"maker_serial", "fleet_number", "bay"} & set(column.meanings.values())
    }
    return any(words) and not any(index in named for index, _ in filled)


def _is_bare_sum(
    filled: Sequence[tuple[int, Cell]],
    above: Sequence[Row],
    sheet: Sheet,
    mark: DecimalMark | None,
) -> bool:
    """Only weights, of which one is the sum of those above it or more than any battery's."""
    columns = {column.index: column for column in sheet.columns.known}
    places = [(columns.get(index), cell) for index, cell in filled]
    if len(above) < 2 or any(column is None or not _weighs(column) for column, _ in places):
        return False
    for column, cell in places:
        assert column is not None
        total = _kilograms(column, cell, mark)
        parts = [_kilograms(column, row.cell(column.index), mark) for row in above]
        added = sum((part for part in parts if part is not None), Decimal(0))
        if total is not None and (total > _HEAVIEST or abs(total - added) <= added / 1000):
            return True
    return False


def _weighs(column: Column) -> bool:
    return any(dimension_of(kind, name) is Dimension.MASS for kind, name in column.meanings.items())


def _kilograms(column: Column, cell: Cell, mark: DecimalMark | None) -> Decimal | None:
    try:
        quantity = parse_quantity(
            cell.shown, Dimension.MASS, column.unit, "point" if cell.number else mark
        )
    except WrongInput:
        return None
    return Decimal(str(quantity.base()))
