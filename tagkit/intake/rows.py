"""One row of a sheet -> the facts of one asset, with what is missing and what is wrong."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from tagkit.assets.battery import Battery
from tagkit.assets.chemistry import CHEMISTRIES
from tagkit.assets.designation import contradictions, parse_designation
from tagkit.assets.fields import read_fact
from tagkit.assets.kinds import PLATES, AnyPlate
from tagkit.assets.stated import Source, Stated
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.intake.columns import (
    CAPACITIES,
    DIMENSIONS,
    KIND,
    PASSED_OVER,
    WINDOW,
    Column,
    label_of,
    spec_of,
    unit_for,
)
from tagkit.intake.figures import is_error, is_unknown, kind_named, range_in, rate_in, three_in
from tagkit.intake.grid import Cell, Row
from tagkit.intake.sheet import Sheet
from tagkit.intake.words import ORDER, plain
from tagkit.units import DecimalMark, Quantity

_LONGEST_FIGURE = 200
# A serial that a spreadsheet took for a number and rounded: 1.23457E+12.
_ROUNDED = re.compile(r"\d(?:[.,]\d+)?E\+\d+", re.IGNORECASE)
_EXACT_DIGITS = 15
_CAPACITY = ("capacity", "capacity_min", "capacity_max")
_ANY_LEAD_ACID = frozenset({"lead acid", "lead", "pb", "blei", "blei saure", "plomo acido"})
_PARTS: dict[str, tuple[str, ...]] = {
    WINDOW: ("weight_min", "weight_max"),
    CAPACITIES: ("capacity_min", "capacity_max"),
}
# What tells a person which asset a label belongs to.
_TOLD_BY: dict[Kind, tuple[str, ...]] = {
    Kind.BATTERY: ("maker_serial", "fleet_number"),
    Kind.TRUCK: ("fleet_number", "maker_serial"),
    Kind.CHARGER: ("maker_serial", "bay"),
    Kind.LIFTING: ("maker_serial",),
    Kind.ROOM: ("maker_serial", "location"),
}
# What the later checks need; its absence is said.
_NEEDED: dict[Kind, tuple[str, ...]] = {
    Kind.BATTERY: ("maker_serial", "voltage", "weight", "chemistry", "capacity"),
    Kind.TRUCK: ("maker_serial", "voltage", "weight_min", "weight_max"),
    Kind.CHARGER: ("voltages", "capacity_min", "capacity_max", "chemistries"),
    Kind.LIFTING: ("rated_load", "inspection_due"),
    Kind.ROOM: ("equipment", "check_every"),
}


@dataclass(frozen=True)
class Problem:
    """Why a row can't be taken: where, what, and how to mend it."""

    column: str
    value: str
    problem: str
    remedy: str


@dataclass
class RowReading:
    """What one row says."""

    row: int
    kind: Kind | None = None
    facts: dict[str, Stated[Any]] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)  # needed fields that nothing states
    problems: list[Problem] = field(default_factory=list)
    failed: set[str] = field(default_factory=set)  # fields whose cell could not be read
    only_lead_acid: bool = False  # the chemistry's cell does not say which lead-acid

    def plate(self) -> AnyPlate:
        """The nameplate of a row without problems."""
        assert self.kind is not None
        return PLATES[self.kind](**self.facts)

    def text(self, name: str) -> str:
        """A fact in words, or nothing."""
        fact = self.facts.get(name)
        return str(fact.value) if fact else ""


@dataclass(frozen=True)
class _Place:
    """A cell that is being read, and how."""

    column: Column
    cell: Cell
    kind: Kind
    source: Source
    mark: DecimalMark | None

    @property
    def text(self) -> str:
        return self.cell.shown.strip()

    def fact(self, name: str, text: str | None = None) -> Stated[Any]:
        """The fact ``name`` as ``text`` (the whole cell unless given) states it."""
        spec = spec_of(self.kind, name)
        assert spec is not None
        written = self.text if text is None else text
        mark: DecimalMark | None = "point" if self.cell.number else self.mark
        unit = unit_for(self.column, self.kind, name)
        return read_fact(spec, written, _source_of(name, self.source), unit, mark)


def read_row(
    row: Row, sheet: Sheet, source: Source, mark: DecimalMark | None, kind: Kind | None
) -> RowReading:
    """What ``row`` states; nothing is raised for what stands in a cell.

    Raises WrongInput only where two columns of the sheet claim the same field.
    """
    reading = RowReading(row.number)
    reading.kind = _kind_of(row, sheet, kind, reading)
    _check_width(row, sheet, reading)
    if reading.kind is None:
        return reading
    source = _source_for(reading.kind, source)
    for name, column in sheet.columns.for_kind(reading.kind).items():
        cell = row.cell(column.index)
        if name != KIND and not cell.empty:
            _read_cell(name, _Place(column, cell, reading.kind, source, mark), reading)
    _note_unused(row, sheet, reading)
    if reading.kind is Kind.BATTERY:
        _use_designation(reading, source)
    _check_order(reading)
    _check_told(reading)
    reading.missing = [
        name
        for name in _needed(reading)
        if name not in reading.facts and name not in reading.failed
    ]
    return reading


def _source_for(kind: Kind, source: Source) -> Source:
    """What is copied from trucks and chargers in use stands on a nameplate, not on a case."""
    return Source.NAMEPLATE if source is Source.STAMPED and kind is not Kind.BATTERY else source


def _source_of(name: str, source: Source) -> Source:
    return Source.WEIGHED if name == "weighed" and source is Source.STAMPED else source


def _needed(reading: RowReading) -> list[str]:
    assert reading.kind is not None
    needed = list(_NEEDED[reading.kind])
    if "capacity" in reading.facts:
        needed.append("capacity_rate")
    return needed


# Which kind of asset ----------------------------------------------------------------------------


def _kind_of(row: Row, sheet: Sheet, forced: Kind | None, reading: RowReading) -> Kind | None:
    column = sheet.columns.kind_column
    cell = row.cell(column.index) if column else Cell()
    if column is not None and not cell.empty and not is_unknown(cell.text):
        named = kind_named(cell.text)
        if named is None:
            _report(
                reading,
                column.shown,
                cell.text,
                f"“{cell.text.strip()}” is no kind of asset",
                "Write battery, truck, charger, lifting gear or room equipment",
            )
        elif forced is not None and named is not forced:
            _report(reading, column.shown, cell.text, f"the row is a {named.noun}, "
                    f"only {forced.noun} rows are read", "Put it into a sheet of its own")  # fmt: skip
            return None
        return named
    kind = forced or _told_by_columns(row, sheet)
    if kind is None:
        _report(reading, column.shown if column else "", "", "it can't be told what this row is",
                "Add a column “Kind” that says battery, truck or charger")  # fmt: skip
    return kind


def _told_by_columns(row: Row, sheet: Sheet) -> Kind | None:
    kinds = sheet.columns.kinds()
    filled = [column for column in sheet.columns.known if not row.cell(column.index).empty]
    told = {kind for column in filled for kind in column.tells()}
    if len(told) == 1:
        return told.pop()
    if told:
        return None
    if not kinds or len(kinds) > 1:
        return None if sheet.columns.kind_column else Kind.BATTERY
    (kind,) = kinds
    figures = {column.meanings.get(Kind.BATTERY) for column in filled}
    if kind is Kind.TRUCK and figures & {"weight", "capacity"} and sheet_has_window(sheet):
        return None  # a battery among trucks, or a truck with its own weight
    return kind


def sheet_has_window(sheet: Sheet) -> bool:
    """Whether the sheet has columns for the smallest or largest battery weight."""
    return any(
        column.meanings.get(Kind.TRUCK) in ("weight_min", "weight_max")
        for column in sheet.columns.known
    )


# Cells ------------------------------------------------------------------------------------------


def _report(reading: RowReading, column: str, value: str, problem: str, remedy: str) -> None:
    reading.problems.append(Problem(column, value.strip(), problem, remedy))


def _read_cell(name: str, place: _Place, reading: RowReading) -> None:
    cell, column = place.cell, place.column
    if name == PASSED_OVER:
        return
    if cell.problem:
        reading.failed.update(_PARTS.get(name, (name,)))
        _report(reading, column.shown, cell.text, cell.problem,
                "Open the file, let it calculate, save it; or type the value")  # fmt: skip
        return
    if is_unknown(cell.text):
        reading.warnings.append(
            f"{label_of(place.kind, name)}: “{cell.text.strip()}” is taken as unknown"
        )
        return
    try:
        if is_error(cell.text):
            raise WrongInput(f"“{place.text}” is the error of a formula", "Type the value")
        _check_length(place, name)
        _CELL_READERS.get(name, _read_plain)(name, place, reading)
    except WrongInput as error:
        reading.failed.update(_PARTS.get(name, (name,)))
        _report(reading, column.shown, cell.shown, error.problem, error.remedy)


def _check_length(place: _Place, name: str) -> None:
    spec = spec_of(place.kind, name)
    if len(place.text) > _LONGEST_FIGURE and (spec is None or spec.reads != "text"):
        raise WrongInput(f"{len(place.text)} characters are too many", "Write one figure a cell")


def _read_plain(name: str, place: _Place, reading: RowReading) -> None:
    reading.facts[name] = place.fact(name)
    _note_other_unit(name, place, reading)


def _note_other_unit(name: str, place: _Place, reading: RowReading) -> None:
    value = reading.facts[name].value
    unit = unit_for(place.column, place.kind, name)
    if isinstance(value, Quantity) and unit is not None and value.unit != unit:
        reading.warnings.append(
            f"{label_of(place.kind, name)}: taken as {value}, though the column is headed in {unit}"
        )


def _read_serial(name: str, place: _Place, reading: RowReading) -> None:
    text = place.cell.text.strip()
    if _ROUNDED.fullmatch(text) or (place.cell.number and len(text.lstrip("-")) > _EXACT_DIGITS):
        raise WrongInput(
            f"“{text}” was rounded by a spreadsheet", "Format the column as text and type it again"
        )
    reading.facts[name] = place.fact(name, text)


def _read_chemistry(name: str, place: _Place, reading: RowReading) -> None:
    reading.facts[name] = place.fact(name)
    words = " ".join(re.split(r"[\s_/().-]+", plain(place.text))).strip()
    reading.only_lead_acid = words in _ANY_LEAD_ACID


def _read_capacity(name: str, place: _Place, reading: RowReading) -> None:
    text, hours = rate_in(place.text)
    reading.facts[name] = place.fact(name, text)
    _note_other_unit(name, place, reading)
    if hours is not None and place.column.rate not in (None, hours):
        reading.warnings.append(
            f"{label_of(place.kind, name)}: taken at the {hours} h rate, "
            f"though the column is headed at {place.column.rate} h"
        )
    _set_rate(hours or place.column.rate, place, reading)


def _set_rate(hours: int | None, place: _Place, reading: RowReading) -> None:
    if hours is None:
        return
    known = reading.facts.get("capacity_rate")
    if known is not None and known.value != hours:
        raise WrongInput(
            f"one cell says {known.value} h, another {hours} h for the rate of the capacity",
            "State the rate once",
        )
    reading.facts["capacity_rate"] = place.fact("capacity_rate", str(hours))


def _read_rate(_name: str, place: _Place, reading: RowReading) -> None:
    _, hours = rate_in(place.text)
    text = str(hours) if hours is not None else place.text
    _set_rate(place.fact("capacity_rate", text).value, place, reading)


def _read_window(_name: str, place: _Place, reading: RowReading) -> None:
    ends = range_in(place.text)
    if ends is None:
        if "battery" in place.column.terms or "window" in place.column.terms:
            raise WrongInput(
                f"“{place.text}” is one weight, a truck permits from a minimum to a maximum",
                "Write both, like “1100-1300 kg”",
            )
        reading.warnings.append(
            f"“{place.column.shown}” {place.text} is not taken: of a truck tagkit needs the "
            "smallest and largest battery weight"
        )
        return
    _set_ends(("weight_min", "weight_max"), ends, place, reading)


def _read_capacities(_name: str, place: _Place, reading: RowReading) -> None:
    text, hours = rate_in(place.text)
    ends = range_in(text)
    if ends is None:
        raise WrongInput(
            f"“{place.text}” is one capacity, a charger has a smallest and a largest",
            "Write both, like “400-800 Ah”",
        )
    _set_ends(("capacity_min", "capacity_max"), ends, place, reading)
    _set_rate(hours or place.column.rate, place, reading)


def _set_ends(
    names: tuple[str, str], ends: tuple[str, str], place: _Place, reading: RowReading
) -> None:
    for name, text in zip(names, ends, strict=True):
        fact = place.fact(name, text)
        known = reading.facts.get(name)
        if known is not None and known.value.exact() != fact.value.exact():
            raise WrongInput(
                f"the {label_of(place.kind, name)} is {known.value} in one column and "
                f"{fact.value} in another",
                "State it once",
            )
        reading.facts[name] = fact
        _note_other_unit(name, place, reading)


def _read_dimensions(_name: str, place: _Place, reading: RowReading) -> None:
    figures = three_in(place.text)
    if figures is None:
        raise WrongInput(
            f"“{place.text}” is not length × width × height", "Write it like “830 x 630 x 627 mm”"
        )
    order = _order_in(place.column.header)
    prefix = "compartment_" if place.kind is Kind.TRUCK else ""
    for dimension, text in zip(order or ("length", "width", "height"), figures, strict=True):
        name = prefix + dimension
        fact = place.fact(name, text)
        known = reading.facts.get(name)
        if known is not None and known.value.exact() != fact.value.exact():
            raise WrongInput(
                f"the {label_of(place.kind, name)} is {known.value} in one column and "
                f"{fact.value} in another",
                "State it once",
            )
        reading.facts[name] = fact
    if order is None:
        reading.warnings.append(f"{place.text} is taken as length × width × height")


def _order_in(header: str) -> tuple[str, ...] | None:
    match = ORDER.search(plain(header))
    if not match:
        return None
    names = {"l": "length", "w": "width", "b": "width", "a": "width", "h": "height"}
    order = tuple(names[letter] for letter in match.groups())
    return order if len(set(order)) == 3 else None


_CELL_READERS: dict[str, Callable[[str, _Place, RowReading], None]] = {
    "maker_serial": _read_serial,
    "fleet_number": _read_serial,
    "chemistry": _read_chemistry,
    **dict.fromkeys(_CAPACITY, _read_capacity),
    "capacity_rate": _read_rate,
    WINDOW: _read_window,
    CAPACITIES: _read_capacities,
    DIMENSIONS: _read_dimensions,
}


# The row as a whole -----------------------------------------------------------------------------


def _check_width(row: Row, sheet: Sheet, reading: RowReading) -> None:
    """More cells than headers: in a text table a comma within a figure has parted it."""
    beyond = [cell for index, cell in row.filled() if index >= len(sheet.header.cells)]
    if not beyond:
        return
    if sheet.form.family == "csv":
        _report(reading, "", beyond[0].text, "the row has more cells than the header has columns",
                "Put a cell that contains the separator in quotation marks")  # fmt: skip
    else:
        reading.warnings.append(f"“{beyond[0].shown.strip()}” stands beside the table; not taken")


def _note_unused(row: Row, sheet: Sheet, reading: RowReading) -> None:
    assert reading.kind is not None
    for column in sheet.columns.all:
        cell = row.cell(column.index)
        if cell.empty or reading.kind in column.meanings:
            continue
        if column.known:
            reading.warnings.append(f"“{column.shown}” is not used for a {reading.kind.noun}")
        elif not column.header:
            reading.warnings.append(
                f"“{cell.shown.strip()}” in column {column.letter} is not taken: "
                "the column has no header"
            )


def _use_designation(reading: RowReading, source: Source) -> None:
    battery = Battery(**reading.facts)
    written = battery.designation.value if battery.designation else ""
    designation = parse_designation(written)
    if designation is not None and designation.chemistry and reading.only_lead_acid:
        del reading.facts["chemistry"]
        battery = Battery(**reading.facts)
    for disagreement in contradictions(designation, battery):
        _report(reading, "", written, disagreement,
                "Read the stamp on the case; correct the figure or the designation")  # fmt: skip
    if reading.only_lead_acid and "chemistry" in reading.facts:
        reading.warnings.append("chemistry: “lead-acid” is taken as vented lead-acid")
    if designation is None or any(problem.value == written for problem in reading.problems):
        return
    says = f"from the designation “{designation.text}”"
    for name, value in (
        ("voltage", designation.voltage),
        ("cells", designation.cells),
        ("chemistry", designation.chemistry),
    ):
        if name not in reading.facts and value is not None and name not in reading.failed:
            reading.facts[name] = Stated(value, source)
            shown = CHEMISTRIES.get(str(value), str(value))
            reading.warnings.append(f"{label_of(Kind.BATTERY, name)}: {shown} {says}")
    _use_capacity(designation.capacity, designation.rate, says, reading, source)


def _use_capacity(
    capacity: Quantity, rate: int, says: str, reading: RowReading, source: Source
) -> None:
    given, hours = reading.facts.get("capacity"), reading.facts.get("capacity_rate")
    if given is None and "capacity" not in reading.failed:
        if hours is not None and hours.value != rate:
            return
        reading.facts["capacity"] = Stated(capacity, source)
        reading.facts["capacity_rate"] = Stated(rate, source)
        reading.warnings.append(f"capacity: {capacity} at {rate} h {says}")
    elif given is not None and hours is None and given.value.exact() == capacity.exact():
        reading.facts["capacity_rate"] = Stated(rate, source)
        reading.warnings.append(f"capacity: at {rate} h {says}")


def _check_order(reading: RowReading) -> None:
    for low, high in (
        ("weight_min", "weight_max"),
        ("capacity_min", "capacity_max"),
        ("lug_spacing_min", "lug_spacing_max"),
    ):
        least, most = reading.facts.get(low), reading.facts.get(high)
        if least and most and least.value.exact() > most.value.exact():
            assert reading.kind is not None
            _report(reading, "", f"{least.value}, {most.value}",
                    f"the {label_of(reading.kind, low)} ({least.value}) is above the "
                    f"{label_of(reading.kind, high)} ({most.value})",
                    "Check both figures and their units")  # fmt: skip


def _check_told(reading: RowReading) -> None:
    assert reading.kind is not None
    names = _TOLD_BY[reading.kind]
    if any(name in reading.facts for name in names):
        return
    words = " or ".join(label_of(reading.kind, name) for name in names)
    _report(reading, "", "", f"nothing tells which {reading.kind.noun} this is",
            f"Give its {words}")  # fmt: skip
