"""A delivery: the assets of a sheet in the order they are unloaded, and the rows to be mended.

The order of the rows is the order of unloading. Nothing is written anywhere; whoever takes the
delivery in decides what to do when some rows are wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from tagkit.assets.kinds import AnyPlate
from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind
from tagkit.intake.columns import Clash
from tagkit.intake.grid import Row
from tagkit.intake.leftovers import HEADER_AGAIN, begins_another_table, not_an_asset
from tagkit.intake.meanings import label_of
from tagkit.intake.reading import RowReading
from tagkit.intake.rows import read_row
from tagkit.intake.sheet import Sheet
from tagkit.units import DecimalMark

KnownSerials = Callable[[Kind, str], str | None]


@dataclass(frozen=True)
class DeliveryRow:
    """One asset, as the sheet states it. ``row`` is the number the spreadsheet shows."""

    row: int
    kind: Kind
    plate: AnyPlate
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Rejected:
    """One thing that is wrong with one row; a row may have several."""

    row: int
    column: str  # its header; empty when it is about the whole row
    value: str
    problem: str
    remedy: str

    def to_json(self) -> dict[str, Any]:
        """``{"row", "column", "value", "problem", "remedy"}``."""
        return {
            "row": self.row,
            "column": self.column,
            "value": self.value,
            "problem": self.problem,
            "remedy": self.remedy,
        }

    def __str__(self) -> str:
        place = f"row {self.row}, {self.column}" if self.column else f"row {self.row}"
        return f"{place}: {self.problem}. {self.remedy}."


@dataclass(frozen=True)
class Delivery:
    """What a sheet delivers."""

    sheet: Sheet
    rows: tuple[DeliveryRow, ...]
    rejected: tuple[Rejected, ...]
    warnings: tuple[str, ...] = ()  # about the sheet as a whole
    ignored: tuple[tuple[int, str], ...] = ()  # rows passed over, and why
    decimal_mark: DecimalMark | None = None  # the one that was used
    clashes: tuple[Clash, ...] = ()  # columns of which it is to be said which counts

    @property
    def rejected_rows(self) -> tuple[int, ...]:
        """The numbers of the rows that can't be taken, in order."""
        return tuple(sorted({entry.row for entry in self.rejected}))


@dataclass(frozen=True)
class Note:
    """What is to be minded about one row or several: “11, 12”, “2 to 40”."""

    rows: str
    count: int
    text: str


def grouped(rows: Sequence[DeliveryRow]) -> tuple[Note, ...]:
    """What is to be minded about rows; of several that have the same, once."""
    of_text: dict[str, list[int]] = {}
    for row in rows:
        for text in row.warnings:
            of_text.setdefault(text, []).append(row.row)
    return tuple(Note(_runs(found), len(found), text) for text, found in of_text.items())


def _runs(numbers: Sequence[int]) -> str:
    """ "2 to 5, 9" for 2, 3, 4, 5, 9; they rise."""
    runs: list[list[int]] = []
    for number in dict.fromkeys(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(
        f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs
    )


def read_delivery(
    sheet: Sheet,
    *,
    source: Source = Source.CATALOGUE,
    known_serials: KnownSerials = lambda _kind, _serial: None,
    decimal_mark: DecimalMark | None = None,
    kind: Kind | None = None,
) -> Delivery:
    """The assets that ``sheet`` states.

    ``source`` says where its figures come from: CATALOGUE for a supplier's sheet, STAMPED when
    it was copied from the cases (of trucks and chargers: from the nameplates). ``known_serials``
    gives the number of the asset that already has this maker's serial, or None.
    ``decimal_mark`` overrules what the sheet's own cells show. ``kind`` is what all rows are,
    where no column says so.

    What stands in a cell never raises: it becomes an entry in ``rejected``. WrongInput is raised
    only for two columns that state the same, unless the sheet asks about them; then neither is
    read.
    """
    mark = decimal_mark or sheet.decimal_mark
    readings: list[RowReading] = []
    ignored: list[tuple[int, str]] = []
    taken: list[Row] = []
    other: int | None = None  # the row with the headers of another table
    others: list[int] = []
    for row in sheet.rows:
        reason = not_an_asset(row, taken, sheet, mark)
        if reason == HEADER_AGAIN:
            other = None
        elif reason is None and begins_another_table(row):
            other = row.number
            others.append(other)
            reason = "headers of another table"
        elif reason is None and other is not None:
            reason = f"belongs to the table whose headers stand in row {other}"
        if reason is not None:
            ignored.append((row.number, reason))
            continue
        taken.append(row)
        readings.append(read_row(row, sheet, source, mark, kind))
    _find_twins(readings, "maker_serial", sheet)
    _find_twins(readings, "fleet_number", sheet)
    _find_known(readings, known_serials, sheet)
    asked = any(problem.two_readings for reading in readings for problem in reading.problems)
    warnings = _about_sheet(sheet, mark, bool(decimal_mark), asked) + _say_missing(readings, sheet)
    warnings += [
        f"another table begins in row {number}; its rows are not read: save it as a sheet of its own"
        for number in others
    ]
    return Delivery(
        sheet=sheet,
        rows=tuple(
            DeliveryRow(reading.row, reading.kind, reading.plate(), tuple(reading.warnings))
            for reading in readings
            if reading.kind is not None and not reading.problems
        ),
        rejected=tuple(
            Rejected(reading.row, entry.column, entry.value, entry.problem, entry.remedy)
            for reading in readings
            for entry in reading.problems
        ),
        warnings=tuple(warnings),
        ignored=tuple(ignored),
        decimal_mark=mark,
        clashes=_clashes(readings, sheet),
    )


def _clashes(readings: Sequence[RowReading], sheet: Sheet) -> tuple[Clash, ...]:
    """Those that concern a row, each once."""
    kinds = dict.fromkeys(reading.kind for reading in readings if reading.kind)
    found = {
        tuple(column.index for column in clash.columns): clash
        for kind in kinds
        for clash in sheet.columns.clashes(kind).values()
    }
    return tuple(found.values())


def _find_twins(readings: list[RowReading], name: str, sheet: Sheet) -> None:
    """Rows with the same serial or number as one above; which of them is right is not guessed."""
    first: dict[tuple[Kind, str], RowReading] = {}
    for reading in readings:
        shown = reading.text(name)
        if not shown or reading.kind is None:
            continue
        twin = first.setdefault((reading.kind, shown.casefold()), reading)
        if twin is reading:
            continue
        label = label_of(reading.kind, name)
        same = {**twin.facts, name: None} == {**reading.facts, name: None}
        reading.report(
            _header_for(name, reading.kind, sheet),
            shown,
            f"row {twin.row} has the same {label} “{shown}”"
            if same
            else f"row {twin.row} has the same {label} “{shown}”, with other figures",
            "Delete one of the two rows" if same else "Look at both and correct one row",
        )
        if not same:
            twin.warnings.append(
                f"row {reading.row} has the same {label} with other figures: check this one too"
            )


def _find_known(readings: list[RowReading], known_serials: KnownSerials, sheet: Sheet) -> None:
    for reading in readings:
        serial = reading.text("maker_serial")
        if not serial or reading.kind is None:
            continue
        number = known_serials(reading.kind, serial)
        if number is not None:
            reading.report(
                _header_for("maker_serial", reading.kind, sheet),
                serial,
                f"a {reading.kind.noun} with the maker's serial “{serial}” is in the record "
                f"already, as {number}",
                "Delete the row, or correct the serial",
            )


def _header_for(name: str, kind: Kind, sheet: Sheet) -> str:
    column = sheet.columns.for_kind(kind).get(name)
    return column.shown if column else ""


def _about_sheet(sheet: Sheet, mark: DecimalMark | None, given: bool, asked: bool) -> list[str]:
    warnings = list(sheet.notes)
    if sheet.columns.ignored:
        names = ", ".join(f"“{column.header}”" for column in sheet.columns.ignored)
        warnings.append(f"columns not read: {names}")
    warnings += [
        f"column {column.letter}: {column.problem}"
        for column in sheet.columns.all
        if column.problem
    ]
    if without := _without_values(sheet):
        warnings.append(
            f"formulas whose values were not saved in {without}: open the file in a spreadsheet "
            "program, save it and send it again, or type the values"
        )
    style = sheet.style
    if style.in_conflict and not given:
        warnings.append(
            f"some figures have a decimal point ({style.point}), others a decimal comma "
            f"({style.comma}): figures that can be read both ways are not taken; "
            "write them all one way, or say which mark the sheet uses"
        )
    elif mark is None and asked and sheet.form.delimiter == ";":
        warnings.append(
            "the cells are separated by semicolons, which often goes with decimal commas, but "
            "no figure proves it: figures that can be read both ways are not taken"
        )
    return warnings


_CELLS_NAMED = 3


def _without_values(sheet: Sheet) -> str:
    """The cells that are read and hold a formula without a value: the first few, and how many."""
    read = [column for column in sheet.columns.known if not column.passed_over]
    cells = [
        f"{column.letter}{row.number}"
        for row in sheet.rows
        for column in read
        if row.cell(column.index).problem
    ]
    more = len(cells) - _CELLS_NAMED
    return ", ".join(cells[:_CELLS_NAMED]) + (f" and {more} more" if more > 0 else "")


def _say_missing(readings: list[RowReading], sheet: Sheet) -> list[str]:
    """Puts what is missing into the rows' warnings; returns what is missing from all of them."""
    for_all: list[str] = []
    for kind in Kind:
        of_kind = [reading for reading in readings if reading.kind is kind]
        if not of_kind:
            continue
        columns = {
            name for column in sheet.columns.known for name in [column.meanings.get(kind)] if name
        }
        everywhere = set.intersection(*(set(reading.missing) for reading in of_kind))
        for name in sorted(everywhere - columns):
            for_all.append(f"no column states the {kind.noun}'s {label_of(kind, name)}: unknown")
        for reading in of_kind:
            for name in reading.missing:
                if name in columns or name not in everywhere:
                    reading.warnings.append(f"{label_of(kind, name)} is missing: unknown")
    return for_all
