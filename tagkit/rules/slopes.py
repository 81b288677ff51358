"""The robust slope through a few points: Theil-Sen, with Sen's interval from Kendall's tau.

Source: H. Theil (1950); P. K. Sen, Estimates of the regression coefficient based on Kendall's
tau, J. Am. Stat. Assoc. 63 (1968). The interval is exact for few points: it counts the orders
in which independent readings could have come, instead of assuming a normal distribution.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from statistics import median


@dataclass(frozen=True)
class Slope:
    """A line ``intercept + per_day * days``; ``low`` to ``high`` is the slope's interval.

    An end is None where that few points can't bound it at the confidence asked for.
    """

    per_day: float
    intercept: float
    low: float | None
    high: float | None
    points: int


def theil_sen(
    days: Sequence[float], values: Sequence[float], confidence_percent: float = 90.0
) -> Slope | None:
    """Median of the slopes between all pairs; None with fewer than two different days."""
    pairs = list(zip(days, values, strict=True))
    slopes = sorted(
        (later - earlier) / (day - start)
        for (start, earlier), (day, later) in combinations(pairs, 2)
        if day != start
    )
    if not slopes:
        return None
    per_day = median(slopes)
    intercept = median(value - per_day * day for day, value in pairs)
    outside = slopes_outside(len(pairs), confidence_percent)
    if outside == 0 or 2 * outside > len(slopes):
        return Slope(per_day, intercept, None, None, len(pairs))
    return Slope(per_day, intercept, slopes[outside - 1], slopes[-outside], len(pairs))


@lru_cache(maxsize=512)
def slopes_outside(points: int, confidence_percent: float) -> int:
    """How many of the sorted slopes an interval may count from each end; 0: no bound.

    With k pairs in the wrong order having probability P(k) when the order is random, the k-th
    slope from the end bounds the slope with an error of P(fewer than k).
    """
    allowed = (1 - confidence_percent / 100) / 2
    total = 0.0
    for wrong, chance in enumerate(_chances(points)):
        total += chance
        if total > allowed:
            return wrong
    return 0


@lru_cache(maxsize=256)
def _chances(points: int) -> tuple[float, ...]:
    """Probability of 0, 1, 2 ... pairs in the wrong order among ``points`` in random order."""
    chances = [1.0]
    for size in range(2, points + 1):
        longer = [0.0] * (len(chances) + size - 1)
        for wrong, chance in enumerate(chances):
            for more in range(size):
                longer[wrong + more] += chance / size
        chances = longer
    return tuple(chances)
