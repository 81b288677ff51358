"""One row of a sheet -> the facts of one asset, with what is missing and what is wrong."""

from __future__ import annotations

import contextlib
import re
from fractions import Fraction

from tagkit.assets.battery import Battery
from tagkit.assets.chemistry import CHEMISTRIES
from tagkit.assets.designation import contradictions, parse_designation
from tagkit.assets.energy import unlikely_energy
from tagkit.assets.fields import fields_of, read_fact
from tagkit.assets.lifting import Lifting
from tagkit.assets.stated import Source, Stated
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.intake.cells import PARTS, Place, read_cell
from tagkit.intake.grid import Row
from tagkit.intake.meanings import KIND, label_of
from tagkit.intake.reading import RowReading
from tagkit.intake.row_kind import kind_of_row
from tagkit.intake.sheet import Sheet
from tagkit.units import DecimalMark, Quantity

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


def read_row(
    row: Row, sheet: Sheet, source: Source, mark: DecimalMark | None, kind: Kind | None
) -> RowReading:
    """What ``row`` states; nothing is raised for what stands in a cell.

    Raises WrongInput only where two columns of the sheet claim the same field.
    """
    reading = RowReading(row.number)
    reading.kind = kind_of_row(row, sheet, kind, reading)
    _take_gear_from_kind(row, sheet, reading, source)
    if _is_too_wide(row, sheet, reading) or reading.kind is None:
        return reading
    source = _source_for(reading.kind, source)
    for name, column in sheet.columns.for_kind(reading.kind).items():
        cell = row.cell(column.index)
        if name != KIND and not cell.empty:
            read_cell(name, Place(column, cell, reading.kind, source, mark), reading)
    asked_about = sheet.columns.clashes(reading.kind)
    reading.unknown.update(part for name in asked_about for part in PARTS.get(name, (name,)))
    _compare_units(row, sheet, reading, source, mark)
    _note_unused(row, sheet, reading)
    if reading.kind is Kind.BATTERY:
        _use_designation(reading, source, sheet)
    _mind_energy(reading)
    _check_order(reading)
    _check_told(reading)
    reading.missing = [
        name
        for name in _needed(reading)
        if name not in reading.facts and name not in reading.failed | reading.unknown
    ]
    return reading


def _take_gear_from_kind(row: Row, sheet: Sheet, reading: RowReading, source: Source) -> None:
    """A column that calls a row a hoist or a beam says which kind of lifting gear it is."""
    column = sheet.columns.kind_column
    if reading.kind is not Kind.LIFTING or column is None:
        return
    spec = fields_of(Lifting)["gear"]
    # Words like “lifting gear” leave it open.
    with contextlib.suppress(WrongInput):
        reading.facts["gear"] = read_fact(
            spec, row.cell(column.index).text, _source_for(Kind.LIFTING, source)
        )


def _source_for(kind: Kind, source: Source) -> Source:
    """What is copied from trucks and chargers in use stands on a nameplate, not on a case."""
    return Source.NAMEPLATE if source is Source.STAMPED and kind is not Kind.BATTERY else source


def _needed(reading: RowReading) -> list[str]:
    assert reading.kind is not None
    needed = list(_NEEDED[reading.kind])
    if "capacity" in reading.facts:
        needed.append("capacity_rate")
    return needed


def _is_too_wide(row: Row, sheet: Sheet, reading: RowReading) -> bool:
    """More cells than headers: in a text table a comma within a figure has parted it."""
    beyond = [cell for index, cell in row.filled() if index >= len(sheet.header.cells)]
    if not beyond:
        return False
    if sheet.form.family == "csv":
        reading.report(
            "",
            beyond[0].text,
            "the row has more cells than the header has columns",
            "Put a cell that contains the separator in quotation marks",
        )
        return True
    reading.warnings.append(f"“{beyond[0].shown.strip()}” stands beside the table; not taken")
    return False


def _compare_units(
    row: Row, sheet: Sheet, reading: RowReading, source: Source, mark: DecimalMark | None
) -> None:
    """A figure that stands there in two units, as in kg and in lb, has to be the same figure."""
    kind = reading.kind
    assert kind is not None
    for name, column in sheet.columns.in_other_unit(kind).items():
        cell = row.cell(column.index)
        if cell.empty:
            continue
        second = RowReading(row.number, kind)
        read_cell(name, Place(column, cell, kind, source, mark), second)
        reading.problems += second.problems
        reading.failed |= second.failed
        ours, theirs = reading.facts.get(name), second.facts.get(name)
        if theirs is None:
            continue
        if ours is None:
            if name not in reading.failed:
                reading.facts[name] = theirs
                reading.unknown.discard(name)
                reading.warnings += second.warnings
        elif not _same_but_for_conversion(ours.value, theirs.value):
            first = sheet.columns.for_kind(kind)[name]
            reading.report(
                column.shown,
                cell.shown,
                f"{ours.value} under “{first.shown}” and {theirs.value} under “{column.shown}” "
                "are not the same",
                "Look at the supplier's papers and correct one of the two, or empty it",
            )


def _same_but_for_conversion(one: Quantity, other: Quantity) -> bool:
    """Apart by no more than rounding: half a percent (2.2 for 2.2046), or 1 kg, 1 mm."""
    ours, theirs = one.exact(), other.exact()
    return abs(ours - theirs) <= max(Fraction(1), abs(ours) / 200, abs(theirs) / 200)


def _mind_energy(reading: RowReading) -> None:
    """Says when a lead-acid battery is far too light or too heavy for what it holds."""
    if reading.kind is not Kind.BATTERY:
        return
    found = unlikely_energy(Battery(**reading.facts))
    if found is not None:
        reading.warnings.append(
            f"{reading.text('weight')} would be {found:.0f} Wh/kg, and lead-acid has some 25 to 40: "
            "are weight and unit right?"
        )


def _note_quantity(text: str, reading: RowReading) -> None:
    """A row is one asset, with one serial and one label, however many it speaks of."""
    number = re.match(r"\s*(\d+)(?:[.,]0+)?(?![.,]?\d)", text)
    if number and int(number[1]) > 1 and reading.kind is not None:
        reading.warnings.append(
            f"quantity {number[1]}, one {reading.kind.noun} is taken: give each its own row"
        )


def _note_unused(row: Row, sheet: Sheet, reading: RowReading) -> None:
    assert reading.kind is not None
    columns = sheet.columns
    read = (columns.for_kind(reading.kind), columns.in_other_unit(reading.kind))
    used = {column.index for by_field in read for column in by_field.values()}
    for clash in columns.clashes(reading.kind).values():
        used.update(column.index for column in clash.columns)
    for column in sheet.columns.all:
        cell = row.cell(column.index)
        if cell.empty or column.index in used or column.passed_over:
            continue
        if column.quantity:
            _note_quantity(cell.text, reading)
        elif column.known:
            reading.warnings.append(
                f"“{column.shown}” is not used for a {reading.kind.noun}: if it says something that "
                "counts, write its header anew"
            )
        elif not column.header:
            reading.warnings.append(
                f"“{cell.shown.strip()}” in column {column.letter} is not taken: "
                "the column has no header"
            )


def _use_designation(reading: RowReading, source: Source, sheet: Sheet) -> None:
    battery = Battery(**reading.facts)
    written = battery.designation.value if battery.designation else ""
    designation = parse_designation(written)
    if designation is not None and designation.chemistry and reading.only_lead_acid:
        del reading.facts["chemistry"]
        battery = Battery(**reading.facts)
    disagreements = contradictions(designation, battery)
    column = sheet.columns.for_kind(Kind.BATTERY).get("designation" if designation else "cells")
    for disagreement in disagreements:
        reading.report(
            column.shown if column else "",
            written or reading.text("cells"),
            disagreement,
            "Read the stamp on the case, then correct the figure or the designation",
        )
    if reading.only_lead_acid and "chemistry" in reading.facts:
        reading.warnings.append("chemistry: “lead-acid” is taken as vented lead-acid")
    if designation is None or disagreements:
        return
    text = designation.text
    for name, value in (
        ("voltage", designation.voltage),
        ("cells", designation.cells),
        ("chemistry", designation.chemistry),
    ):
        if name not in reading.facts and value is not None and name not in reading.failed:
            reading.facts[name] = Stated(value, source)
            shown = CHEMISTRIES.get(str(value), str(value))
            label = label_of(Kind.BATTERY, name)
            reading.warnings.append(f"{label}: {shown}, from the designation “{text}”")
    _use_capacity(designation.capacity, designation.rate, text, reading, source)


def _use_capacity(
    capacity: Quantity, rate: int, text: str, reading: RowReading, source: Source
) -> None:
    given, hours = reading.facts.get("capacity"), reading.facts.get("capacity_rate")
    if given is None and "capacity" not in reading.failed:
        if hours is not None and hours.value != rate:
            return
        reading.facts["capacity"] = Stated(capacity, source)
        reading.facts["capacity_rate"] = Stated(rate, source)
        reading.warnings.append(f"capacity: {capacity} at {rate} h, from the designation “{text}”")
    elif given is not None and hours is None and given.value.exact() == capacity.exact():
        reading.facts["capacity_rate"] = Stated(rate, source)
        reading.warnings.append(f"capacity: at {rate} h, from the designation “{text}”")


def _check_order(reading: RowReading) -> None:
    for low, high in (
        ("weight_min", "weight_max"),
        ("capacity_min", "capacity_max"),
        ("lug_spacing_min", "lug_spacing_max"),
    ):
        least, most = reading.facts.get(low), reading.facts.get(high)
        if least and most and least.value.exact() > most.value.exact():
            assert reading.kind is not None
            reading.report("", f"{least.value}, {most.value}",
                    f"the {label_of(reading.kind, low)} ({least.value}) is above the "
                    f"{label_of(reading.kind, high)} ({most.value})",
                    "Check both figures and their units")  # fmt: skip


def _check_told(reading: RowReading) -> None:
    assert reading.kind is not None
    names = _TOLD_BY[reading.kind]
    if any(name in reading.facts or name in reading.failed for name in names):
        return
    words = " or ".join(label_of(reading.kind, name) for name in names)
    reading.report("", "", f"nothing tells which {reading.kind.noun} this is",
            f"Give its {words}")  # fmt: skip
