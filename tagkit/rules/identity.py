"""Do these cells belong to the battery whose number they were entered under?

Each cell keeps its own small distance from the median for years, so the pattern of a battery
is like handwriting. When a round does not look like the rounds before it but like those of
another battery, labels were swapped or a round was entered under a wrong number.

Derivation: with readings that err by sigma, a battery's pattern as the mean of n rounds, and a
new round of the same cells, each cell's difference has variance sigma^2 (1 + 1/n); of other
cells it has 2 tau^2 more, tau being how much cells differ. The odds are the ratio of the two
likelihoods, each cell's share bounded so that one bad reading decides nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from statistics import median

from tagkit.rules.flags import Flag
from tagkit.rules.trend import RoundPoint

FEWEST_ROUNDS = 3
ROUNDS_COMPARED = 6
"""As many of the last rounds before make the pattern."""
FEWEST_CELLS = 6
_LEAST_SIGMA = 0.0015  # what a good hydrometer and a careful reader reach
_MOST_FOR_A_CELL = 3.0  # natural logarithm of odds
CLEAR = 4.6
"""Odds of 100 : 1, as a natural logarithm."""
_LEFT_OUT = 2  # cells at the end of a round that may have been left out


@dataclass(frozen=True)
class Likeness:
    """``odds``: natural logarithm of how much likelier these are the same cells than others.

    Below zero they are likelier another battery's. None with a reason where it can't be told.
    """

    odds: float | None
    reason: str = ""


@dataclass(frozen=True)
class Swap:
    """Two numbers whose latest rounds fit each other's past; ``odds`` as in Likeness."""

    one: str
    other: str
    odds: float
    flag: Flag


def same_cells(before: Sequence[RoundPoint], now: RoundPoint) -> Likeness:
    """How well the round ``now`` goes with the rounds ``before`` of the same number."""
    if len(before) < FEWEST_ROUNDS:
        return Likeness(None, f"{len(before)} of {FEWEST_ROUNDS} comparable rounds before")
    recent = before[-ROUNDS_COMPARED:]
    # Fewer cells may be a round that was broken off; more cells can't be this battery's.
    if max(now.distances, default=0) > _most(recent) + _LEFT_OUT:
        return Likeness(-_MOST_FOR_A_CELL * _most(recent), "another number of cells")
    # A cell left out of a round or two still has a pattern from the others.
    pattern = {
        cell: median(values)
        for cell in now.distances
        if len(values := [p.distances[cell] for p in recent if cell in p.distances])
        >= FEWEST_ROUNDS
    }
    if len(pattern) < FEWEST_CELLS:
        return Likeness(None, "too few cells in common")
    sigma = _reading_error(recent, pattern)
    unlike = _spread_between(pattern.values(), sigma)
    return Likeness(_odds(pattern, now.distances, sigma, unlike, len(recent)))


def swapped_with(
    before: Mapping[str, Sequence[RoundPoint]],
    now: Mapping[str, RoundPoint],
    only: str | None = None,
) -> tuple[Swap, ...]:
    """Pairs of numbers whose newest rounds contradict their own past and fit each other's.

    ``before`` and ``now`` by battery number; only batteries of the same number of cells are
    worth handing in together. ``only``: pairs with this number, the others not compared with
    each other. Clearest first.
    """
    own = {tag: odds for tag, point in now.items()
           if (odds := same_cells(before.get(tag, ()), point).odds) is not None and odds < 0}  # fmt: skip
    found = []
    for one, other in combinations(own, 2):
        if only is not None and only not in (one, other):
            continue
        across = 0.0
        for mine, yours in ((one, other), (other, one)):
            odds = same_cells(before[mine], now[yours]).odds
            if odds is None or odds <= 0:
                break
            across += odds
        else:
            clearness = across - own[one] - own[other]
            if clearness >= 2 * CLEAR:
                found.append(Swap(one, other, clearness, _flag(one, other)))
    return tuple(sorted(found, key=lambda swap: -swap.odds))


def _flag(one: str, other: str) -> Flag:
    return Flag(
        "cells of another battery",
        f"the cells read under {one} look like those of {other}, and the other way round: were "
        "labels swapped? Compare the stamped serials",
        "act",
    )


def _reading_error(rounds: Sequence[RoundPoint], pattern: Mapping[int, float]) -> float:
    """Robust standard error of one reading, from how rounds scatter about the pattern."""
    apart = [
        abs(point.distances[cell] - middle)
        for point in rounds
        for cell, middle in pattern.items()
        if cell in point.distances
    ]
    # A median of few rounds hugs its points: that much of the scatter is missing.
    missing = math.sqrt(len(rounds) / max(1, len(rounds) - 1))
    return max(_LEAST_SIGMA, 1.4826 * median(apart) * missing)


def _most(rounds: Sequence[RoundPoint]) -> int:
    return max(max(point.distances, default=0) for point in rounds)


def _spread_between(pattern: Iterable[float], sigma: float) -> float:
    values = list(pattern)
    squares = sum(value * value for value in values) / len(values)
    return max(sigma, math.sqrt(squares))


def _odds(
    pattern: Mapping[int, float], now: Mapping[int, float], sigma: float, unlike: float, rounds: int
) -> float:
    same = sigma * sigma * (1 + 1 / rounds)
    other = same + 2 * unlike * unlike
    odds = 0.0
    for cell, middle in pattern.items():
        square = (now[cell] - middle) ** 2
        share = 0.5 * math.log(other / same) - 0.5 * square * (1 / same - 1 / other)
        odds += max(-_MOST_FOR_A_CELL, min(_MOST_FOR_A_CELL, share))
    return odds
