"""What a person with a hydrometer writes down. FROZEN (see the package).

- A float hydrometer is graduated in 0.005 and read to half of that, by eye, give or take
  0.0015; a digital one shows 0.001, give or take 0.001. Both have a bias that all cells of a
  round share (parallax, the instrument), about 0.002.
- A reading falls by 0.0007 for each °C above 25. Six rounds in ten have one temperature, of the
  pilot cell; inner cells are warmer by some 1.5 °C, and nobody corrects for that.
- The sample comes from the top. After a full charge and rest the acid is mixed but for 0.0015;
  after a short charge (one round in twenty, half of them written down as such) it is layered
  and the top is weaker by 0.004 to 0.015, each cell by its own amount.
- One round in twenty-five follows a watering with no charge between: 0.003 to 0.020 weaker at
  the top. Half of those know of it.
- Slips: one reading in 500 has a digit wrong (0.010 or 0.100 off), one round in 150 has two
  neighbours interchanged, one reading in 200 is left out.
- Litres are read to 0.1 l give or take 5 %. One watering in 25 is never entered, one in 150 is
  entered under another battery's number. The worst level before is noted five times in six.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Instrument:
    """A hydrometer: what it shows is a multiple of ``step``."""

    step: float
    error: float


FLOAT = Instrument(0.0025, 0.0015)
DIGITAL = Instrument(0.001, 0.001)


@dataclass(frozen=True)
class Taken:
    """A round as written down: gravities (nan: left out), one temperature or each cell's."""

    gravities: Floats
    celsius: Floats
    charged_fully: bool  # as the record has it
    hours_since_water: float | None  # as the record has it


def read_round(
    rng: np.random.Generator, true: Floats, celsius: float, instrument: Instrument
) -> Taken:
    """``true`` gravities at 25 °C, read at about ``celsius``."""
    cells = len(true)
    place = np.arange(cells)
    inner = (place > 1) & (place < cells - 2)
    warmth = celsius + np.where(inner, 1.0, -0.5) + rng.normal(0, 0.4, cells)
    shown = true - 0.0007 * (warmth - 25) + rng.normal(0, 0.0015, cells)
    charged_fully, hours_since_water = True, None
    if rng.random() < 0.05:
        shown = shown - rng.uniform(0.004, 0.015) * rng.uniform(0.3, 1.7, cells)
        charged_fully = bool(rng.random() < 0.5)
    if rng.random() < 0.04:
        shown = shown - rng.uniform(0.003, 0.020) * rng.uniform(0.2, 1.8, cells)
        hours_since_water = float(rng.uniform(1, 8)) if rng.random() < 0.5 else None
    shown = shown + rng.normal(0, 0.002) + rng.normal(0, instrument.error, cells)
    shown = np.round(shown / instrument.step) * instrument.step
    slips = rng.random(cells) < 1 / 500
    if slips.any():
        shown = np.where(slips, shown + rng.choice([-0.1, -0.01, 0.01, 0.1], cells), shown)
    if rng.random() < 1 / 150:
        one = int(rng.integers(cells - 1))
        shown[[one, one + 1]] = shown[[one + 1, one]]
    shown = np.where(rng.random(cells) < 1 / 200, np.nan, shown)
    written = np.round(warmth) if rng.random() < 0.4 else np.full(cells, np.round(warmth[0]))
    return Taken(np.round(shown, 4), written, charged_fully, hours_since_water)


def read_litres(rng: np.random.Generator, true: float) -> float:
    """Litres off the filling gun or the can."""
    return float(max(0.1, np.round(true * rng.normal(1, 0.05), 1)))
