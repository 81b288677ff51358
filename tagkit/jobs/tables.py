"""Tables in and out: CSV and XLSX read as rows of texts; CSV, XLSX and JSON written.

A cell that a spreadsheet would take for a formula (it begins with = + - @ or a control
character) is written with an apostrophe before it, because words of people and of suppliers end
up in these files. Figures stay figures.
"""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any

from tagkit.errors import NotFound, WrongInput
from tagkit.intake import limits
from tagkit.intake.workbook import read_workbook
from tagkit.whole_file import whole_file

FORMATS = (".csv", ".xlsx", ".json")
# The full-width marks are taken for a formula by spreadsheets of some languages.
_FORMULA = ("=", "+", "-", "@", "\t", "\r", "\n", "|", "＝", "＋", "－", "＠")

Cell = str | int | float | bool | date | None
"""A moment (datetime) is told in the zone that it is in; JSON has its offset too."""


@dataclass(frozen=True)
class Table:
    """One table of a report: a name, headings, rows."""

    name: str
    headings: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]

    def to_json(self) -> list[dict[str, Cell]]:
        """A row as an object by heading."""
        return [dict(zip(self.headings, row, strict=True)) for row in self.rows]


def read_table(path: Path) -> list[tuple[int, list[str]]]:
    """Row numbers and cells of the first worksheet with anything in it.

    Raises NotFound and WrongInput with the remedy for everything that can't be read.
    """
    if path.is_dir():
        raise WrongInput("this is a folder", "Name a CSV or XLSX file", str(path))
    if not path.exists():
        raise NotFound("there is no such file", "Check the name", str(path))
    try:
        with path.open("rb") as file:
            data = file.read(limits.FILE_BYTES + 1)
    except OSError as error:
        raise WrongInput(
            f"the file can't be read ({error.strerror})", "Close it elsewhere", str(path)
        ) from None
    return table_from_bytes(data, path.name)


def table_from_bytes(data: bytes, name: str) -> list[tuple[int, list[str]]]:
    """The same from the contents of a file called ``name``."""
    if not data.strip():
        raise WrongInput("the file is empty", "Check that it was saved and copied", name)
    if len(data) > limits.FILE_BYTES:
        raise WrongInput("the file is too large", "Copy the table alone into a new file", name)
    if data[:4] != b"PK\x03\x04":
        return _text_rows(data, name)
    for grid in read_workbook(data, name):
        if grid.rows and not grid.hidden:
            return [(row.number, [cell.shown for cell in row.cells]) for row in grid.rows]
    raise WrongInput("the file has no rows", "Name a CSV or XLSX file with a table", name)


def _text_rows(data: bytes, name: str) -> list[tuple[int, list[str]]]:
    """Rows of a CSV file in UTF-8 or Windows-1252, separated by comma, semicolon or tab."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        try:
            text = data.decode("cp1252")
        except UnicodeDecodeError:
            text = "\0"
    if "\0" in text:
        raise WrongInput(
            "this is neither a text table nor an XLSX workbook", "Save it as XLSX or CSV", name
        )
    lines = [line for line in text.splitlines()[:50] if line.strip()]
    # The separator that most lines have the same number of; a comma may be a decimal mark.
    separator = max(";\t,", key=lambda mark: (_steady(lines, mark), mark != ","))
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
    try:
        found = [(number, row) for number, row in enumerate(rows, 1) if any(map(str.strip, row))]
    except csv.Error as error:
        raise WrongInput(f"this is no CSV file ({error})", "Save it as XLSX or CSV", name) from None
    if len(found) > limits.ROWS:
        raise WrongInput(f"more than {limits.ROWS:,} rows are too many", "Split the file", name)
    return found


def _steady(lines: Sequence[str], mark: str) -> int:
    """How many lines have the number of marks that is most frequent, none left out."""
    counts = Counter(number for line in lines if (number := line.count(mark)))
    return max(counts.values(), default=0)


def harmless(cell: Cell) -> Cell:
    """The cell as no spreadsheet takes it for a formula."""
    if isinstance(cell, str) and cell.startswith(_FORMULA):
        return f"'{cell}"
    return cell


def check_table_file(path: Path) -> None:
    """WrongInput unless the name says one of the forms that tables are written in."""
    if path.suffix.lower() not in FORMATS:
        raise WrongInput(
            f"“{path.name}” says no form of file", f"End the name in {', '.join(FORMATS)}"
        )


def write_tables(path: Path, tables: Sequence[Table], facts: Mapping[str, Any]) -> None:
    """The tables in the form that the name of ``path`` says, whole or not at all.

    ``facts`` is what JSON gets beside the tables. CSV has the tables one below the other.
    """
    suffix = path.suffix.lower()
    if suffix == ".json":
        content = {**facts, "tables": {table.name: table.to_json() for table in tables}}
        data = (json.dumps(content, ensure_ascii=False, indent=1, default=str) + "\n").encode()
    elif suffix == ".csv":
        data = csv_text(tables).encode("utf-8-sig")
    elif suffix == ".xlsx":
        data = _xlsx(tables)
    else:
        check_table_file(path)
        raise AssertionError(suffix)
    replace_file(path, data)


def replace_file(path: Path, data: bytes) -> None:
    """Writes beside ``path`` and moves it into place."""
    with whole_file(path) as part:
        part.write_bytes(data)


def csv_text(tables: Sequence[Table]) -> str:
    """The tables as CSV (RFC 4180), one below the other."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    for place, table in enumerate(tables):
        if len(tables) > 1:
            if place:
                writer.writerow([])
            writer.writerow([harmless(table.name)])
        writer.writerow([harmless(heading) for heading in table.headings])
        for row in table.rows:
            writer.writerow([_text(cell) for cell in row])
    return out.getvalue()


def _text(cell: Cell) -> Cell:
    if isinstance(cell, datetime):
        return f"{cell:%Y-%m-%d %H:%M}"
    return (
        "" if cell is None else "yes" if cell is True else "no" if cell is False else harmless(cell)
    )


def _in_workbook(cell: Cell) -> Cell:
    """Days and moments as a spreadsheet counts them; letters that XLSX can't hold go."""
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE

    if isinstance(cell, datetime):
        return cell.replace(tzinfo=None, second=0, microsecond=0)
    if isinstance(cell, date):
        return cell
    text = _text(cell)
    return ILLEGAL_CHARACTERS_RE.sub(" ", text) if isinstance(text, str) else text


def _xlsx(tables: Iterable[Table]) -> bytes:
    from openpyxl import Workbook
    from openpyxl.styles import Font

    book = Workbook()
    book.remove(book.active)
    for table in tables:
        sheet = book.create_sheet(table.name[:31])
        sheet.append([str(harmless(heading)) for heading in table.headings])
        for cell in sheet[1]:
            cell.font = Font(bold=True)
        for row in table.rows:
            sheet.append([_in_workbook(cell) for cell in row])
            for cell in sheet[sheet.max_row]:
                if cell.is_date:
                    moment = isinstance(cell.value, datetime)
                    cell.number_format = "yyyy-mm-dd hh:mm" if moment else "yyyy-mm-dd"
        sheet.freeze_panes = "A2"
        for column, heading in enumerate(table.headings):
            widest = max(
                [len(heading), *(len(str(_text(row[column]) or "")) for row in table.rows[:200])]
            )
            sheet.column_dimensions[sheet.cell(1, column + 1).column_letter].width = min(
                60, widest + 2
            )
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()
