"""Where a cell is going: the robust slope of its distance from the median, over rounds.

From four comparable rounds up; a repair of the cell starts a new baseline. The date at which
it will pass the limit comes with an interval, from the interval of the slope.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from tagkit.rules.slopes import theil_sen
from tagkit.settings import CellSettings

DAYS_A_MONTH = 30.0
_FAR_DAYS = 3_652.5
"""A date further off than ten years is none: no battery lives to see it."""


@dataclass(frozen=True)
class RoundPoint:
    """One comparable round: distance of each cell from the median, at the reference."""

    at: datetime
    distances: Mapping[int, float]


@dataclass(frozen=True)
class CellTrend:
    """Where a cell stands and where it goes; distances are negative below the median.

    ``passes_at`` is when the line crosses the limit, between ``earliest`` and ``latest``; None:
    not within ten years. A ``latest`` of None beside a date means that it may never pass.
    ``falling`` only when the whole interval of the slope is downwards. ``reason`` says why there
    is no trend.
    """

    cell: int
    rounds: int
    distance: float | None = None
    per_month: float | None = None
    per_month_low: float | None = None
    per_month_high: float | None = None
    falling: bool = False
    passed: bool = False
    passes_at: datetime | None = None
    earliest: datetime | None = None
    latest: datetime | None = None
    reason: str = ""


def cell_trend(
    cell: int,
    rounds: Sequence[RoundPoint],
    settings: CellSettings,
    since: datetime | None = None,
    limit: float | None = None,
) -> CellTrend:
    """The trend of ``cell`` over ``rounds`` (oldest first).

    Rounds before ``since``, the cell's last repair, do not count. ``limit`` is how far below
    the median counts as passed, the site's suspect limit unless given.
    """
    points = [
        (point.at, point.distances[cell])
        for point in rounds
        if cell in point.distances and (since is None or point.at >= since)
    ]
    if not points:
        return CellTrend(cell, 0, reason="no comparable round")
    last, distance = points[-1]
    floor = -(settings.suspect if limit is None else limit)
    needed = round(settings.trend_rounds)
    if len(points) < needed:
        return CellTrend(
            cell, len(points), distance, passed=distance < floor,
            reason=f"{len(points)} of {needed} comparable rounds"
            + (" since its repair" if since is not None else ""),
        )  # fmt: skip
    days = [(at - last).total_seconds() / 86_400 for at, _ in points]
    slope = theil_sen(days, [value for _, value in points], settings.confidence_percent)
    if slope is None:
        return CellTrend(cell, len(points), distance, reason="all rounds at one moment")
    # The line's value at the last round: the reading itself may be off.
    level = slope.intercept
    passed = level < floor
    falling = slope.high is not None and slope.high < 0
    passes_at, earliest, latest = (None, None, None)
    if not passed and slope.per_day < 0:
        passes_at = _crossing(last, level, slope.per_day, floor)
        earliest = _crossing(last, level, slope.low, floor)
        latest = _crossing(last, level, slope.high, floor)
    return CellTrend(
        cell, len(points), distance, slope.per_day * DAYS_A_MONTH,
        _a_month(slope.low), _a_month(slope.high), falling, passed, passes_at, earliest, latest,
    )  # fmt: skip


def battery_trends(
    rounds: Sequence[RoundPoint],
    settings: CellSettings,
    since: Mapping[int, datetime] | None = None,
) -> tuple[CellTrend, ...]:
    """The trend of every cell that occurs in ``rounds``; ``since`` by cell, its last repair."""
    repaired = since or {}
    cells = sorted({cell for point in rounds for cell in point.distances})
    return tuple(cell_trend(cell, rounds, settings, repaired.get(cell)) for cell in cells)


def _crossing(
    start: datetime, level: float, per_day: float | None, floor: float
) -> datetime | None:
    if per_day is None or per_day >= 0:
        return None
    days = (floor - level) / per_day
    return start + timedelta(days=days) if days < _FAR_DAYS else None


def _a_month(per_day: float | None) -> float | None:
    return None if per_day is None else per_day * DAYS_A_MONTH
