"""Trade designations: what the type stamped on a battery says about its figures.

Two styles are in use. ``18-125-17`` (North America): cells, ampere-hours of one positive plate
at the 6 h rate, plates of one cell; plates are odd, the negative ones being one more, so 17
plates are 8 positive ones and the battery holds 8 × 125 = 1000 Ah. ``24 V 5 PzS 775`` (EN
60254-2 style): voltage, positive plates of one cell, kind of plate (PzS tubular and vented, PzV
tubular and gel), ampere-hours at the 5 h rate. A lead-acid cell counts as 2 V.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction

from tagkit.assets.battery import Battery
from tagkit.assets.chemistry import CHEMISTRIES
from tagkit.units import Quantity

LEAD_ACID = frozenset({"vented", "gel", "agm", "tppl"})
_CELL_VOLTS = 2
# Figures at the 5 h and at the 6 h rate lie about 5 % apart. What differs by more than this
# is a contradiction even where the sheet does not say which of the two it means.
_RATES_EXPLAIN = Fraction(10, 100)

_BY_CELLS = re.compile(
    r"(?<![\d-])(?P<cells>\d{1,2}) ?- ?[A-Z]{0,3}(?P<plate>\d{2,3})[A-Z]{0,3} ?- ?"
    r"(?P<plates>\d{1,2})(?:[A-Z]{1,2})?(?![\w-])"
)
_BY_PLATES = re.compile(
    r"(?<![\d.,])(?P<plates>\d{1,2}) ?[EH]?(?P<kind>PZ[SBV])[A-Z]{0,2} ?-?/? ?(?P<capacity>\d{2,4})"
    r"(?![\d.,]\d)"
)
_VOLTS = re.compile(r"(?<![\d.,])(?P<volts>\d{1,3}) ?V(?:DC)?(?![A-Z])")
_CELLS_TIMES = re.compile(r"(?<![\d.,])(?P<cells>\d{1,2}) ?[X×] ?(?:2 ?V ?)?(?=\d{1,2} ?[EH]?PZ)")
_CHEMISTRY_OF = {"PZS": "vented", "PZB": "vented", "PZV": "gel"}


@dataclass(frozen=True)
class Designation:
    """What a designation says. None: it says nothing about that."""

    text: str
    cells: int | None
    voltage: Quantity | None
    capacity: Quantity
    rate: int  # hours
    chemistry: str | None


def parse_designation(text: str) -> Designation | None:
    """The figures in ``text``, or None when it is in neither style of the trade."""
    shown = " ".join(text.split())
    plain = unicodedata.normalize("NFKC", shown).upper()
    plain = re.sub("[\u2010-\u2015\u2212]", "-", plain)
    return _by_cells(shown, plain) or _by_plates(shown, plain)


def _by_cells(shown: str, plain: str) -> Designation | None:
    match = _BY_CELLS.search(plain)
    if not match:
        return None
    cells, plate, plates = (int(match[name]) for name in ("cells", "plate", "plates"))
    if not (1 <= cells <= 80 and 20 <= plate <= 250 and 3 <= plates <= 41 and plates % 2 == 1):
        return None
    beside = _VOLTS.search(f"{plain[: match.start()]} {plain[match.end() :]}")
    return Designation(
        shown,
        cells,
        _volts(int(beside["volts"]) if beside else cells * _CELL_VOLTS),
        Quantity(Decimal(plate * (plates - 1) // 2), "Ah"),
        6,
        None,
    )


def _by_plates(shown: str, plain: str) -> Designation | None:
    match = _BY_PLATES.search(plain)
    if not match or not 1 <= int(match["plates"]) <= 20 or int(match["capacity"]) < 20:
        return None
    times = _CELLS_TIMES.search(plain)
    beside = plain[: match.start()] + " " + plain[match.end() :]
    volts = _VOLTS.search(_CELLS_TIMES.sub(" ", plain) if times else beside)
    cells: int | None = int(times["cells"]) if times else None
    voltage = int(volts["volts"]) if volts else None
    if cells is None and voltage is not None and voltage % _CELL_VOLTS == 0:
        cells = voltage // _CELL_VOLTS
    if voltage is None and cells is not None:
        voltage = cells * _CELL_VOLTS
    if voltage is not None and not 2 <= voltage <= 160:
        return None
    return Designation(
        shown,
        cells or None,
        None if voltage is None else _volts(voltage),
        Quantity(Decimal(match["capacity"]), "Ah"),
        5,
        _CHEMISTRY_OF[match["kind"]],
    )


def _volts(volts: int) -> Quantity:
    return Quantity(Decimal(volts), "V")


def contradictions(designation: Designation | None, battery: Battery) -> list[str]:
    """Which stated figures of ``battery`` disagree, each as a sentence without a full stop.

    The designation is compared with the marked voltage, cells, chemistry and capacity; the
    capacity only at the same rate. Where the battery's rate is not stated, it counts as a
    contradiction only if neither the 5 h nor the 6 h rate can explain the difference. For
    lead-acid the number of cells times 2 V is compared with the voltage.
    """
    found = _cells_against_voltage(designation, battery)
    if designation is None:
        return found
    if designation.cells and designation.voltage:
        volts = designation.cells * _CELL_VOLTS
        if designation.voltage.exact() != volts:
            found.append(
                f"the designation “{designation.text}” itself says {designation.cells} cells, "
                f"which give {volts} V, and {designation.voltage}"
            )
    text = designation.text
    if battery.voltage and designation.voltage:
        marked = battery.voltage.value
        if marked.exact() != designation.voltage.exact():
            found.append(
                f"the designation “{text}” says {designation.voltage}, "
                f"the voltage is given as {marked}"
            )
    if battery.cells and designation.cells and battery.cells.value != designation.cells:
        found.append(
            f"the designation “{text}” says {designation.cells} cells, "
            f"{battery.cells.value} cells are given"
        )
    if battery.chemistry and _chemistry_disagrees(designation, battery.chemistry.value):
        meant = CHEMISTRIES[designation.chemistry] if designation.chemistry else "lead-acid"
        given = CHEMISTRIES.get(battery.chemistry.value, battery.chemistry.value)
        found.append(f"the designation “{text}” says {meant}, the chemistry is given as {given}")
    if battery.capacity and _capacity_disagrees(designation, battery):
        rate = f" at {battery.capacity_rate.value} h" if battery.capacity_rate else ""
        found.append(
            f"the designation “{text}” says {designation.capacity} at {designation.rate} h, "
            f"the capacity is given as {battery.capacity.value}{rate}"
        )
    return found


def _cells_against_voltage(designation: Designation | None, battery: Battery) -> list[str]:
    if battery.cells is None or battery.voltage is None:
        return []
    chemistry = battery.chemistry.value if battery.chemistry else None
    lead_acid = chemistry in LEAD_ACID if chemistry else designation is not None
    volts = battery.cells.value * _CELL_VOLTS
    if not lead_acid or battery.voltage.value.exact() == volts:
        return []
    return [
        f"{battery.cells.value} lead-acid cells give {volts} V, "
        f"the voltage is given as {battery.voltage.value}"
    ]


def _chemistry_disagrees(designation: Designation, given: str) -> bool:
    if designation.chemistry is None:
        return given not in LEAD_ACID
    return given != designation.chemistry


def _capacity_disagrees(designation: Designation, battery: Battery) -> bool:
    assert battery.capacity is not None
    marked, meant = battery.capacity.value.exact(), designation.capacity.exact()
    if battery.capacity_rate is None:
        return abs(marked - meant) > meant * _RATES_EXPLAIN
    return battery.capacity_rate.value == designation.rate and marked != meant
