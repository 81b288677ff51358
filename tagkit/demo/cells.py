"""The cells inside Quillmoor's vented batteries: what is so, and what a technician reads.

Plain physics, enough for a year of rounds: gravity falls with charge along the line of the
trade (1.280 full, 1.130 empty), a reading depends on temperature by 0.0007 per °C, a rested
cell shows its gravity + 0.84 V, overcharge takes 0.336 g of water per Ah from each cell. The
hydrometer errs by about 0.0015.

A round is the body of a ``cells_read`` event::

    {"circumstances": "charged and rested", "hours_rested": 9,
     "hydrometer": "R-QM-…", "meter": "R-QM-…",
     "temperature_unit": "°C", "voltage_unit": "V",
     "cells": [{"cell": 1, "sg": "1.279", "temperature": "21", "level": "at mark",
                "voltage": "2.12"}, …]}

Cells are numbered from the positive post. Gravities are as read, not corrected to a reference
temperature. ``level`` is one of bare, low, at mark, over. Sealed batteries have neither gravity
nor level: both are null.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from random import Random
from typing import Any

from tagkit.assets.battery import Battery
from tagkit.assets.chemistry import WATERED

GRAVITY_PER_CELSIUS = 0.0007
GRAVITY_FULL_TO_EMPTY = 0.150
WATER_GRAMS_PER_AH = 0.336


@dataclass
class Decay:
    """A cell that dies: its gravity falls behind, slowly at first."""

    cell: int
    begins: datetime
    loss_a_day: float = 0.00016
    power: float = 1.12

    def behind(self, now: datetime) -> float:
        """How far its gravity has fallen behind."""
        days = max(0.0, (now - self.begins).total_seconds() / 86_400)
        return float(self.loss_a_day * days**self.power)


@dataclass
class Cells:
    """The cells of one battery."""

    count: int
    capacity: float  # Ah
    full: float  # gravity at 25 °C when full
    watered: bool
    offsets: list[float]
    decay: Decay | None = None
    overcharge: float = 0.12  # share of the Ah returned that only gasses
    overcharge_a_month: float = 0.0
    months: float = 0.0
    lost: float = 0.0  # litres of water per cell since the last watering
    thirst: list[float] = field(default_factory=list)  # each cell's share of the loss

    @property
    def surplus(self) -> float:
        """The share of the Ah returned that only gasses, by now."""
        return self.overcharge + self.overcharge_a_month * self.months

    def charge(self, discharged: float, months: float, equalizing: bool) -> None:
        """A charge of ``discharged`` (a share of capacity): water goes."""
        self.months = months
        ampere_hours = self.capacity * (discharged * self.surplus + (0.08 if equalizing else 0.0))
        self.lost += ampere_hours * WATER_GRAMS_PER_AH / 1000

    def water(self, random: Random) -> dict[str, Any]:
        """Topping up: the body of a ``watered`` event."""
        lowest = self._level(max(self.thirst) if self.thirst else 1.0)
        litres = self.lost * sum(self.thirst) * random.uniform(0.93, 1.05)
        self.lost = 0.0
        return {
            "litres": f"{max(0.1, litres):.1f}",
            "before": lowest,
            "after": "at mark",
            "quality": "deionised",
        }

    def read(self, now: datetime, temperature: float, random: Random) -> list[dict[str, Any]]:
        """Every cell, read when the battery is charged and rested."""
        return [self._cell(cell, now, temperature, random) for cell in range(1, self.count + 1)]

    def gravity(self, now: datetime, charge: float, temperature: float, random: Random) -> float:
        """One reading of the pilot cell, which is cell 1, at its temperature."""
        return self._as_read(self._true(1, now, charge), temperature, random)

    def _cell(self, cell: int, now: datetime, temperature: float, random: Random) -> dict[str, Any]:
        true = self._true(cell, now, 1.0)
        warmth = temperature + random.gauss(0.4 if 2 < cell < self.count - 1 else -0.3, 0.4)
        behind = self.decay.behind(now) if self.decay and self.decay.cell == cell else 0.0
        volts = true + 0.84 - 0.25 * max(0.0, behind - 0.03) + random.gauss(0, 0.004)
        if not self.watered:
            volts = 2.14 + self.offsets[cell - 1] + random.gauss(0, 0.004)
        return {
            "cell": cell,
            "sg": f"{self._as_read(true, warmth, random):.3f}" if self.watered else None,
            "temperature": f"{warmth:.0f}",
            "level": self._level(self.thirst[cell - 1]) if self.watered else None,
            "voltage": f"{volts:.2f}",
        }

    def _true(self, cell: int, now: datetime, charge: float) -> float:
        behind = self.decay.behind(now) if self.decay and self.decay.cell == cell else 0.0
        # Less water, stronger acid.
        stronger = 0.012 * min(1.5, self.lost * self.thirst[cell - 1] / self._reserve())
        full = self.full + self.offsets[cell - 1] + stronger - behind
        return full - GRAVITY_FULL_TO_EMPTY * (1 - charge)

    def _as_read(self, true: float, temperature: float, random: Random) -> float:
        return true - GRAVITY_PER_CELSIUS * (temperature - 25) + random.gauss(0, 0.0015)

    def _reserve(self) -> float:
        """Litres per cell between the mark and the plates."""
        return 0.00085 * self.capacity

    def _level(self, share: float) -> str:
        left = 1 - self.lost * share / self._reserve()
        if left < 0.05:
            return "bare"
        if left < 0.45:
            return "low"
        return "over" if self.lost < 0.02 and share < 0.8 else "at mark"


def cells_of(plate: Battery, random: Random) -> Cells:
    """The cells of a healthy battery with this nameplate."""
    count = plate.cells.value if plate.cells else 12
    capacity = plate.capacity.value.base() if plate.capacity else 500.0
    full = plate.full_gravity.value.base() if plate.full_gravity else 1.280
    marked_at = plate.gravity_temperature.value.base() if plate.gravity_temperature else 25.0
    return Cells(
        count=count,
        capacity=capacity,
        full=full + GRAVITY_PER_CELSIUS * (marked_at - 25) - random.uniform(0.0, 0.006),
        watered=plate.chemistry is not None and plate.chemistry.value in WATERED,
        offsets=[random.gauss(0, 0.0022) for _ in range(count)],
        overcharge=random.uniform(0.10, 0.14),
        thirst=[random.uniform(0.9, 1.1) for _ in range(count)],
    )
