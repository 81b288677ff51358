"""One cell -> the facts it states, or the problem with it."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from tagkit.assets.fields import read_fact
from tagkit.assets.stated import Source, Stated
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.intake.columns import Column, unit_for
from tagkit.intake.figures import is_error, is_unknown, range_in, rate_in, three_in
from tagkit.intake.grid import Cell
from tagkit.intake.meanings import CAPACITIES, DIMENSIONS, WINDOW, label_of, spec_of
from tagkit.intake.reading import RowReading
from tagkit.intake.words import ORDER, plain
from tagkit.units import UNIT_MISSING, Ambiguous, DecimalMark, Quantity

_LONGEST_FIGURE = 200
# A serial that a spreadsheet took for a number and rounded: 1.23457E+12.
_ROUNDED = re.compile(r"\d(?:[.,]\d+)?E\+\d+", re.IGNORECASE)
_EXACT_DIGITS = 15
_CAPACITY = ("capacity", "capacity_min", "capacity_max")
_ANY_LEAD_ACID = frozenset({"lead acid", "lead", "pb", "blei", "blei saure", "plomo acido"})
PARTS: dict[str, tuple[str, ...]] = {
    WINDOW: ("weight_min", "weight_max"),
    CAPACITIES: ("capacity_min", "capacity_max"),
}


SAVE_IT = "Open the file, let it calculate, save it; or type the value"


@dataclass(frozen=True)
class Place:
    """A cell that is being read, and how."""

    column: Column
    cell: Cell
    kind: Kind
    source: Source
    mark: DecimalMark | None

    @property
    def text(self) -> str:
        """The cell as a person sees it."""
        return self.cell.shown.strip()

    def fact(self, name: str, text: str | None = None) -> Stated[Any]:
        """The fact ``name`` as ``text`` (the whole cell unless given) states it."""
        spec = spec_of(self.kind, name)
        assert spec is not None
        written = self.text if text is None else text
        mark: DecimalMark | None = "point" if self.cell.number else self.mark
        unit = unit_for(self.column, self.kind, name)
        return read_fact(spec, written, _source_of(name, self.source), unit, mark)


def read_cell(name: str, place: Place, reading: RowReading) -> None:
    """Puts what the cell states about the field ``name`` into ``reading``; raises nothing."""
    cell, column = place.cell, place.column
    if cell.problem:
        reading.failed.update(PARTS.get(name, (name,)))
        reading.report(column.shown, cell.text, f"cell {column.letter}{reading.row}: {cell.problem}",
                SAVE_IT)  # fmt: skip
        return
    if is_unknown(cell.text):
        reading.unknown.update(PARTS.get(name, (name,)))
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
        reading.failed.update(PARTS.get(name, (name,)))
        reading.report(
            column.shown,
            cell.shown,
            error.problem,
            _IN_A_SHEET if error.remedy == UNIT_MISSING else error.remedy,
            two_readings=isinstance(error, Ambiguous),
        )


_IN_A_SHEET = "Write the unit with it; in a sheet, the column header may name it"


def _check_length(place: Place, name: str) -> None:
    spec = spec_of(place.kind, name)
    if len(place.text) > _LONGEST_FIGURE and (spec is None or spec.reads != "text"):
        raise WrongInput(f"{len(place.text)} characters are too many", "Write one figure a cell")


def _read_plain(name: str, place: Place, reading: RowReading) -> None:
    reading.facts[name] = place.fact(name)
    _note_other_unit(name, place, reading)


def _note_other_unit(name: str, place: Place, reading: RowReading) -> None:
    value = reading.facts[name].value
    unit = unit_for(place.column, place.kind, name)
    if isinstance(value, Quantity) and unit is not None and value.unit != unit:
        reading.warnings.append(
            f"{label_of(place.kind, name)}: taken as {value}, though the column is headed in {unit}"
        )


def _read_serial(name: str, place: Place, reading: RowReading) -> None:
    text = place.cell.text.strip()
    if _ROUNDED.fullmatch(text) or (place.cell.number and len(text.lstrip("-")) > _EXACT_DIGITS):
        raise WrongInput(
            f"“{text}” was rounded by a spreadsheet", "Format the column as text and type it again"
        )
    reading.facts[name] = place.fact(name, text)


def _read_chemistry(name: str, place: Place, reading: RowReading) -> None:
    reading.facts[name] = place.fact(name)
    words = " ".join(re.split(r"[\s_/().-]+", plain(place.text))).strip()
    reading.only_lead_acid = words in _ANY_LEAD_ACID


def _read_capacity(name: str, place: Place, reading: RowReading) -> None:
    text, hours = rate_in(place.text)
    reading.facts[name] = place.fact(name, text)
    _note_other_unit(name, place, reading)
    if hours is not None and place.column.rate not in (None, hours):
        reading.warnings.append(
            f"{label_of(place.kind, name)}: taken at the {hours} h rate, "
            f"though the column is headed at {place.column.rate} h"
        )
    _set_rate(hours or place.column.rate, place, reading)


def _set_rate(hours: int | None, place: Place, reading: RowReading) -> None:
    if hours is None:
        return
    known = reading.facts.get("capacity_rate")
    if known is not None and known.value != hours:
        raise WrongInput(
            f"one cell says {known.value} h, another {hours} h for the rate of the capacity",
            "State the rate once",
        )
    reading.facts["capacity_rate"] = place.fact("capacity_rate", str(hours))


def _read_rate(_name: str, place: Place, reading: RowReading) -> None:
    _, hours = rate_in(place.text)
    text = str(hours) if hours is not None else place.text
    _set_rate(place.fact("capacity_rate", text).value, place, reading)


def _read_window(_name: str, place: Place, reading: RowReading) -> None:
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


def _read_capacities(_name: str, place: Place, reading: RowReading) -> None:
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
    names: tuple[str, str], ends: tuple[str, str], place: Place, reading: RowReading
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


def _read_dimensions(_name: str, place: Place, reading: RowReading) -> None:
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


_CELL_READERS: dict[str, Callable[[str, Place, RowReading], None]] = {
    "maker_serial": _read_serial,
    "fleet_number": _read_serial,
    "chemistry": _read_chemistry,
    **dict.fromkeys(_CAPACITY, _read_capacity),
    "capacity_rate": _read_rate,
    WINDOW: _read_window,
    CAPACITIES: _read_capacities,
    DIMENSIONS: _read_dimensions,
}


def _source_of(name: str, source: Source) -> Source:
    return Source.WEIGHED if name == "weighed" and source is Source.STAMPED else source
