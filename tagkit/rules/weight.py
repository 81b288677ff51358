"""The battery's weight against the window on the truck's nameplate.

The battery is part of the counterweight (ISO 3691-1; ANSI/ITSDF B56.1; UL 583), so both limits
count, inclusive, each figure as marked. All comparisons are exact. The only tolerance is unit
conversion: a case marked in pounds against a plate marked in kilograms (or the other way round)
may differ by one unit of the coarser marking, because whoever converted it rounded.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tagkit.assets.battery import Battery
from tagkit.assets.truck import Truck
from tagkit.rules.figures import Figure, exact_setting, figure, nearest_weight, said_weight
from tagkit.rules.lines import line, unknown
from tagkit.rules.verdict import Check
from tagkit.settings import FitSettings
from tagkit.units import UNITS, Quantity

_ONE_KILOGRAM = Fraction(1)


@dataclass(frozen=True)
class BatteryWeight:
    """What the battery weighs by its stamp, with the ballast its maker approved."""

    service: Figure
    ballast: Figure

    @property
    def figures(self) -> tuple[Figure, ...]:
        """The facts it rests on."""
        return (self.service, self.ballast) if self.ballast.stated else (self.service,)

    @property
    def known(self) -> bool:
        """Whether the sum can be reckoned; no ballast recorded means none is fitted."""
        return all(part.known for part in self.figures)

    @property
    def unit(self) -> str:
        """The unit of the stamp."""
        return str(self.service.value.unit)

    def exact(self) -> Fraction:
        """The sum in kg."""
        service = self.service.exact()
        return service + self.ballast.exact() if self.ballast.stated else service

    def __str__(self) -> str:
        text = str(self.service.value)
        if self.ballast.stated and self.ballast.exact():
            return f"{text} + {self.ballast.value} ballast"
        return text


def stamped_weight(battery: Battery) -> BatteryWeight:
    """Service weight and approved ballast of ``battery``."""
    return BatteryWeight(figure(battery, "weight"), figure(battery, "ballast", owner="ballast"))


def weight_check(battery: Battery, truck: Truck) -> Check:
    """The line "weight": the stamp (and ballast) inside the truck's window."""
    weight = stamped_weight(battery)
    low, high = figure(truck, "weight_min"), figure(truck, "weight_max")
    figures = (*weight.figures, low, high)
    required = window_words(low, high)
    nearer = low if low.known else high
    found = _also_in(weight, nearer) if weight.known else weight.service.words or None
    if low.known and high.known and low.exact() > high.exact():
        return unknown("weight", figures, required=required, found=found, note=_CROSSED)
    if not weight.known or not (low.known or high.known):
        return unknown("weight", figures, required=required, found=found)
    limits = _gaps(weight, low, high)
    gap, tolerance, limit = min(limits, key=lambda entry: entry[0] + entry[1])
    unit = limit.value.unit
    found, margin = _also_in(weight, limit), said_weight(gap, unit)
    if gap < -tolerance:
        which = "light" if limit is low else "heavy"
        beyond = said_weight(-gap, unit, up=True)
        return line(
            "weight", "no_fit", figures, required=required, margin=margin,
            found=_also_in(weight, limit, which), note=f"too {which} by {beyond}",
            code=f"too_{which}",
        )  # fmt: skip
    if not (low.known and high.known):
        return unknown("weight", figures, required=required, found=found)
    by_conversion = [
        limit for gap, tolerance, limit in limits if tolerance and abs(gap) <= tolerance
    ]
    if by_conversion:
        return line(
            "weight", "fit", figures, required=required, found=found, margin=margin,
            note=_conversion_note(weight, by_conversion[0]), code="conversion",
        )  # fmt: skip
    return line("weight", "fit", figures, required=required, found=found, margin=margin)


_CROSSED = "the plate's smallest weight is above its largest: read the plate again"


def scale_check(battery: Battery, truck: Truck, settings: FitSettings) -> Check | None:
    """The line "scale weight", or None when the battery was never weighed.

    The whole battery as it stood on the scale, give or take the scale's error, must lie inside
    the window, and must agree with its stamp.
    """
    reading = figure(battery, "weighed")
    if not reading.stated:
        return None
    weight = stamped_weight(battery)
    low, high = figure(truck, "weight_min"), figure(truck, "weight_max")
    error = scale_error(battery, reading, settings)
    figures = (reading, low, high)
    nearer = low if low.known else high
    required, found = window_words(low, high), _reading_words(battery, reading, error, nearer)
    if low.known and high.known and low.exact() > high.exact():
        return unknown("scale weight", figures, required=required, found=found, note=_CROSSED)
    if error is None or not (low.known or high.known):
        return unknown(
            "scale weight", figures, required=required, found=found,
            note="" if error is not None else "the scale's error as recorded is not possible",
        )  # fmt: skip
    lightest, heaviest = reading.exact() - error, reading.exact() + error
    unit = nearer.value.unit
    if low.known and heaviest < low.exact():
        return line(
            "scale weight", "no_fit", figures, required=required, found=found,
            margin=said_weight(heaviest - low.exact(), unit),
            note="too light even with the scale's error", code="too_light",
        )  # fmt: skip
    if high.known and lightest > high.exact():
        return line(
            "scale weight", "no_fit", figures, required=required, found=found,
            margin=said_weight(high.exact() - lightest, unit),
            note="too heavy even with the scale's error", code="too_heavy",
        )  # fmt: skip
    if not (low.known and high.known):
        return unknown("scale weight", figures, required=required, found=found)
    margin = min(lightest - low.exact(), high.exact() - heaviest)
    note, code = "", ""
    if margin < 0:
        note, code = "the scale's error reaches beyond the limit: weigh it more exactly", "scale"
    elif weight.known and _disagree(weight, reading, settings):
        note = (
            f"stamp {_also_in(weight, nearer)} and scale {_beside(reading, nearer)} differ by "
            f"more than {settings.scale_difference_percent:g}%: settle which is right"
        )
        code = "stamp_and_scale"
    return line(
        "scale weight", "not_confirmed" if note else "fit", figures, required=required,
        found=found, margin=said_weight(margin, unit), note=note, code=code,
    )  # fmt: skip


def scale_error(battery: Battery, reading: Figure, settings: FitSettings) -> Fraction | None:
    """How far the scale may be off, kg: as stated, else the site's share of the reading."""
    if not reading.known:
        return None
    stated = figure(battery, "scale_error")
    if stated.stated:
        return stated.exact() if stated.known else None
    return reading.exact() * exact_setting(settings.scale_error_percent) / 100


def window_words(low: Figure, high: Figure) -> str | None:
    """The window as marked: "1000 kg to 1200 kg"."""
    if low.known and high.known:
        return f"{low.value} to {high.value}"
    if low.known:
        return f"at least {low.value}"
    return f"at most {high.value}" if high.known else None


def _also_in(weight: BatteryWeight, limit: Figure, beyond: str = "") -> str:
    """The weight as marked; where the limit is marked in the other family of units, the sum in
    its unit too: "2240 lb (1016 kg)". One beyond the limit ("light", "heavy") is rounded away
    from it."""
    if not limit.known or all(_alike(part, limit) for part in weight.figures):
        return str(weight)
    unit = limit.value.unit
    if beyond:
        return f"{weight} ({said_weight(weight.exact(), unit, up=beyond == 'heavy')})"
    return f"{weight} ({nearest_weight(weight.exact(), unit)})"


def _beside(reading: Figure, limit: Figure) -> str:
    """The scale's reading, likewise."""
    if not limit.known or _alike(reading, limit):
        return str(reading.value)
    return f"{reading.value} ({nearest_weight(reading.exact(), limit.value.unit)})"


def _alike(one: Figure, other: Figure) -> bool:
    """Whether both are marked in metric units, or both in customary ones."""
    return UNITS[one.value.unit].customary == UNITS[other.value.unit].customary


def _gaps(
    weight: BatteryWeight, low: Figure, high: Figure
) -> list[tuple[Fraction, Fraction, Figure]]:
    """For each known limit: how far inside (kg, negative outside), tolerance, the limit."""
    total = weight.exact()
    gaps = []
    if low.known:
        gaps.append((total - low.exact(), _tolerance(weight.unit, low.value), low))
    if high.known:
        gaps.append((high.exact() - total, _tolerance(weight.unit, high.value), high))
    return gaps


def _tolerance(unit: str, limit: Quantity) -> Fraction:
    """One unit of the coarser marking, at most 1 kg; nothing within one family of units."""
    marked, limiting = UNITS[unit], UNITS[limit.unit]
    if marked.customary == limiting.customary:
        return Fraction(0)
    return min(max(marked.factor, limiting.factor), _ONE_KILOGRAM)


def _conversion_note(weight: BatteryWeight, limit: Figure) -> str:
    return f"marked in {weight.unit} and {limit.value.unit}, at the limit: conversion decides"


def _disagree(weight: BatteryWeight, reading: Figure, settings: FitSettings) -> bool:
    allowed = weight.service.exact() * exact_setting(settings.scale_difference_percent) / 100
    return abs(weight.exact() - reading.exact()) > allowed


def _reading_words(
    battery: Battery, reading: Figure, error: Fraction | None, limit: Figure
) -> str | None:
    if not reading.known:
        return None
    if error is None:
        return str(reading.value)
    stated = figure(battery, "scale_error")
    as_stated = stated.stated and _alike(stated, reading)
    off = stated.value if as_stated else said_weight(error, reading.value.unit, up=True)
    words = f"{reading.value} ± {off}"
    if not limit.known or _alike(reading, limit):
        return words
    unit = limit.value.unit
    also = f"{nearest_weight(reading.exact(), unit)} ± {said_weight(error, unit, up=True)}"
    return f"{words} ({also})"
