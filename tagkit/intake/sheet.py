"""A delivery sheet from a file: its header, its columns, its rows, its way of writing numbers."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType

from tagkit.assets.tag import Kind
from tagkit.errors import NotFound, WrongInput
from tagkit.intake import limits
from tagkit.intake.columns import Columns, column_letter, columns_named, match_columns
from tagkit.intake.grid import Cell, Form, Grid, Row
from tagkit.intake.header import best_header, whole_header
from tagkit.intake.meanings import dimension_of
from tagkit.intake.textfile import read_text_table
from tagkit.intake.workbook import read_workbook
from tagkit.units import DecimalMark, Dimension, looks_decimal

_EXAMPLE = "Serial number, Type, Voltage, Capacity (Ah), Weight (kg)"


@dataclass(frozen=True)
class DecimalStyle:
    """How the sheet writes numbers, by its cells that can be read in one way only.

    ``mark`` is None when no cell shows it, and when they disagree; then ``point`` and ``comma``
    name a cell of each.
    """

    mark: DecimalMark | None = None
    point: str = ""
    comma: str = ""

    @property
    def in_conflict(self) -> bool:
        """Whether some cells show a decimal point and others a decimal comma."""
        return bool(self.point and self.comma)


@dataclass(frozen=True)
class Sheet:
    """A sheet as read."""

    name: str  # of the file
    worksheet: str
    form: Form
    title: tuple[Row, ...]  # what stands above the header
    header: Row
    columns: Columns
    rows: tuple[Row, ...]  # below the header; blank ones are left out
    style: DecimalStyle
    notes: tuple[str, ...] = ()

    @property
    def decimal_mark(self) -> DecimalMark | None:
        """The decimal mark that the sheet's own cells prove, or None."""
        return self.style.mark


def read_sheet(
    path: Path | str,
    worksheet: str | None = None,
    kind: Kind | None = None,
    leave_out: Collection[str] = (),
) -> Sheet:
    """The sheet in a CSV or XLSX file.

    ``worksheet`` names one of several; ``kind`` says what all rows are, if the caller knows;
    ``leave_out`` are headers or letters of columns that are not to be read.
    Raises NotFound where there is no such file, WrongInput for everything that can't be read,
    with the remedy.
    """
    path = Path(path)
    try:
        if path.is_dir():
            raise WrongInput("this is a folder", "Name the file with the sheet", str(path))
        if not path.exists():
            raise NotFound("there is no such file", "Check the name", str(path))
        if not path.is_file():
            raise WrongInput("this is no ordinary file", "Name a CSV or XLSX file", str(path))
        with path.open("rb") as file:
            data = file.read(limits.FILE_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise WrongInput(
            f"the file can't be read ({reason})", "Close it elsewhere, check its rights", str(path)
        ) from error
    return sheet_from_bytes(data, path.name, worksheet, kind, leave_out=leave_out)


def sheet_from_bytes(
    data: bytes,
    name: str,
    worksheet: str | None = None,
    kind: Kind | None = None,
    headings: Mapping[int, str] = MappingProxyType({}),
    without: Collection[int] = (),
    *,
    leave_out: Collection[str] = (),
    asks: bool = False,
) -> Sheet:
    """The same from the contents of a file called ``name``.

    ``headings`` are read in place of those of the file, by column index from 0; columns of
    ``without`` are not read, nor those that ``leave_out`` names. ``asks``: see
    :func:`tagkit.intake.columns.match_columns`.
    """
    _check_contents(data, name)
    grids = (
        read_workbook(data, name) if data[:4] == b"PK\x03\x04" else [read_text_table(data, name)]
    )
    grid, notes = _choose(grids, name, worksheet)
    header, below, index = _parted(grid, name, headings)
    try:
        without = {*without, *columns_named(header.texts, leave_out)}
        columns = match_columns(
            header.texts, [row.texts for row in below[:500]], kind, without, asks=asks
        )
    except WrongInput as error:
        error.where = ", ".join(part for part in (name, error.where) if part)
        raise
    return Sheet(
        name=name,
        worksheet=grid.name,
        form=grid.form,
        title=grid.rows[:index],
        header=header,
        columns=columns,
        rows=below,
        style=decimal_style(columns, below),
        notes=notes,
    )


def mended(sheet: Sheet, written: Mapping[tuple[int, int], str], without: Collection[int]) -> Sheet:
    """The sheet with other texts in some cells, by row number and column index, from 0.

    Rows whose numbers are in ``without`` are left out.
    """
    rows = tuple(
        _mended_row(
            row, {column: text for (of, column), text in written.items() if of == row.number}
        )
        for row in sheet.rows
        if row.number not in without
    )
    return replace(sheet, rows=rows, style=decimal_style(sheet.columns, rows))


def _mended_row(row: Row, written: Mapping[int, str]) -> Row:
    if not written:
        return row
    width = max(len(row.cells), *(column + 1 for column in written))
    cells = [row.cell(index) for index in range(width)]
    for column, text in written.items():
        cells[column] = Cell(text)
    return Row(row.number, tuple(cells))


def _check_contents(data: bytes, name: str) -> None:
    if not data.strip(b" \t\r\n\x00\xef\xbb\xbf\xff\xfe"):
        raise WrongInput("the file is empty", "Check that it was saved and copied", name)
    if len(data) > limits.FILE_BYTES:
        raise WrongInput(
            f"the file is larger than {limits.FILE_BYTES / 1e6:.0f} MB",
            "Copy the table alone into a new file",
            name,
        )
    if data.startswith(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"):
        if "EncryptedPackage".encode("utf-16-le") in data:
            raise WrongInput("the file is protected by a password", "Save it without one", name)
        raise WrongInput("this is an old workbook (.xls)", "Save it as XLSX or CSV", name)
    if data.startswith(b"%PDF"):
        raise WrongInput("this is a PDF", "Ask the supplier for the sheet as XLSX or CSV", name)
    if (
        data.lstrip(b"\xef\xbb\xbf \t\r\n")[:200]
        .lower()
        .startswith((b"<!doctype", b"<html", b"<table", b"<?xml"))
    ):
        raise WrongInput(
            "this is a web page or XML file, whatever its name says",
            "Open it in a spreadsheet program and save it as XLSX",
            name,
        )


def _choose(grids: list[Grid], name: str, worksheet: str | None) -> tuple[Grid, tuple[str, ...]]:
    if worksheet is not None:
        for grid in grids:
            if grid.name.casefold() == worksheet.strip().casefold():
                return grid, ()
        names = ", ".join(f"“{grid.name}”" for grid in grids) or "none with anything in it"
        raise WrongInput(f"there is no worksheet “{worksheet}”", f"There are: {names}", name)
    visible = [grid for grid in grids if not grid.hidden] or grids
    headed = [grid for grid in visible if _header_of(grid) is not None]
    with_rows = [grid for grid in headed if _has_rows(grid)] or headed
    if len(with_rows) > 1:
        names = ", ".join(f"“{grid.name}”" for grid in with_rows)
        raise WrongInput(
            f"{len(with_rows)} worksheets look like deliveries: {names}",
            "Say which one is meant, or save it as a file of its own",
            name,
        )
    if not with_rows:
        raise _no_header(name)
    others = [grid.name for grid in grids if grid is not with_rows[0]]
    notes = (f"worksheets not read: {', '.join(others)}",) if others else ()
    return with_rows[0], notes


def _no_header(name: str) -> WrongInput:
    return WrongInput(
        "no row of column headers was recognised",
        f"Give the columns headers in plain words, like: {_EXAMPLE}",
        name,
    )


def _header_of(grid: Grid) -> int | None:
    found = best_header([row.texts for row in grid.rows[:40]])
    return found.index if found else None


def _has_rows(grid: Grid) -> bool:
    index = _header_of(grid)
    return index is not None and bool(grid.rows[index + 1 :])


def _parted(grid: Grid, name: str, headings: Mapping[int, str]) -> tuple[Row, tuple[Row, ...], int]:
    """The header, the rows below it, and where the header begins."""
    index = _header_of(grid)
    if index is None:
        raise _no_header(name)
    header, below = whole_header(grid.rows, index)
    rows = grid.rows[below:]
    if not rows:
        raise WrongInput(
            f"nothing stands below the headers of row {header.number}",
            "Send the sheet with its rows",
            name,
        )
    return _mended_row(header, headings), rows, index


def decimal_style(columns: Columns, rows: Iterable[Row]) -> DecimalStyle:
    """What the cells with figures, held as text, show beyond doubt."""
    figures = [
        column
        for column in columns.known
        if any(
            dimension_of(kind, field) not in (None, Dimension.DENSITY)
            for kind, field in column.meanings.items()
        )
    ]
    seen: dict[DecimalMark, str] = {}
    for row in rows:
        for column in figures:
            cell = row.cell(column.index)
            if cell.number or not cell.text or len(cell.text) > 60:
                continue
            mark = looks_decimal(cell.text)
            if mark is not None:
                place = f"{column_letter(column.index)}{row.number} “{cell.text.strip()}”"
                seen.setdefault(mark, place)
    point, comma = seen.get("point", ""), seen.get("comma", "")
    only: DecimalMark | None = None
    if bool(point) != bool(comma):
        only = "point" if point else "comma"
    return DecimalStyle(only, point, comma)
