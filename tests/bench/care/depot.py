"""A depot's record of a year and a half, and the truth behind it. FROZEN (see the package).

Twenty-four vented batteries of three types. The first 182 days are the run-in: the record has
to know a battery before it can find anything. A battery in twelve has a dying cell, one in
fifteen is overcharged, one in sixteen has a lagging cell, one in thirty a stepped one; in six
depots of ten two labels of one type are swapped in the year. Rounds come every 25 to 31 days.
A battery whose cell failed is taken out that day, and its record ends.

The same seed gives the same depot.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from tests.bench.care.physics import (
    FULL_TO_EMPTY,
    LOOKS_LOW_LITRES,
    PLATES_BARE_LITRES,
    Decay,
    Overcharge,
    decay,
    healthy_distances,
    lagging,
    overcharge,
    stepped,
    water_lost,
)
from tests.bench.care.reading import DIGITAL, FLOAT, Instrument, Taken, read_litres, read_round

RUN_IN = 182
DAYS = RUN_IN + 365
TYPES = ((12, 500.0), (18, 700.0), (24, 775.0))  # cells, Ah
OF_EACH_TYPE = 8

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Topped:
    """A watering as entered; ``discharged_ah`` since the one before, where it is known."""

    day: float
    litres: float
    before: str | None
    discharged_ah: float | None


@dataclass
class Label:
    """What is on record under one number: rounds (day, as taken) and waterings."""

    name: str
    cells: int
    capacity: float
    rounds: list[tuple[float, Taken]] = field(default_factory=list)
    waterings: list[Topped] = field(default_factory=list)


@dataclass(frozen=True)
class Truth:
    """What is so about the battery that bore the number at the start."""

    decay: Decay | None
    overcharge: Overcharge
    first_bare: float | None  # day on which plates of a cell first stood bare
    lags: bool
    stepped: bool


@dataclass(frozen=True)
class Depot:
    """The record by number, the truth by number, and the swap: (one, other, day)."""

    labels: tuple[Label, ...]
    truths: tuple[Truth, ...]
    swap: tuple[str, str, float] | None


def play(seed: int) -> Depot:
    """The depot of this seed."""
    rng = np.random.default_rng([5, seed])
    labels = [
        Label(f"{cells}-{number}", cells, capacity)
        for cells, capacity in TYPES
        for number in range(1, OF_EACH_TYPE + 1)
    ]
    instrument = FLOAT if rng.random() < 0.6 else DIGITAL
    dying = rng.random(len(labels)) < 1 / 12
    swap = _swap(rng, dying)
    truths = []
    played: list[tuple[list[tuple[float, Taken]], list[Topped]]] = []
    for label, dies in zip(labels, dying, strict=True):
        truth, rounds, waterings = _battery(rng, label, bool(dies), instrument)
        truths.append(truth)
        played.append((rounds, waterings))
    _enter(rng, labels, played, swap)
    named = (labels[swap[0]].name, labels[swap[1]].name, swap[2]) if swap else None
    return Depot(tuple(labels), tuple(truths), named)


def _swap(rng: np.random.Generator, dying: NDArray[np.bool_]) -> tuple[int, int, float] | None:
    """Two sound batteries of one type, and the day in the year."""
    if rng.random() > 0.6:
        return None
    first = OF_EACH_TYPE * int(rng.integers(len(TYPES)))
    sound = [n for n in range(first, first + OF_EACH_TYPE) if not dying[n]]
    if len(sound) < 2:
        return None
    one, other = rng.choice(sound, 2, replace=False)
    return int(one), int(other), float(rng.uniform(RUN_IN, DAYS - 60))


def _battery(
    rng: np.random.Generator, label: Label, dies: bool, instrument: Instrument
) -> tuple[Truth, list[tuple[float, Taken]], list[Topped]]:
    cells, capacity = label.cells, label.capacity
    moments = np.cumsum(rng.uniform(25, 31, 24)) - rng.uniform(0, 28)
    moments = moments[(moments >= 0) & (moments < DAYS)]
    dying = decay(rng, cells, DAYS) if dies else None
    charging = overcharge(rng, DAYS, faulty=bool(rng.random() < 1 / 15))
    # Gravity
    full = rng.uniform(1.274, 1.284)
    true = full + healthy_distances(rng, cells, moments)
    lags, steps = bool(rng.random() < 1 / 16), bool(rng.random() < 1 / 30)
    spoiled = rng.integers(cells, size=2)
    if lags:
        true[:, spoiled[0]] += lagging(rng, moments)
    if steps:
        true[:, spoiled[1]] += stepped(rng, moments, DAYS)
    if dying is not None:
        true[:, dying.cell - 1] -= FULL_TO_EMPTY * dying.deficit[moments.astype(int)]
    # Water
    day = np.arange(DAYS)
    works = (day % 7 < 5) | (rng.random(DAYS) < 0.3)
    used = np.where(works, rng.normal(0.62, 0.12, DAYS).clip(0.2, 0.9), 0.0) * rng.uniform(0.7, 1.1)
    warmth = 27 + 5 * np.sin(2 * np.pi * (day - 110 + rng.uniform(-20, 20)) / 365)
    warmth = warmth + 25 * np.maximum(0, charging.share - 0.14)
    lost = water_lost(rng, charging.share, used, capacity, warmth)
    thirst = rng.uniform(0.9, 1.1, cells)
    if dying is not None:
        thirst[dying.cell - 1] *= 1.15
    waterings, missing, first_bare = _water(rng, label, lost, used, thirst)
    # Less water, stronger acid: 0.012 with the reserve gone.
    gone = missing[moments.astype(int)][:, None] * thirst / (PLATES_BARE_LITRES * capacity / 100)
    true = true + 0.012 * np.minimum(1.5, gone)
    ends = dying.fails_on if dying is not None and dying.fails_on is not None else DAYS
    rounds = []
    for place, moment in enumerate(moments):
        if moment >= ends:
            break
        celsius = warmth[int(moment)] - 6 + rng.normal(0, 2)
        rounds.append((float(moment), read_round(rng, true[place], celsius, instrument)))
    waterings = [topped for topped in waterings if topped.day < ends]
    bare = first_bare if first_bare is not None and first_bare < ends else None
    return Truth(dying, charging, bare, lags, steps), rounds, waterings


def _water(
    rng: np.random.Generator, label: Label, lost: Floats, used: Floats, thirst: Floats
) -> tuple[list[Topped], Floats, float | None]:
    """Waterings at this battery's habit (every 9 to 16 days), litres missing by day."""
    every = rng.uniform(9, 16)
    per_100 = label.capacity / 100
    missing = np.zeros(len(lost))
    now, next_on, since_ah = rng.uniform(0, 0.02) * per_100, rng.uniform(0, every), 0.0
    first_bare = None
    toppings = []
    for day, loss in enumerate(lost):
        now += loss
        since_ah += used[day] * label.capacity
        worst = now * thirst.max()
        if worst > PLATES_BARE_LITRES * per_100 and first_bare is None:
            first_bare = float(day)
        missing[day] = now
        if day >= next_on:
            low = worst > LOOKS_LOW_LITRES * per_100
            bare = worst > PLATES_BARE_LITRES * per_100
            level = "bare" if bare else "low" if low else "at mark"
            litres = read_litres(rng, now * float(thirst.sum()))
            known = float(since_ah * rng.normal(1, 0.06)) if rng.random() < 0.8 else None
            noted = level if rng.random() < 5 / 6 else None
            if rng.random() >= 1 / 25:
                toppings.append(Topped(day + 0.6, litres, noted, known))
            now, since_ah = 0.0, 0.0
            next_on = day + every * rng.uniform(0.75, 1.35)
    return toppings, missing, first_bare


def _enter(
    rng: np.random.Generator,
    labels: list[Label],
    played: list[tuple[list[tuple[float, Taken]], list[Topped]]],
    swap: tuple[int, int, float] | None,
) -> None:
    """Everything goes under the number that the battery bears that day."""
    for battery, (rounds, waterings) in enumerate(played):
        for day, taken in rounds:
            labels[_borne(battery, day, swap)].rounds.append((day, taken))
        for topped in waterings:
            number = _borne(battery, topped.day, swap)
            if rng.random() < 1 / 150:
                number = int(rng.integers(len(labels)))
            labels[number].waterings.append(topped)
    for label in labels:
        label.rounds.sort(key=lambda entry: entry[0])
        label.waterings.sort(key=lambda topped: topped.day)


def _borne(battery: int, day: float, swap: tuple[int, int, float] | None) -> int:
    if swap is None or day < swap[2] or battery not in swap[:2]:
        return battery
    return swap[1] if battery == swap[0] else swap[0]
