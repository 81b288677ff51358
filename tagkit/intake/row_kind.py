"""What a row is: battery, truck, charger, lifting gear or room equipment."""

from __future__ import annotations

from tagkit.assets.tag import Kind
from tagkit.intake.cells import SAVE_IT
from tagkit.intake.columns import Column
from tagkit.intake.figures import is_unknown, kind_named, range_in
from tagkit.intake.grid import Cell, Row
from tagkit.intake.meanings import WINDOW
from tagkit.intake.reading import RowReading
from tagkit.intake.sheet import Sheet


def kind_of_row(row: Row, sheet: Sheet, forced: Kind | None, reading: RowReading) -> Kind | None:
    """The kind that a column, the caller or the filled columns tell; None with the problem."""
    column = sheet.columns.kind_column
    cell = row.cell(column.index) if column else Cell()
    if column is not None and not cell.empty and not is_unknown(cell.text):
        named = None if cell.problem else kind_named(cell.text)
        if cell.problem:
            problem = f"cell {column.letter}{row.number}: {cell.problem}"
            reading.report(column.shown, cell.text, problem, SAVE_IT)
        elif named is None:
            reading.report(
                column.shown,
                cell.text,
                f"“{cell.text.strip()}” is no kind of asset",
                "Write battery, truck, charger, lifting gear or room equipment",
            )
        elif forced is not None and named is not forced:
            reading.report(
                column.shown,
                cell.text,
                f"the row is a {named.noun}, only {forced.noun} rows are read",
                "Put it into a sheet of its own",
            )
            return None
        return named
    kind = forced or _told_by_columns(row, sheet)
    if kind is None:
        reading.report(column.shown if column else "", "", "it can't be told what this row is",
                "Add a column “Kind” that says battery, truck or charger")  # fmt: skip
    return kind


def _told_by_columns(row: Row, sheet: Sheet) -> Kind | None:
    kinds = sheet.columns.kinds
    filled = [column for column in sheet.columns.known if not row.cell(column.index).empty]
    told = {kind for column in filled for kind in column.tells}
    if any(_holds_window(column, row) for column in filled):
        told.add(Kind.TRUCK)
    if len(told) == 1:
        return told.pop()
    if told:
        return None
    if not kinds or len(kinds) > 1:
        return None if sheet.columns.kind_column else Kind.BATTERY
    (kind,) = kinds
    figures = {column.meanings.get(Kind.BATTERY) for column in filled}
    if kind is Kind.TRUCK and figures & {"weight", "capacity"} and _has_window(sheet):
        return None  # a battery among trucks, or a truck with its own weight
    return kind


def _holds_window(column: Column, row: Row) -> bool:
    """Whether a cell for a weight holds a minimum and a maximum, as only a truck's does."""
    text = row.cell(column.index).text
    weighs = column.meanings.get(Kind.TRUCK) == WINDOW
    return weighs and len(text) < 100 and range_in(text) is not None


def _has_window(sheet: Sheet) -> bool:
    """Whether the sheet has columns for the smallest or largest battery weight."""
    return any(
        column.meanings.get(Kind.TRUCK) in ("weight_min", "weight_max")
        for column in sheet.columns.known
    )
