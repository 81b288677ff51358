"""What goes on in the cells of a vented traction battery. FROZEN (see the package).

All shares are of the battery's capacity, gravities at 25 °C, days from the record's start.

- Gravity falls by 0.150 from full to empty, so acid locked in sulphate shows as a share of it:
  a cell with 40 % of its acid locked stands 0.060 below its neighbours and can give no more
  than 60 % of the capacity, which is a usual use. There it reverses under load: it has FAILED.
- Sulphation feeds itself: a cell that is never fully charged sulphates faster. Its deficit
  doubles in 45 to 120 days.
- A short grown by moss or dendrites is a leak, which grows the same way but faster (30 to 90
  days a doubling); what overcharge returns to the cell (a quarter of it, some 2 % of capacity
  a day, and more at the weekly equalize charge) hides it until it no longer can. The deficit
  then opens within weeks.
- Shedding takes active material and no acid: capacity goes, gravity stays. A hydrometer can't
  see it; the cell gasses early and drinks more.
- Healthy cells differ by some 0.0025 for years and wander a little. A few lag (self-discharge
  beyond the others') and are brought back by equalizing, or are diluted once by overfilling,
  or had acid added: none of these is failing.
- Self-discharge of antimonial cells is 1 % a week when new, 3 to 5 % when old.
- Overcharge takes 0.336 g of water an Ah (Faraday). Evaporation takes about 0.4 g a day from a
  100 Ah cell at 25 °C, twice as much for each 10 °C more. Of water above the plates a cell has
  some 0.085 l for each 100 Ah.
- A sound charge returns 10 to 14 % more than was taken. A faulty one 15 to 30 % beyond that,
  from one day on or creeping up by 2 to 5 % a month.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FULL_TO_EMPTY = 0.150
FAILS_AT = 0.40  # share of the acid locked, or of the capacity lost
WATER_LITRES_PER_AH = 0.000336
EVAPORATED_LITRES = 0.0004  # a day, from 100 Ah at 25 °C
PLATES_BARE_LITRES = 0.085  # below the mark, for 100 Ah
LOOKS_LOW_LITRES = 0.047

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Decay:
    """A cell that dies. ``deficit`` by day is the share of its acid that is missing after a
    charge, ``lost`` the share of its capacity; ``fails_on`` the day it reverses under load."""

    cell: int
    kind: str  # sulphation | short | shedding
    deficit: Floats
    lost: Floats
    fails_on: int | None


def decay(rng: np.random.Generator, cells: int, days: int) -> Decay:
    """A dying cell whose failure lies anywhere in the record or within a year after it."""
    kind = str(rng.choice(["sulphation", "short", "shedding"], p=[0.70, 0.20, 0.10]))
    at = np.arange(days, dtype=float)
    fails = rng.uniform(20, days + 250)
    cell = int(rng.integers(1, cells + 1))
    if kind == "short":
        doubling = np.exp(rng.uniform(np.log(30), np.log(90)))
        returned = rng.uniform(0.015, 0.025)
        # The leak is as strong as what is returned some six weeks before the failure.
        leak = returned * 2 ** ((at - (fails - 42)) / doubling)
        deficit = _accumulated(leak, returned, rng)
        lost = deficit
    else:
        doubling = np.exp(rng.uniform(np.log(45), np.log(120)))
        lost = FAILS_AT * 2 ** ((at - fails) / doubling)
        deficit = lost if kind == "sulphation" else np.zeros(days)
    over = np.flatnonzero(lost >= FAILS_AT)
    return Decay(cell, kind, np.minimum(deficit, 1.0), np.minimum(lost, 1.0),
                 int(over[0]) if len(over) else None)  # fmt: skip


def _accumulated(leak: Floats, returned: float, rng: np.random.Generator) -> Floats:
    """Deficit by day: what leaks and is not returned; an equalize charge a week returns more."""
    deficit = np.zeros(len(leak))
    now = 0.0
    weekday = int(rng.integers(7))
    for day, loss in enumerate(leak):
        back = returned + (0.02 if day % 7 == weekday else 0.0)
        now = max(0.0, now + loss - back)
        deficit[day] = now
    return deficit


def healthy_distances(rng: np.random.Generator, cells: int, moments: Floats) -> Floats:
    """Gravity of each cell beside the battery's at ``moments`` (days): (rounds, cells)."""
    offsets = rng.normal(0, 0.0025, cells)
    months = np.diff(moments, prepend=moments[:1]) / 30
    steps = rng.normal(0, 0.0005, (len(moments), cells)) * np.sqrt(months)[:, None]
    return offsets + np.cumsum(steps, axis=0)


def lagging(rng: np.random.Generator, moments: Floats) -> Floats:
    """A cell with more self-discharge than its neighbours, in a battery that is not always
    equalized: it falls behind by 0.5 to 1.5 % of charge a week and is brought back."""
    a_week = rng.uniform(0.005, 0.015)
    brought_back = np.cumsum(rng.exponential(60, 40))
    last = np.array([max(0.0, *(t for t in [0.0, *brought_back] if t <= day)) for day in moments])
    return -FULL_TO_EMPTY * np.minimum(0.15, a_week * (moments - last) / 7)


def stepped(rng: np.random.Generator, moments: Floats, days: int) -> Floats:
    """A cell diluted by overfilling (or, one time in four, given acid) on one day."""
    size = rng.uniform(0.008, 0.018) * (1 if rng.random() < 0.25 else -1)
    return np.where(moments >= rng.uniform(0, days), size, 0.0)


@dataclass(frozen=True)
class Overcharge:
    """Ah returned beyond 100 % of those taken, as a share of them, by day."""

    share: Floats
    kind: str | None  # step | creep, None for a sound one
    begins: int | None


def overcharge(rng: np.random.Generator, days: int, faulty: bool) -> Overcharge:
    """Sound, or too much from one day on, or creeping up."""
    share = np.full(days, rng.uniform(0.10, 0.14))
    if not faulty:
        return Overcharge(share, None, None)
    begins = int(rng.integers(30, days - 60))
    kind = str(rng.choice(["step", "creep"]))
    after = np.maximum(0, np.arange(days) - begins)
    if kind == "step":
        share = share + rng.uniform(0.15, 0.30) * (after > 0)
    else:
        share = share + rng.uniform(0.02, 0.05) * after / 30
    return Overcharge(share, kind, begins)


def water_lost(
    rng: np.random.Generator, share: Floats, used_a_day: Floats, capacity: float, warmth: Floats
) -> Floats:
    """Litres that leave each cell, day by day; ``used_a_day`` are shares of the capacity."""
    gassing = WATER_LITRES_PER_AH * capacity * used_a_day * share
    weekly = np.where(np.arange(len(share)) % 7 == rng.integers(7), 0.06, 0.0)
    gassing = gassing + WATER_LITRES_PER_AH * capacity * weekly
    evaporation = EVAPORATED_LITRES * capacity / 100 * 2 ** ((warmth - 25) / 10)
    return gassing + evaporation
