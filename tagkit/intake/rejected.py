"""The rows that could not be taken, given back in the same form for mending.

Same columns, same kind of file, same separator and encoding, and a last column "problem" that
is passed over when the mended file is read. A cell that a spreadsheet would run as a formula is
written as text: in a workbook by its type, in a text table by an apostrophe in front, which
is taken off again on reading. Plain figures like -28 are left as they are.
"""

from __future__ import annotations

import csv
import io
import re
from decimal import Decimal
from pathlib import Path
from typing import Any

from tagkit.errors import WrongInput
from tagkit.intake.delivery import Delivery, Rejected
from tagkit.intake.grid import Cell, Row
from tagkit.intake.meanings import PASSED_OVER
from tagkit.whole_file import whole_file

_FORMULA = re.compile(r"'*(?:[\t\r\n]|\s*[=+\-@\uff1d\uff0b\uff0d\uff20])")
_PLAIN_FIGURE = re.compile(r"[+-]?\d[\d.,]*", re.ASCII)
_PROBLEM = "problem"


def write_rejected(delivery: Delivery, path: Path | str, *, force: bool = False) -> int:
    """Writes the rejected rows to ``path``; returns how many rows that were.

    The file is there whole or not at all. Raises WrongInput when it exists (unless ``force``),
    when its name does not go with the form of the sheet, and when it can't be written.
    """
    path = Path(path)
    family = delivery.sheet.form.family
    if (path.suffix.lower() in (".xlsx", ".xlsm")) != (family == "xlsx"):
        ending = ".xlsx" if family == "xlsx" else ".csv"
        raise WrongInput(
            f"the rows are written in the form of the sheet, as {ending}",
            f"Give a name that ends in {ending}",
            str(path),
        )
    if path.exists() and not force:
        raise WrongInput("this file is there already", "Give another name", str(path))
    rows = _rows(delivery)
    data = _workbook(rows, delivery) if family == "xlsx" else _text_table(rows, delivery)
    _put(data, path)
    return len(rows) - 1


def rejected_name(delivery: Delivery) -> str:
    """A file name for the rejected rows, from the name of the sheet."""
    ending = ".xlsx" if delivery.sheet.form.family == "xlsx" else ".csv"
    return f"{Path(delivery.sheet.name).stem}-to-mend{ending}"


def _rows(delivery: Delivery) -> list[list[Cell]]:
    """The header and the rejected rows, the problem in the last column."""
    sheet = delivery.sheet
    width = max([len(sheet.header.cells), *(len(row.cells) for row in sheet.rows)], default=0)
    kept = [
        index
        for index in range(width)
        if index >= len(sheet.columns.all) or not _is_ours(delivery, index)
    ]
    said: dict[int, list[Rejected]] = {}
    for entry in delivery.rejected:
        said.setdefault(entry.row, []).append(entry)
    rows = [[*_kept(sheet.header, kept), Cell(_PROBLEM)]]
    for row in sheet.rows:
        if row.number in said:
            words = " ".join(str(entry) for entry in said[row.number])
            rows.append([*_kept(row, kept), Cell(words)])
    return rows


def _is_ours(delivery: Delivery, index: int) -> bool:
    column = delivery.sheet.columns.all[index]
    return column.header.lower() == _PROBLEM and PASSED_OVER in column.meanings.values()


def _kept(row: Row, kept: list[int]) -> list[Cell]:
    return [row.cell(index) for index in kept]


def defused(text: str) -> str:
    """``text`` as a cell of a text table that no spreadsheet runs as a formula."""
    if _PLAIN_FIGURE.fullmatch(text) or not _FORMULA.match(text):
        return text
    return f"'{text}"


def _text_table(rows: list[list[Cell]], delivery: Delivery) -> bytes:
    form = delivery.sheet.form
    buffer = io.StringIO(newline="")
    writer = csv.writer(buffer, delimiter=form.delimiter, lineterminator=form.newline)
    for row in rows:
        writer.writerow([defused(cell.shown) for cell in row])
    # What stood in the file can be written in its encoding; our own words may have to yield.
    return buffer.getvalue().encode(form.encoding, errors="replace")


def _workbook(rows: list[list[Cell]], delivery: Delivery) -> bytes:
    import openpyxl
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet(delivery.sheet.worksheet or "Rows")

    def written(cell: Cell) -> Any:
        if cell.number:
            made = WriteOnlyCell(sheet, value=_figure(cell.text))
            if cell.unit:
                made.number_format = f'General "{cell.unit}"'
            return made
        made = WriteOnlyCell(sheet, value=ILLEGAL_CHARACTERS_RE.sub("", cell.text))
        if cell.text:
            made.data_type = "s"
            made.quotePrefix = True
        return made

    for row in rows:
        sheet.append([written(cell) for cell in row])
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def _figure(text: str) -> int | float:
    number = Decimal(text)
    return int(number) if number == number.to_integral_value() else float(number)


def _put(data: bytes, path: Path) -> None:
    try:
        with whole_file(path) as part:
            part.write_bytes(data)
    except OSError as error:
        raise WrongInput(
            f"the file can't be written ({error.strerror})",
            "Choose a folder you may write to",
            str(path),
        ) from error
