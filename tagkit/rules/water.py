"""What the water tells: overcharge from litres, thirsty batteries and cells, the next watering.

Faraday: 1 Ah of overcharge takes 0.336 g of water from each cell (18.015 g/mol over two
electrons of 96,485 C/mol), so litres / (0.000336 x cells) = Ah of overcharge since the last
watering. Evaporation is left aside, so the figure is at most what it says.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median
from typing import Protocol

from tagkit.rules.flags import Flag
from tagkit.settings import WaterSettings

LITRES_PER_AH = 0.000336
"""Water (litres) that 1 Ah of overcharge takes from a cell."""

FEWEST_SHARES = 2
"""Waterings with known Ah before overcharge is told as a share."""

LOOK_BACK = 4
"""Intervals between waterings that a comparison looks back on."""

_LEVEL_FACTOR = {"bare": 0.5, "low": 0.8}
"""How much sooner, when the level before watering was already found at that."""


@dataclass(frozen=True)
class Watering:
    """A topping up: litres for the whole battery, worst level before, Ah discharged since the
    last one; None: not known."""

    at: datetime
    litres: float | None = None
    before: str | None = None
    discharged_ah: float | None = None


@dataclass(frozen=True)
class Thirst:
    """What a battery drinks; None with a reason where that can't be told.

    ``overcharge_percent``: Ah of overcharge for 100 Ah discharged, median of the waterings.
    ``litres_a_day`` per cell and 100 Ah of capacity, so that different sizes compare.
    """

    waterings: int
    overcharge_ah: float | None = None
    overcharge_percent: float | None = None
    litres_a_day: float | None = None
    reason: str = ""


class Drinking(Protocol):
    """What is compared of a battery with its sisters, as in :class:`Thirst`."""

    @property
    def overcharge_percent(self) -> float | None: ...
    @property
    def litres_a_day(self) -> float | None: ...


@dataclass(frozen=True)
class BesideSisters:
    """How many times its sisters' median a battery drinks."""

    ratio: float | None
    median: float | None = None
    flag: Flag | None = None
    reason: str = ""


@dataclass(frozen=True)
class WaterDue:
    """When the next watering is due by the battery's own consumption."""

    at: datetime | None
    every_days: float | None = None
    reason: str = ""


def overcharge_ah(litres: float | None, cells: int | None) -> float | None:
    """Ah of overcharge that took ``litres`` of water from a battery of ``cells`` cells."""
    if litres is None or not cells or litres < 0:
        return None
    return litres / (LITRES_PER_AH * cells)


def water_litres(overcharge: float, cells: int) -> float:
    """Litres that ``overcharge`` Ah take from a battery of ``cells`` cells."""
    return overcharge * LITRES_PER_AH * cells


def thirst(waterings: Sequence[Watering], cells: int | None, capacity_ah: float | None) -> Thirst:
    """What a battery drank between the first and the last of ``waterings`` (oldest first).

    The first one only says when counting begins: what it replaced was lost before. Waterings
    whose litres are not known leave a gap, so counting begins anew after the last such one.
    """
    counted = _counted(waterings)
    drunk = [watering.litres or 0.0 for watering in counted[1:]]
    if not cells or not drunk:
        reason = "the number of cells is not known" if not cells else "fewer than two waterings"
        return Thirst(len(drunk), reason=reason)
    litres = sum(drunk)
    days = (counted[-1].at - counted[0].at).total_seconds() / 86_400
    overcharge = litres / (LITRES_PER_AH * cells)
    # By the median: one watering under a wrong number, or one Ah misread, decides nothing.
    shares = [
        100 * (watering.litres or 0.0) / (LITRES_PER_AH * cells) / watering.discharged_ah
        for watering in counted[1:]
        if watering.discharged_ah
    ]
    share = median(shares) if len(shares) >= FEWEST_SHARES else None
    a_day = None
    if capacity_ah and days > 0:
        a_day = litres / cells / days / (capacity_ah / 100)
    return Thirst(len(drunk), overcharge, share, a_day)


def recent_thirst(
    waterings: Sequence[Watering], cells: int | None, capacity_ah: float | None
) -> Thirst:
    """What a battery drank over its last few waterings, for a comparison with its sisters.

    Over the whole record a new fault would disappear in a sound past.
    """
    return thirst(waterings[-LOOK_BACK - 1 :], cells, capacity_ah)


def against_sisters(
    own: Thirst, sisters: Sequence[Drinking], settings: WaterSettings
) -> BesideSisters:
    """A battery beside those of its kind that do the same work.

    Compared by overcharge for the Ah discharged where all know it, else by litres a day, which
    a busier battery drinks more of: on the depots of the bench that means 5.6 times as many
    false alarms.
    """
    for measure in ("overcharge_percent", "litres_a_day"):
        mine = getattr(own, measure)
        others = [value for sister in sisters if (value := getattr(sister, measure)) is not None]
        if mine is not None and len(others) >= settings.least_sisters:
            break
    else:
        return BesideSisters(None, reason=own.reason or "too few sisters to compare with")
    middle = median(others)
    if middle <= 0:
        return BesideSisters(None, middle, reason="its sisters drank nothing")
    ratio = mine / middle
    flag = None
    if ratio > settings.sisters_ratio:
        flag = Flag(
            "drinks more than its sisters",
            f"it drinks {ratio:.1f} times as much as its sisters: overcharged, hot, or with a "
            "bad cell",
            "act",
        )
    return BesideSisters(ratio, middle, flag)


def thirsty_cells(litres_by_cell: Mapping[int, float], settings: WaterSettings) -> tuple[Flag, ...]:
    """Cells that took far more water than their neighbours."""
    if len(litres_by_cell) < 3:
        return ()
    middle = median(litres_by_cell.values())
    if middle <= 0:
        return ()
    return tuple(
        Flag(
            "thirsty cell",
            f"cell {cell} took {litres / middle:.1f} times as much water as its neighbours",
            "watch",
            cell,
        )
        for cell, litres in sorted(litres_by_cell.items())
        if litres > settings.cell_ratio * middle
    )


def found_bare(watering: Watering) -> Flag | None:
    """Whether plates stood bare when it was watered: they sulphate where the acid is gone."""
    if watering.before != "bare":
        return None
    return Flag(
        "plates bare",
        "plates stood bare when it was watered: water it sooner, and look for overcharge",
        "act",
    )


def watering_due(
    waterings: Sequence[Watering],
    cells: int | None,
    capacity_ah: float | None,
    settings: WaterSettings,
) -> WaterDue:
    """The next watering, by what the battery itself drank lately (its last three intervals).

    Due when the reserve between mark and low is used up, sooner when the plates were found low
    or bare, and never later than the site's longest interval.
    """
    if not waterings:
        return WaterDue(None, reason="no watering is on record")
    last = waterings[-1]
    drank = thirst(waterings[-4:], cells, capacity_ah)
    every = settings.longest_days
    reason = drank.reason or ("" if drank.litres_a_day is not None else "capacity is not known")
    if drank.litres_a_day:
        every = min(every, settings.reserve_litres / drank.litres_a_day)
    if len(waterings) > 1 and last.before in _LEVEL_FACTOR:
        apart = (last.at - waterings[-2].at).total_seconds() / 86_400
        every = min(every, _LEVEL_FACTOR[last.before] * apart)
    every = max(1.0, every)
    return WaterDue(last.at + timedelta(days=every), every, reason)


def _counted(waterings: Sequence[Watering]) -> Sequence[Watering]:
    """From the last watering of unknown litres on: it filled the cells to the mark."""
    start = 0
    for place, watering in enumerate(waterings):
        if watering.litres is None:
            start = place
    return waterings[start:]
