"""Which cell is going to fail: one that falls behind its own past, faster and faster.

A dying cell is not fully charged, so it sulphates, so it is charged even less: what it is
behind doubles in weeks to months. Each cell is therefore compared with its own baseline, not
only with the median: the readings are fitted with ``baseline - behind x 2^(time / doubling)``
for a quick, a usual and a slow doubling, by weighted least squares with Huber's weights
(P. J. Huber, Robust estimation of a location parameter, 1964).

A round whose cells scatter more than usual (layered acid, water just added) counts for less,
and no single reading decides: the fall has to show in the round before already.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median

from tagkit.rules.flags import Flag
from tagkit.rules.trend import RoundPoint
from tagkit.settings import CellSettings

DOUBLING_DAYS = (45.0, 80.0, 130.0)

_LEAST_SCATTER = 0.0015  # what a good hydrometer and a careful reader reach
_HUBER = 1.5
_FITS = 3
_FALL_LIMIT = 4.0  # deviations that one reading may lie below the two before it
_CONFIRMED_BY = 2.0  # deviations, in the round before
_CONFIRMED_SHARE = 0.6
_TO_SIGMA = 1.4826
_SOON_DAYS = 60.0


@dataclass(frozen=True)
class FailingCell:
    """A cell on its way: ``behind`` its own baseline, in ``deviations`` of that figure's error.

    ``passes_at`` is when it will be suspect (site's limit below the median) at this pace.
    """

    cell: int
    behind: float
    deviations: float
    doubling_days: float
    passes_at: datetime
    flag: Flag


@dataclass(frozen=True)
class _Fit:
    behind: float
    baseline: float
    deviations: float
    doubling: float


def failing_cells(
    rounds: Sequence[RoundPoint],
    settings: CellSettings,
    since: Mapping[int, datetime] | None = None,
) -> tuple[Flag, ...]:
    """The flags of :func:`falling_cells`: code "failing cell"."""
    return tuple(falling.flag for falling in falling_cells(rounds, settings, since))


def falling_cells(
    rounds: Sequence[RoundPoint],
    settings: CellSettings,
    since: Mapping[int, datetime] | None = None,
) -> tuple[FailingCell, ...]:
    """The cells that fall behind, from ``rounds`` that are comparable, oldest first.

    ``since`` is each cell's last repair: rounds before it don't count. It takes one round more
    than a trend does, because the fall has to show twice.
    """
    needed = round(settings.trend_rounds) + 1
    rounds = [point for point in rounds if point.distances]
    if len(rounds) < needed:
        return ()
    scatter = _scatter(rounds)
    found = []
    for cell in sorted(rounds[-1].distances):
        begins = (since or {}).get(cell)
        read = [
            (point.at, point.distances[cell], noise)
            for point, noise in zip(rounds, scatter, strict=True)
            if cell in point.distances and (begins is None or point.at >= begins)
        ]
        if len(read) < needed or not _worth_fitting(read, settings):
            continue
        now = _best_fit(read)
        if now.deviations < settings.failing_deviations or now.behind < settings.failing:
            continue
        before = _best_fit(read[:-1])
        if before.deviations < _CONFIRMED_BY or before.behind < _CONFIRMED_SHARE * settings.failing:
            continue
        found.append(_falling(cell, now, read[-1][:2], settings))
    return tuple(found)


def _scatter(rounds: Sequence[RoundPoint]) -> list[float]:
    """Standard error of a reading in each round: how far its cells lie from their medians over
    all rounds, never less than the usual round's."""
    cells = {cell for point in rounds for cell in point.distances}
    usual = {
        cell: median(point.distances[cell] for point in rounds if cell in point.distances)
        for cell in cells
    }
    apart = [
        _TO_SIGMA * median(abs(value - usual[cell]) for cell, value in point.distances.items())
        for point in rounds
    ]
    # The median of few rounds hugs its points: that much of the scatter is missing.
    missing = math.sqrt(len(rounds) / (len(rounds) - 1))
    typical = missing * max(_LEAST_SCATTER, median(apart))
    return [max(typical, missing * each) for each in apart]


def _worth_fitting(read: Sequence[tuple[datetime, float, float]], settings: CellSettings) -> bool:
    """A quick look that spares most cells the fit: its last two readings below its first."""
    early = median(value for _, value, _ in read[: max(3, len(read) // 2)])
    limit = early - 0.4 * settings.failing
    return read[-1][1] <= limit and read[-2][1] <= limit


def _best_fit(read: Sequence[tuple[datetime, float, float]]) -> _Fit:
    last = read[-1][0]
    days = [(at - last).total_seconds() / 86_400 for at, _, _ in read]
    noise = [each for _, _, each in read]
    values = [value for _, value, _ in read]
    for place in range(2, len(values)):
        floor = min(values[place - 1], values[place - 2]) - _FALL_LIMIT * min(noise)
        values[place] = max(values[place], floor)
    fits = (_fit(days, values, noise, doubling) for doubling in DOUBLING_DAYS)
    return max(fits, key=lambda fit: fit.deviations)


def _fit(
    days: Sequence[float], values: Sequence[float], noise: Sequence[float], doubling: float
) -> _Fit:
    """``baseline - behind * shape``, the shape being 1 today and half a doubling time ago."""
    shape = [2.0 ** (day / doubling) for day in days]
    trust = [1 / (each * each) for each in noise]
    weights = list(trust)
    slope = baseline = spread = 0.0
    for _ in range(_FITS):
        total = sum(weights)
        middle = sum(w * s for w, s in zip(weights, shape, strict=True)) / total
        level = sum(w * v for w, v in zip(weights, values, strict=True)) / total
        spread = sum(w * (s - middle) ** 2 for w, s in zip(weights, shape, strict=True))
        slope = (
            sum(
                w * (s - middle) * (v - level)
                for w, s, v in zip(weights, shape, values, strict=True)
            )
            / spread
        )
        baseline = level - slope * middle
        for place, (s, v, each) in enumerate(zip(shape, values, noise, strict=True)):
            off = abs(v - baseline - slope * s) / each
            weights[place] = trust[place] * (1.0 if off < _HUBER else _HUBER / off)
    return _Fit(-slope, baseline, -slope * math.sqrt(spread), doubling)


def _falling(
    cell: int, fit: _Fit, last: tuple[datetime, float], settings: CellSettings
) -> FailingCell:
    at, distance = last
    room = (fit.baseline + settings.suspect) / fit.behind
    # What was read counts before what the curve says: below the limit is not still to come.
    passed = distance <= -settings.suspect or room <= 1
    days = 0.0 if passed else fit.doubling * math.log2(room)
    passes_at = at + timedelta(days=days)
    when = f"about {passes_at:%Y-%m-%d}" if days > 0 else "by now"
    flag = Flag(
        "failing cell",
        f"cell {cell} has fallen {fit.behind:.3f} behind its own past and falls faster: at this "
        f"pace it is {settings.suspect:.3f} below the median {when}",
        "act" if days < _SOON_DAYS else "watch",
        cell,
    )
    return FailingCell(cell, fit.behind, fit.deviations, fit.doubling, passes_at, flag)
