"""Equivalent full cycles, life used and its forecast, and the capacity test that decides.

Equivalent full cycles = sum of discharged Ah / (0.8 x capacity). Rated life is commonly 1,500
cycles to 80 % depth (EN 60254-1 style). The end of life is judged by a capacity test at the
rated 5 h or 6 h rate, corrected to 30 °C or 77 °F: below 80 % of rated.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import NormalDist, mean, stdev

from tagkit.settings import LifeSettings

CYCLE_DEPTH = 0.8
"""Share of the capacity that one full cycle takes."""

_DAYS_A_WEEK = 7.0
_FEWEST_WEEKS = 4
_FAR_DAYS = 36_525.0


@dataclass(frozen=True)
class LifeForecast:
    """When the rated cycles will be used up; None with a reason where that can't be told.

    ``earliest`` to ``latest`` comes from how much use varies from week to week, at the
    confidence asked for; that batteries of one make differ in life is not in it.
    """

    cycles: float | None
    used_percent: float | None
    cycles_a_week: float | None = None
    ends_at: datetime | None = None
    earliest: datetime | None = None
    latest: datetime | None = None
    reason: str = ""


@dataclass(frozen=True)
class CapacityTest:
    """Measured capacity: Ah as measured, % of rated at the reference temperature.

    ``life_over`` is None, with a reason, when the test can't decide it.
    """

    ah: float | None
    percent: float | None
    life_over: bool | None
    reason: str = ""


def equivalent_cycles(discharged_ah: float | None, capacity_ah: float | None) -> float | None:
    """Full cycles of 80 % depth that ``discharged_ah`` amounts to."""
    if discharged_ah is None or not capacity_ah or capacity_ah < 0 or discharged_ah < 0:
        return None
    return discharged_ah / (CYCLE_DEPTH * capacity_ah)


def life_used(cycles: float | None, rated_cycles: float | None) -> float | None:
    """Life used, % of the rated cycles; may pass 100."""
    if cycles is None or not rated_cycles or rated_cycles < 0:
        return None
    return 100 * cycles / rated_cycles


def forecast_life(
    uses: Sequence[tuple[datetime, float]],
    rated_cycles: float | None,
    now: datetime,
    *,
    cycles_before: float = 0.0,
    confidence_percent: float = 90.0,
    weeks: int = 26,
) -> LifeForecast:
    """When the rated cycles are used up if work goes on as in the last ``weeks``.

    ``uses`` are moments and the equivalent cycles of each use; ``cycles_before`` what the
    battery had behind it when they begin.
    """
    cycles = cycles_before + sum(cycle for _, cycle in uses)
    used = life_used(cycles, rated_cycles)
    if used is None or rated_cycles is None:
        return LifeForecast(cycles, None, reason="the rated cycles are not known")
    a_week = _by_week(uses, now, weeks)
    if len(a_week) < _FEWEST_WEEKS:
        return LifeForecast(
            cycles, used, reason=f"{len(a_week)} of {_FEWEST_WEEKS} weeks of use on record"
        )
    pace = mean(a_week)
    left = rated_cycles - cycles
    if left <= 0:
        return LifeForecast(cycles, used, pace, reason="the rated cycles are used up")
    if pace <= 0:
        return LifeForecast(cycles, used, pace, reason="it is not used")
    error = _t_like(confidence_percent, len(a_week)) * stdev(a_week) / math.sqrt(len(a_week))
    return LifeForecast(
        cycles, used, pace, _after(now, left, pace), _after(now, left, pace + error),
        _after(now, left, pace - error),
    )  # fmt: skip


def tested_capacity(
    amperes: float | None,
    minutes: float | None,
    rated_ah: float | None,
    rated_hours: float | None,
    celsius: float | None,
    settings: LifeSettings,
) -> CapacityTest:
    """A discharge at constant current to the cut-off voltage, as % of rated.

    Ca = C / (1 + 0.006 (T - T0)) with the mean electrolyte temperature T (EN 60254-1; T0 30 °C,
    US practice 77 °F). The current must be the rated one, ``rated_ah`` / ``rated_hours`` (5 or
    6): at another rate a battery gives another capacity (5 h and 6 h are about 5 % apart), so
    that is no result.
    """
    if amperes is None or minutes is None or amperes <= 0 or minutes < 0:
        return CapacityTest(None, None, None, "current and time of the test are not known")
    ah = amperes * minutes / 60
    if not rated_ah or not rated_hours or rated_ah < 0 or rated_hours < 0:
        return CapacityTest(ah, None, None, "the rated capacity or its rate is not known")
    rated_amperes = rated_ah / rated_hours
    if abs(amperes - rated_amperes) > settings.test_current_percent / 100 * rated_amperes:
        return CapacityTest(
            ah, None, None,
            f"tested at {amperes:g} A where the {rated_hours:g} h rate is {rated_amperes:.0f} A: "
            "capacities at different rates are never compared",
        )  # fmt: skip
    if celsius is None:
        return CapacityTest(ah, None, None, "the temperature of the test is not known")
    percent = 100 * temperature_corrected(ah, celsius, settings) / rated_ah
    return CapacityTest(ah, percent, percent < settings.end_of_life_percent)


def temperature_corrected(ah: float, celsius: float, settings: LifeSettings) -> float:
    """Ah measured at ``celsius``, as they would be at the reference (EN 60254-1)."""
    return ah / (1 + settings.test_per_kelvin * (celsius - settings.test_celsius))


def same_rate(one_hours: float | None, other_hours: float | None) -> bool | None:
    """Whether two capacities may be compared; None when a rate is not known."""
    if one_hours is None or other_hours is None:
        return None
    return one_hours == other_hours


def _by_week(uses: Sequence[tuple[datetime, float]], now: datetime, weeks: int) -> list[float]:
    """Cycles of each whole week before ``now`` since the first use, the latest first."""
    if not uses:
        return []
    whole = int((now - min(at for at, _ in uses)).total_seconds() // (86_400 * _DAYS_A_WEEK))
    totals = [0.0] * min(weeks, whole)
    for at, cycles in uses:
        ago = int((now - at).total_seconds() // (86_400 * _DAYS_A_WEEK))
        if 0 <= ago < len(totals):
            totals[ago] += cycles
    return totals


def _after(now: datetime, cycles: float, a_week: float) -> datetime | None:
    days = _DAYS_A_WEEK * cycles / a_week if a_week > 0 else math.inf
    return now + timedelta(days=days) if days < _FAR_DAYS else None


def _t_like(confidence_percent: float, count: int) -> float:
    """Student's t by the Cornish-Fisher expansion (Abramowitz and Stegun 26.7.5)."""
    z = NormalDist().inv_cdf(0.5 + confidence_percent / 200)
    free = count - 1
    first = (z**3 + z) / 4
    second = (5 * z**5 + 16 * z**3 + 3 * z) / 96
    third = (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384
    return z + first / free + second / free**2 + third / free**3
