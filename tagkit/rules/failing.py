"""Which cell is going to fail: one that falls behind its own past, faster and faster.

A dying cell is not fully charged, so it sulphates, so it is charged even less: what it is
behind doubles in weeks to months. Whether that explains a cell's readings better than what else
a cell does (see :mod:`tagkit.rules.cell_courses`) is said as a likelihood in percent.

What one reading is worth is taken from the battery's own rounds: by how much its cells move from
round to round. A round whose cells scatter more than usual (layered acid, water just added)
counts for less. Squares are trimmed (the largest eighth left out), so that neither a slip nor the
cell that is failing decides what is usual.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from statistics import NormalDist, median

from tagkit.rules.cell_courses import Read, Weighed, weigh, without_slips
from tagkit.rules.cells import FEWEST_CELLS
from tagkit.rules.flags import Flag
from tagkit.rules.trend import RoundPoint
from tagkit.settings import CellSettings

LEAST_ROUNDS = 3
"""In two rounds nothing can be seen to fall faster and faster."""

_LEAST_ERROR = 0.0015  # what a good hydrometer and a careful reader reach
_USUAL_ERROR, _USUAL_SPREAD = 0.0020, 0.0025  # of a reading; of sound cells beside each other
_WORTH = 12  # so many readings, or cells, the usual figures count for beside the battery's own
_MORE_THAN_USUAL = 1.25
_WORTH_WEIGHING = 1.5  # deviations below the others and below its own past
_SOON_DAYS = 60.0


@dataclass(frozen=True)
class FailingCell:
    """A cell on its way: ``behind`` its own lasting distance, likely to fail by ``percent``.

    ``passes_at`` is when it will be suspect (site's limit below the median) at this pace.
    """

    cell: int
    behind: float
    percent: float
    doubling_days: float
    passes_at: datetime
    flag: Flag


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
    """The cells that are failing, from ``rounds`` that are comparable, oldest first.

    ``since`` is each cell's last repair: its readings before it don't count. Three rounds are
    needed. A cell is named when it is at least ``settings.failing_percent`` likely to fail.
    """
    least = math.log(settings.failing_percent / (100 - settings.failing_percent))
    found = []
    for cell, (weighed, last) in weighed_cells(rounds, least, since).items():
        distance = next(p.distances[cell] for p in reversed(rounds) if cell in p.distances)
        found.append(_falling(cell, weighed, last, distance, settings))
    return tuple(found)


def weighed_cells(
    rounds: Sequence[RoundPoint],
    least_log_odds: float,
    since: Mapping[int, datetime] | None = None,
) -> dict[int, tuple[Weighed, datetime]]:
    """The cells of the last round whose log odds of failing are at least so high, by number,
    with the moment of that round."""
    repaired = since or {}
    moments = [point.at for point in rounds if point.distances]
    kept = [_kept(point, repaired) for point in rounds if point.distances]
    if len(kept) < LEAST_ROUNDS or not kept[-1]:
        return {}
    history = _history(kept)
    days = [(at - moments[-1]).total_seconds() / 86_400 for at in moments]
    found = {}
    for cell in sorted(kept[-1]):
        read = [
            Read(day, own[cell], error)
            for day, own, error in zip(days, history.distances, history.errors, strict=True)
            if cell in own
        ]
        if not _worth_weighing(read, history.spread):
            continue
        read = without_slips(read)
        if len(read) < LEAST_ROUNDS:
            continue
        weighed = weigh(read, history.spread, len(kept[-1]), least_log_odds)
        if weighed is not None:
            found[cell] = (weighed, moments[-1])
    return found


@dataclass(frozen=True)
class _History:
    """Distances of cells from their battery's level, by round; each round's standard error of a
    reading; standard deviation of the lasting distances of sound cells."""

    distances: list[dict[int, float]]
    errors: list[float]
    spread: float


def _kept(point: RoundPoint, since: Mapping[int, datetime]) -> Mapping[int, float]:
    if not since:
        return point.distances
    return {
        cell: distance
        for cell, distance in point.distances.items()
        if cell not in since or point.at >= since[cell]
    }


def _history(rounds: Sequence[Mapping[int, float]]) -> _History:
    by_cell: dict[int, list[float]] = {}
    for one in rounds:
        for cell, distance in one.items():
            by_cell.setdefault(cell, []).append(distance)
    usual = {cell: median(distances) for cell, distances in by_cell.items()}
    # The level of a round is where its cells' lasting distances put it: that lies closer than
    # the median of cells which are not alike.
    levels = [median([d - usual[cell] for cell, d in one.items()] or [0.0]) for one in rounds]
    own = [
        {cell: distance - level for cell, distance in one.items()}
        for one, level in zip(rounds, levels, strict=True)
    ]
    moved = [
        _trimmed([later[cell] - earlier[cell] for cell in later if cell in earlier]) / 2
        for earlier, later in pairwise(own)
    ]
    count, pairs = len(usual), len(rounds) - 1
    square = _beside(median(moved), 0.6 * count * pairs, _USUAL_ERROR)
    error = max(_LEAST_ERROR, math.sqrt(square))
    # The median of few rounds hugs its points: that much of the scatter is missing.
    missing = len(rounds) / pairs
    errors = []
    for one in own:
        scatter = math.sqrt(missing * _trimmed([d - usual[cell] for cell, d in one.items()]))
        errors.append(scatter if scatter > _MORE_THAN_USUAL * error else error)
    middle = median(usual.values())
    lasting = _trimmed([each - middle for each in usual.values()]) - error * error / len(rounds)
    return _History(own, errors, math.sqrt(_beside(max(0.0, lasting), count, _USUAL_SPREAD)))


def _beside(square: float, worth: float, usual: float) -> float:
    """A mean square from few readings, drawn towards the usual one (inverse-gamma prior)."""
    return (square * worth + usual * usual * _WORTH) / (worth + _WORTH)


def _trimmed(values: Sequence[float]) -> float:
    """Mean square without the largest eighth, as of a normal distribution; 0 of nothing."""
    if not values:
        return 0.0
    kept = _untrimmed(len(values))
    squares = sorted(value * value for value in values)
    return sum(squares[:kept]) / len(squares) / _share_of_variance(len(squares))


def _untrimmed(count: int) -> int:
    return count if count < FEWEST_CELLS + 1 else count - max(1, round(count / 8))


@lru_cache(maxsize=256)
def _share_of_variance(count: int) -> float:
    """Share of a normal distribution's variance within its middle part, and 0.6 of a reading's
    more in a small sample (found by simulation, within 2 % from six values up)."""
    share = _untrimmed(count) / count
    if share == 1:
        return 1.0
    normal = NormalDist()
    edge = normal.inv_cdf((1 + share) / 2)
    return share - 2 * edge * normal.pdf(edge) + 0.6 / count


def _worth_weighing(read: Sequence[Read], spread: float) -> bool:
    """A quick look that spares most cells the weighing: below the others, or its own past."""
    last = read[-1]
    early = median(one.distance for one in read[: max(1, len(read) // 2)])
    beside_others = _WORTH_WEIGHING * math.hypot(spread, last.error)
    return last.distance <= max(-beside_others, early - _WORTH_WEIGHING * last.error)


def _falling(
    cell: int, weighed: Weighed, at: datetime, distance: float, settings: CellSettings
) -> FailingCell:
    room = (weighed.own + settings.suspect) / weighed.behind
    # What was read counts before what the curve says: below the limit is not still to come.
    passed = distance <= -settings.suspect or room <= 1
    days = 0.0 if passed else weighed.doubling_days * math.log2(room)
    passes_at = at + timedelta(days=days)
    when = f"about {passes_at:%Y-%m-%d}" if days > 0 else "by now"
    flag = Flag(
        "failing cell",
        f"cell {cell} has fallen {weighed.behind:.3f} behind its own past and falls faster: at this "
        f"pace it is {settings.suspect:.3f} below the median {when}",
        "act" if days < _SOON_DAYS else "watch",
        cell,
    )
    percent = 100 / (1 + math.exp(-weighed.log_odds))
    return FailingCell(cell, weighed.behind, percent, weighed.doubling_days, passes_at, flag)
