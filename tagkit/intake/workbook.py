"""XLSX workbooks, read row by row.

Numbers come as numbers and are never ambiguous; a unit shown by the number format ("0 "kg"")
is kept. A formula counts by the value that was saved with it. A cell merged over several rows
holds for each of them. Hidden rows count: what was hidden was delivered all the same.
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any

from tagkit.errors import WrongInput
from tagkit.intake import limits
from tagkit.intake.grid import Cell, Form, Grid, build_rows
from tagkit.units import Ambiguous, unit_named

_FORMULA = re.compile(rb"<(?:\w+:)?f[\s/>]")
_MERGED = re.compile(rb"<(?:\w+:)?mergeCell\s[^>]*?ref=[\"']([A-Z]{1,3})(\d+):([A-Z]{1,3})(\d+)")
_MOST_MERGED = 5_000
_LAST_ROW = 1_048_576  # of any worksheet
_MOST_PLACES = 10 * limits.CELLS  # cells and the empty places to their left
_WITHOUT_VALUE = "the formula was saved without its value"


def read_workbook(data: bytes, where: str) -> list[Grid]:
    """Every worksheet with something in it; raises WrongInput when the file can't be read."""
    with _archive(data, where) as archive:
        _check_archive(archive, where)
        try:
            grids = list(_grids(data, archive, where))
        except WrongInput as error:
            error.where = error.where or where
            raise
        except Exception as error:
            # A damaged workbook can break the library in any way it likes.
            raise WrongInput(
                f"this workbook is damaged ({type(error).__name__})",
                "Open it in a spreadsheet program and save it again as XLSX",
                where,
            ) from error
    return [grid for grid in grids if grid.rows]


def _archive(data: bytes, where: str) -> zipfile.ZipFile:
    try:
        return zipfile.ZipFile(io.BytesIO(data))
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise WrongInput(
            "this workbook is damaged or was not copied to the end",
            "Copy or save the file again",
            where,
        ) from error


def _check_archive(archive: zipfile.ZipFile, where: str) -> None:
    parts = archive.infolist()
    names = {part.filename for part in parts}
    if any(part.flag_bits & 1 for part in parts):
        raise WrongInput("the file is protected by a password", "Save it without one", where)
    unpacked = sum(part.file_size for part in parts)
    if unpacked > limits.UNPACKED_BYTES or len(parts) > limits.PARTS:
        raise WrongInput(
            f"unpacked the file would take {unpacked / 1e6:,.0f} MB in {len(parts):,} parts; "
            f"at most {limits.UNPACKED_BYTES / 1e6:,.0f} MB and {limits.PARTS:,} are read",
            "Copy the table alone into a new workbook",
            where,
        )
    if "mimetype" in names and b"opendocument" in archive.read("mimetype")[:100]:
        raise WrongInput("this is an OpenDocument file", "Save it as XLSX or CSV", where)
    if any(name.endswith("workbook.bin") for name in names):
        raise WrongInput("this is a binary workbook (.xlsb)", "Save it as XLSX", where)
    if "[Content_Types].xml" not in names or not any(
        name.endswith("workbook.xml") for name in names
    ):
        raise WrongInput("this is a ZIP file but no workbook", "Save the sheet as XLSX", where)


def _grids(data: bytes, archive: zipfile.ZipFile, where: str) -> Iterator[Grid]:
    import openpyxl

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # features of the workbook that don't concern us
        values = openpyxl.load_workbook(io.BytesIO(data), read_only=True, data_only=True)
        formulas: Any = None
        for sheet in values.worksheets:
            xml = archive.read(sheet._worksheet_path)
            beside: Any = None
            if _FORMULA.search(xml):
                formulas = formulas or openpyxl.load_workbook(io.BytesIO(data), read_only=True)
                beside = formulas[sheet.title]
            place = f"{where}, worksheet “{sheet.title}”"
            rows = build_rows(_merged(_rows(sheet, beside), _spans(xml)), place)
            yield Grid(rows, Form("xlsx"), sheet.title, hidden=sheet.sheet_state != "visible")


def _rows(sheet: Any, beside: Any) -> Iterator[tuple[Cell, ...]]:
    formulas = _raw_rows(beside) if beside is not None else None
    for row in _raw_rows(sheet):
        written = next(formulas, ()) if formulas is not None else ()
        yield tuple(
            _cell(cell, written[index] if index < len(written) else None)
            for index, cell in enumerate(row)
        )


def _raw_rows(sheet: Any) -> Iterator[tuple[Any, ...]]:
    sheet.reset_dimensions()  # the size that the file states may be wrong
    places = 0
    for row in sheet.iter_rows(max_row=_LAST_ROW):
        places += len(row)
        if places > _MOST_PLACES:
            raise WrongInput(
                f"the worksheet “{sheet.title}” has cells far beside its table",
                "Copy the table alone into a new workbook",
            )
        yield row


def _cell(cell: Any, written: Any) -> Cell:
    value = cell.value
    if value is None:
        if getattr(written, "data_type", None) != "f":
            return Cell()
        formula = getattr(written.value, "text", written.value)
        return Cell(str(formula), problem=_WITHOUT_VALUE)
    if isinstance(value, bool):
        return Cell("yes" if value else "no")
    if isinstance(value, int | float):
        return _number(value, str(cell.number_format or "General"))
    if isinstance(value, datetime):
        return Cell(value.date().isoformat())
    if isinstance(value, date | time):
        return Cell(value.isoformat())
    if isinstance(value, timedelta):
        return Cell(str(value))
    return Cell(str(value))


def _number(value: int | float, style: str) -> Cell:
    # A spreadsheet holds and shows 15 digits; what lies beyond is binary noise.
    digits = Decimal(f"{value:.15g}") if isinstance(value, float) else Decimal(value)
    if not digits.is_finite() or abs(digits.adjusted()) > 30:
        return Cell(str(value))
    text = f"{digits:f}"
    if re.fullmatch(r"0{2,20}", style) and digits == int(digits):
        return Cell(text.zfill(len(style)))  # numbers with leading zeros are names
    if style.count("%") == 1 and '"' not in style:
        return Cell(f"{digits * 100:f}", number=True, unit="%")
    return Cell(text, number=True, unit=_shown_unit(style))


def _shown_unit(style: str) -> str:
    """The unit that a number format like ``#,##0 "kg"`` shows, or nothing."""
    first = style.split(";")[0]
    words = re.findall(r'"([^"]*)"|\\(.)', first)
    shown = "".join(quoted or single for quoted, single in words).strip()
    if not shown:
        return ""
    try:
        unit = unit_named(shown)
    except Ambiguous:
        return shown
    return unit.symbol if unit else ""


def _spans(xml: bytes) -> list[tuple[int, int, int]]:
    """First row, last row and column (0-based) of cells merged over several rows."""
    found = []
    for count, match in enumerate(_MERGED.finditer(xml)):
        if count >= _MOST_MERGED:
            break
        top, bottom = int(match[2]), int(match[4])
        if top < bottom <= _LAST_ROW:
            found.append((top, bottom, _index(match[1].decode("ascii"))))
    return found


def _index(letters: str) -> int:
    index = 0
    for letter in letters:
        index = index * 26 + ord(letter) - ord("A") + 1
    return index - 1


def _merged(
    rows: Iterator[tuple[Cell, ...]], spans: list[tuple[int, int, int]]
) -> Iterator[tuple[Cell, ...]]:
    if not spans:
        yield from rows
        return
    held: dict[int, tuple[int, Cell]] = {}  # column -> last row, cell
    tops: dict[int, list[tuple[int, int]]] = {}
    for top, bottom, column in spans:
        tops.setdefault(top, []).append((bottom, column))
    for number, row in enumerate(rows, 1):
        cells = list(row)
        for column, (bottom, cell) in held.items():
            if number <= bottom and column < len(cells) and cells[column].empty:
                cells[column] = cell
        for bottom, column in tops.get(number, []):
            if column < len(cells) and not cells[column].empty:
                held[column] = (bottom, cells[column])
        yield tuple(cells)
