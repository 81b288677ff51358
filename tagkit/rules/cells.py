"""One round through the cells of a battery: which one is low, high or sick, and is the
battery out of balance?

Cells are compared by gravities at the reference temperature with the battery's median. A cell
is low when it lies below by more than max(0.020, 3 x 1.4826 x MAD), suspect from 0.050, or when
it stays low after an equalize charge; equally far above is high (dry, or acid was added).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from statistics import median
from typing import Literal

from tagkit.rules.electrolyte import GravityScale, charge_percent
from tagkit.rules.flags import Flag
from tagkit.rules.open_circuit import open_circuit_flag
from tagkit.rules.readings import second_press
from tagkit.settings import CellSettings, ElectrolyteSettings

BalanceDue = Literal["none", "watch", "equalize"]
VoltageTaken = Literal["at rest", "on charge", "under load"]

FEWEST_CELLS = 3
"""Below this there is no median to compare with."""

_MAD_TO_SIGMA = 1.4826  # of normally distributed readings


@dataclass(frozen=True)
class CellReading:
    """A cell as read: gravity not corrected, °C, V, one of ``readings.LEVELS``; None: not read."""

    cell: int
    gravity: float | None = None
    celsius: float | None = None
    volts: float | None = None
    level: str | None = None


@dataclass(frozen=True)
class Circumstances:
    """How a round was taken; None means unknown.

    ``hours_since_water`` is None when no watering is on record; ``charged_since_water`` tells
    whether a charge has mixed it in since.
    """

    after_charge: bool | None = None
    hours_rested: float | None = None
    hours_since_water: float | None = None
    charged_since_water: bool | None = None
    voltage_taken: VoltageTaken = "at rest"


@dataclass(frozen=True)
class CellJudgement:
    """A cell beside its neighbours: gravity at the reference and its distance from the median."""

    cell: int
    corrected: float | None
    distance: float | None
    flags: tuple[Flag, ...] = ()


@dataclass(frozen=True)
class RoundJudgement:
    """What a round says; None where too little was read to say it.

    ``deviation`` is 1.4826 x MAD, ``percent`` the state of charge at the median. ``corrected``
    is False when no temperature was read at all: then gravities are compared as read, which
    holds as long as the cells are equally warm, and no state of charge is given.
    """

    median: float | None
    spread: float | None
    deviation: float | None
    percent: float | None
    due: BalanceDue | None
    cells: tuple[CellJudgement, ...]
    not_comparable: tuple[str, ...]
    corrected: bool

    @property
    def flags(self) -> tuple[Flag, ...]:
        """The flags of all cells."""
        return tuple(flag for cell in self.cells for flag in cell.flags)

    @property
    def distances(self) -> dict[int, float]:
        """Distance from the median by cell, for trends; empty when not comparable."""
        if self.not_comparable:
            return {}
        return {cell.cell: cell.distance for cell in self.cells if cell.distance is not None}


def judge_round(
    readings: Sequence[CellReading],
    scale: GravityScale,
    cells: CellSettings,
    electrolyte: ElectrolyteSettings,
    circumstances: Circumstances | None = None,
    low_before_equalize: Collection[int] = (),
) -> RoundJudgement:
    """Every cell beside the battery's median.

    ``low_before_equalize`` are the cells that were low before the last equalize charge: one
    that is low again is suspect. A cell without a temperature of its own is taken to be as warm
    as the median of those measured.
    """
    taken = circumstances or Circumstances()
    warmths = [reading.celsius for reading in readings if reading.celsius is not None]
    gravities = {
        reading.cell: _at_reference(reading, scale, median(warmths) if warmths else None)
        for reading in readings
    }
    known = [gravity for gravity in gravities.values() if gravity is not None]
    enough = len(known) >= FEWEST_CELLS
    middle = median(known) if enough else None
    spread = round(max(known) - min(known), 5) if enough else None
    deviation = (
        _MAD_TO_SIGMA * median(abs(gravity - middle) for gravity in known)
        if middle is not None
        else None
    )
    judged = []
    for reading in readings:
        gravity = gravities[reading.cell]
        distance = None
        if gravity is not None and middle is not None:
            distance = round(gravity - middle, 5)
        flags = [
            *_by_voltage(reading, gravity if warmths else None, taken, cells, electrolyte),
            *_by_distance(
                reading.cell, distance, deviation or 0.0, cells, reading.cell in low_before_equalize
            ),
            *_by_level(reading),
        ]
        judged.append(CellJudgement(reading.cell, gravity, distance, tuple(flags)))
    percent = charge_percent(middle, scale) if middle is not None and warmths else None
    return RoundJudgement(
        middle, spread, deviation, percent, balance_due(spread, cells), tuple(judged),
        not_comparable(taken, electrolyte), bool(warmths),
    )  # fmt: skip


def not_comparable(taken: Circumstances, settings: ElectrolyteSettings) -> tuple[str, ...]:
    """Why a round can't be compared with others; empty when it can. Unknown is a reason."""
    reasons = []
    if taken.after_charge is None:
        reasons.append("whether it was charged before is not known")
    elif not taken.after_charge:
        reasons.append("it was not charged before")
    if taken.hours_rested is None:
        reasons.append("how long it had rested is not known")
    elif taken.hours_rested < settings.rest_hours:
        reasons.append(
            f"it had rested {taken.hours_rested:g} h, less than {settings.rest_hours:g} h"
        )
    watered = taken.hours_since_water
    if watered is not None and watered < settings.water_hours and not taken.charged_since_water:
        reasons.append(f"water was added {watered:.0f} h before and no charge has mixed it in")
    return tuple(reasons)


def balance_due(spread: float | None, settings: CellSettings) -> BalanceDue | None:
    """What a spread of gravities (max - min) asks for; None when it is not known."""
    if spread is None:
        return None
    if round(spread, 5) >= settings.equalize_spread:
        return "equalize"
    return "watch" if round(spread, 5) >= settings.watch_spread else "none"


def low_limit(deviation: float, settings: CellSettings) -> float:
    """How far from the median a cell may lie, given 1.4826 x MAD of the battery."""
    return max(settings.low, settings.low_deviations * deviation)


def read_again(
    cell: int, distance: float | None, before: float | None, settings: CellSettings
) -> Flag | None:
    """Whether a distance from the median is so far from the round ``before`` that the reading
    is asked for again: a slip of a digit is likelier than such a fall within weeks."""
    if distance is None or before is None or abs(distance - before) <= settings.suspect:
        return None
    return Flag(
        "read again",
        f"cell {cell} is {distance:+.3f} from the median and was {before:+.3f}: read it again",
        "watch",
        cell,
    )


def _at_reference(
    reading: CellReading, scale: GravityScale, others_celsius: float | None
) -> float | None:
    celsius = reading.celsius if reading.celsius is not None else others_celsius
    if reading.gravity is None or celsius is None:
        return reading.gravity
    return scale.corrected(reading.gravity, celsius)


def _by_voltage(
    reading: CellReading,
    gravity: float | None,
    taken: Circumstances,
    cells: CellSettings,
    electrolyte: ElectrolyteSettings,
) -> Iterator[Flag]:
    if reading.volts is None:
        return
    at_rest = taken.voltage_taken == "at rest"
    critical = second_press(reading.volts, cells, at_rest, reading.cell)
    if critical is not None:
        yield critical
        return
    rested = taken.hours_rested is None or taken.hours_rested >= electrolyte.rest_hours
    if at_rest and rested:
        flag = open_circuit_flag(reading.volts, gravity, electrolyte, reading.cell)
        if flag is not None:
            yield flag


def _by_distance(
    cell: int, distance: float | None, deviation: float, settings: CellSettings, was_low: bool
) -> Iterator[Flag]:
    if distance is None:
        return
    limit = low_limit(deviation, settings)
    if -distance > settings.suspect:
        yield Flag("suspect cell", f"cell {cell} is {-distance:.3f} below the median", "act", cell)
    elif -distance > limit and was_low:
        yield Flag(
            "suspect cell",
            f"cell {cell} is {-distance:.3f} below the median, still after an equalize charge",
            "act",
            cell,
        )
    elif -distance > limit:
        yield Flag("low cell", f"cell {cell} is {-distance:.3f} below the median", "watch", cell)
    elif distance > limit:
        yield Flag(
            "high cell",
            f"cell {cell} is {distance:.3f} above the median: dry, or acid was added",
            "watch",
            cell,
        )


def _by_level(reading: CellReading) -> Iterator[Flag]:
    cell = reading.cell
    if reading.level == "bare":
        yield Flag(
            "plates bare", f"the plates of cell {cell} are bare: cover them before charging",
            "act", cell,
        )  # fmt: skip
    elif reading.level == "low":
        yield Flag("low level", f"cell {cell} is low: water it after charging", "note", cell)
    elif reading.level == "over":
        yield Flag("over level", f"cell {cell} is over the mark: acid may spill", "note", cell)
