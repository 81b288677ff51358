"""What can be found at all: ``python -m tests.bench.care.bound`` (minutes).

A test that knows what no record holds: the generator's own physics, all its shares, the error of
the hydrometer in use, what the pilot cell's temperature leaves out, the day on which labels were
swapped. For each cell it weighs what was read up to a day under each course that the generator
can give a cell (sound, sulphating with any doubling time and day of failure, lagging, stepped), and
names the cell when the odds of sulphation pass a limit: by Neyman and Pearson's lemma (1933) no
test finds more at the same false alarms, but for chance and what is approximated. Beside it, the
rule of the product on the same depots.

Approximated are: courses are a grid or drawn at random, a slip of a reading is
merged into one normal distribution (Y. Bar-Shalom, T. E. Fortmann, Tracking and Data Association,
1988), the level of a round is estimated before.

Shorts and shedding need no test: 112 days before it fails the deficit of a short is 0 by
``physics.decay``, and that of shedding always is. ``--shorts`` prints what the last round shows.
"""

from __future__ import annotations

import argparse
import math
import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from tagkit.rules.failing import weighed_cells
from tests.bench.care.depot import DAYS, RUN_IN, Depot, Label, Truth, play
from tests.bench.care.findings import find
from tests.bench.care.physics import FAILS_AT, FULL_TO_EMPTY
from tests.bench.care.reader import START
from tests.bench.care.score import AHEAD, LONG_ENOUGH, ROUND_DAYS, pasts

Floats = NDArray[np.float64]

OFFSET, WANDER = 0.0025, 0.0005  # physics.healthy_distances
ERRORS = {"float": 0.00227, "digital": 0.00187}  # sample, eye, steps, temperature of reading.py
SLIP, SLIP_SPREAD = 0.006, 0.06  # a digit wrong, neighbours interchanged
DYING, LAGGING, STEPPED = 0.7 / 12, 1 / 16, 1 / 30  # shares of batteries; depot.py, physics.py
RATES = (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)


@dataclass(frozen=True)
class Course:
    """Log odds of sulphation of a cell after each of its rounds (days)."""

    seed: int
    name: str
    cell: int
    days: Floats
    odds: Floats


def main() -> None:
    """Prints how many of the cells can be named so early, by false alarms."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--first", type=int, default=1000)
    parser.add_argument("--depots", type=int, default=60)
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    parser.add_argument("--shorts", action="store_true")
    chosen = parser.parse_args()
    depots = {seed: play(seed) for seed in range(chosen.first, chosen.first + chosen.depots)}
    if chosen.shorts:
        print(shorts(depots))
        return
    with ProcessPoolExecutor(chosen.workers) as pool:
        known = [each for part in pool.map(all_knowing, depots, depots.values()) for each in part]
        ours = [each for part in pool.map(by_rule, depots, depots.values()) for each in part]
    print("| false alarms for 100 battery-years | bound | … on record long | rule | … |")
    print("|---|---|---|---|---|")
    for rate in RATES:
        shares = [share for courses in (known, ours) for share in found(depots, courses, rate)]
        print(f"| {rate:g} | " + " | ".join(shares) + " |")


# --- the odds


def all_knowing(seed: int, depot: Depot) -> list[Course]:
    """The courses of cells that ever lie low; the others are never named."""
    rng = np.random.default_rng([6, seed])
    error = ERRORS[_instrument(depot)]
    courses = []
    for label in depot.labels:
        days, gravities, doubtful = _read(label)
        if not len(days):
            continue
        swapped = depot.swap[2] if depot.swap and label.name in depot.swap[:2] else math.inf
        for part in (days < swapped, days >= swapped):
            if part.any():
                courses += _part(
                    rng, (seed, label.name), days[part], gravities[part], doubtful[part], error
                )
    return courses


def _part(
    rng: np.random.Generator, who: tuple[int, str], days: Floats, gravities: Floats,
    doubtful: NDArray[np.bool_], error: float,
) -> list[Course]:  # fmt: skip
    cells = gravities.shape[1]
    distances, scatter = _distances(gravities, error)
    worse = doubtful | (scatter > 1.5 * error)
    errors = np.where(worse, np.maximum(scatter, 1.3 * error), error)
    errors = np.hypot(errors * math.sqrt(1 + 1.3 / cells), 0.0005)  # the level's; water's
    sulphating, fails = _sulphating(days)
    hypotheses = (sulphating, _lagging(rng, days), _stepped(rng, days))
    ends = np.cumsum([1, *(len(each) for each in hypotheses)])
    shapes = np.concatenate([np.zeros((1, len(days))), *hypotheses])
    alive = fails[:, None] > days[None]
    courses = []
    for cell in range(cells):
        read = distances[:, cell]
        early = max(0.0, float(np.nanmedian(read[: 1 + len(read) // 2])))
        if not np.any(read < early - 0.007):
            continue
        logs = _log_likelihoods(read, errors, days, shapes)
        sound, dying, lags, steps = np.split(logs, ends)[:4]
        dying = _mean(np.where(alive, dying, -np.inf)) - sound[0]
        others = np.log(
            1
            - (DYING + LAGGING + STEPPED) / cells
            + LAGGING / cells * np.exp(np.minimum(600, _mean(lags) - sound[0]))
            + STEPPED / cells * np.exp(np.minimum(600, _mean(steps) - sound[0]))
        )
        courses.append(Course(*who, cell + 1, days, math.log(DYING / cells) + dying - others))
    return courses


def _instrument(depot: Depot) -> str:
    read = np.concatenate([taken.gravities for each in depot.labels for _, taken in each.rounds])
    steps = read[~np.isnan(read)] / 0.0025
    return "float" if np.mean(np.abs(steps - np.round(steps)) < 0.001) > 0.8 else "digital"


def _read(label: Label) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Days; gravities at 25 °C, inner cells' warmth known; whether a round is known as layered."""
    days = np.array([day for day, _ in label.rounds])
    gravities = np.array([taken.gravities for _, taken in label.rounds])
    celsius = np.array([taken.celsius for _, taken in label.rounds])
    if len(days):
        place = np.arange(label.cells)
        inner = (place > 1) & (place < label.cells - 2)
        pilot = np.all(celsius == celsius[:, :1], axis=1)
        gravities = gravities + 0.0007 * (celsius + 1.5 * np.outer(pilot, inner) - 25)
    doubtful = [
        not taken.charged_fully or taken.hours_since_water is not None for _, taken in label.rounds
    ]
    return days, gravities, np.array(doubtful, dtype=bool)


def _distances(gravities: Floats, error: float) -> tuple[Floats, Floats]:
    """Distances from the level of each round, which is estimated from its cells' own distances so
    far (Huber's weights), and the round's scatter."""
    distances, scatter = np.full_like(gravities, np.nan), np.zeros(len(gravities))
    for place, read in enumerate(gravities):
        own = np.zeros(gravities.shape[1])
        if place:
            seen = np.sum(~np.isnan(distances[:place]), axis=0)
            middle = np.nan_to_num(np.nanmedian(distances[:place], axis=0))
            own = middle * seen / (seen + 1.57 * (error / OFFSET) ** 2)
        about = error if place else math.hypot(error, OFFSET)
        level = np.nanmedian(read - own)
        for _ in range(4):
            off = np.abs(read - own - level) / about
            weight = np.minimum(1, 1.5 / np.maximum(off, 1e-9))
            weight = np.where(np.isnan(read) | (off > 4), 0, weight)
            level = np.nansum(weight * (read - own)) / np.sum(weight)
        distances[place] = read - level
        scatter[place] = 1.4826 * np.nanmedian(np.abs(read - own - level)) * error / about
    return distances, scatter


def _sulphating(days: Floats) -> tuple[Floats, Floats]:
    """What cells are behind by, and the day on which each fails: ``physics.decay``'s range."""
    doubling, fails = (
        each.ravel()
        for each in np.meshgrid(
            np.linspace(49.7, 115.3, 8), np.arange(25.0, DAYS + 250, 10), indexing="ij"
        )
    )
    missing = FAILS_AT * 2.0 ** ((days[None] - fails[:, None]) / doubling[:, None])
    return -FULL_TO_EMPTY * np.minimum(1, missing), fails


def _lagging(rng: np.random.Generator, days: Floats, count: int = 600) -> Floats:
    """``physics.lagging``, many at once."""
    a_week = rng.uniform(0.005, 0.015, count)
    back = np.cumsum(rng.exponential(60, (count, 40)), axis=1)
    back = np.concatenate([np.zeros((count, 1)), back], axis=1)
    last = np.array([np.where(back <= day, back, 0).max(axis=1) for day in days]).T
    return -FULL_TO_EMPTY * np.minimum(0.15, a_week[:, None] * (days[None] - last) / 7)


def _stepped(rng: np.random.Generator, days: Floats, count: int = 200) -> Floats:
    """``physics.stepped``, many at once."""
    size = rng.uniform(0.008, 0.018, count) * np.where(rng.random(count) < 0.25, 1, -1)
    at = rng.uniform(0, DAYS, count)
    return np.where(days[None] >= at[:, None], size[:, None], 0.0)


def _log_likelihoods(read: Floats, errors: Floats, days: Floats, shapes: Floats) -> Floats:
    """Of what was read up to each round, by shape: (shapes, rounds)."""
    mean, variance = np.zeros(len(shapes)), np.full(len(shapes), OFFSET**2)
    total, logs = np.zeros(len(shapes)), np.zeros(shapes.shape)
    for place, gap in enumerate(np.diff(days, prepend=days[:1])):
        variance = variance + WANDER**2 * gap / 30
        if not np.isnan(read[place]):
            new = read[place] - shapes[:, place] - mean
            parts = []
            for share, spread in ((1 - SLIP, errors[place]), (SLIP, SLIP_SPREAD)):
                wide = variance + spread**2
                density = share * np.exp(-0.5 * new * new / wide) / np.sqrt(wide)
                gain = variance / wide
                parts.append((density, mean + gain * new, variance * (1 - gain)))
            (good, mean_good, left_good), (slip, mean_slip, left_slip) = parts
            both = good + slip
            total = total + np.log(both)
            part = good / both
            mean = part * mean_good + (1 - part) * mean_slip
            variance = part * (left_good + (mean_good - mean) ** 2) + (1 - part) * (
                left_slip + (mean_slip - mean) ** 2
            )
        logs[:, place] = total
    return logs


def _mean(logs: Floats) -> Floats:
    highest = np.max(logs, axis=0)
    highest = np.where(np.isfinite(highest), highest, 0.0)
    return highest + np.log(np.mean(np.exp(logs - highest), axis=0) + 1e-300)


def by_rule(seed: int, depot: Depot) -> list[Course]:
    """The same from ``tagkit.rules.failing``, which knows what a record holds."""
    past = pasts(depot)
    swaps = find(past).swapped
    courses = []
    for name, own in past.items():
        noticed = min((at for pair, at in swaps.items() if name in pair), default=None)
        read: dict[int, list[tuple[float, float]]] = {}
        for count in range(1, len(own.rounds) + 1):
            seen = own.rounds[:count]
            known = noticed is not None and noticed <= seen[-1].at
            since = dict.fromkeys(seen[-1].distances, noticed) if known and noticed else None
            day = (seen[-1].at - START).total_seconds() / 86_400
            for cell, (weighed, _) in weighed_cells(seen, -6.0, since).items():
                read.setdefault(cell, []).append((day, weighed.log_odds))
        courses += [Course(seed, name, cell, *np.array(points).T) for cell, points in read.items()]
    return courses


# --- what is found


def found(depots: dict[int, Depot], courses: list[Course], rate: float) -> tuple[str, str]:
    """Shares named so many rounds ahead with at most ``rate`` false alarms for 100
    battery-years: of all, and of those on record long enough."""
    years, truths = 0.0, {}
    for seed, depot in depots.items():
        for label, truth in zip(depot.labels, depot.truths, strict=True):
            last = max((day for day, _ in label.rounds), default=0.0)
            years += max(0.0, last - RUN_IN) / 365
            truths[seed, label.name] = truth
    limit = _limit(courses, truths, int(rate * years / 100))
    best: dict[tuple[int, str, int], float] = {}
    for each in courses:
        truth = truths[each.seed, each.name]
        if not _fails(truth) or truth.decay is None or truth.decay.cell != each.cell:
            continue
        early = each.odds[truth.decay.fails_on - each.days >= AHEAD * ROUND_DAYS]
        key = (each.seed, each.name, each.cell)
        best[key] = max(best.get(key, -math.inf), float(np.max(early, initial=-math.inf)))
    shares = []
    for least in (RUN_IN, LONG_ENOUGH):
        fit = [
            (seed, name, truth.decay.cell)
            for (seed, name), truth in truths.items()
            if truth.decay is not None and _fails(truth) and truth.decay.fails_on >= least
        ]
        named = sum(best.get(key, -math.inf) > limit for key in fit)
        shares.append(f"{named} of {len(fit)} = {100 * named / len(fit):.0f}%")
    return shares[0], shares[1]


def _fails(truth: Truth) -> bool:
    decay = truth.decay
    return (
        decay is not None
        and decay.kind == "sulphation"
        and decay.fails_on is not None
        and decay.fails_on >= RUN_IN
    )


def _limit(courses: list[Course], truths: dict[tuple[int, str], Truth], alarms: int) -> float:
    """The lowest limit on the odds with no more false alarms in the year that counts; a cell
    that was named in the run-in is not named again."""
    high: dict[tuple[int, str, int], list[float]] = {}
    for each in courses:
        truth = truths[each.seed, each.name]
        if truth.decay is not None and truth.decay.cell == each.cell:
            continue
        told = high.setdefault((each.seed, each.name, each.cell), [-math.inf, -math.inf])
        for place, part in enumerate((each.days < RUN_IN, each.days >= RUN_IN)):
            told[place] = max(told[place], float(np.max(each.odds[part], initial=-math.inf)))
    false = [(later, before) for before, later in high.values() if later > before]
    lowest = math.inf
    for limit, _ in sorted(false, reverse=True):
        if sum(before < limit <= later for later, before in false) > alarms:
            break
        lowest = limit
    return np.nextafter(lowest, -math.inf)


def shorts(depots: dict[int, Depot]) -> str:
    """How far behind shorts are four rounds ahead, and in the last round before they fail."""
    ahead, last = [], []
    for depot in depots.values():
        for label, truth in zip(depot.labels, depot.truths, strict=True):
            decay = truth.decay
            if decay is None or decay.kind != "short" or decay.fails_on is None:
                continue
            days = [int(day) for day, _ in label.rounds]
            behind = FULL_TO_EMPTY * decay.deficit
            ahead += [behind[day] for day in days if decay.fails_on - day >= AHEAD * ROUND_DAYS]
            last += [behind[days[-1]]] if days else []
    told = sorted(round(float(each), 3) for each in last)
    return (
        f"{len(last)} shorts: behind by {max(ahead, default=0.0):.4f} at most {AHEAD} rounds ahead;"
        f" in the last round by {told}"
    )


if __name__ == "__main__":
    main()
