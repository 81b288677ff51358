"""Capacities compared only at the same rate.

A battery's capacity at the 5 h rate is some 5 % below the one at the 6 h rate, so the two are
never compared raw (EN 60254-1 states it at 5 h, US practice at 6 h).
"""

from __future__ import annotations

from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.assets.truck import Truck
from tagkit.rules.figures import Figure, figure, in_unit
from tagkit.rules.lines import line, unknown
from tagkit.rules.verdict import Check

_OTHER_RATE = "stated at different rates, which are never compared raw"


def truck_capacity_check(battery: Battery, truck: Truck) -> Check | None:
    """The line "capacity" against the largest the truck allows, or None if it states none."""
    most = figure(truck, "capacity_max")
    if not most.stated:
        return None
    return _capacity_check(battery, None, most, figure(truck, "capacity_rate"))


def charger_capacity_check(battery: Battery, charger: Charger) -> Check:
    """The line "capacity" against the charger's range; a range not stated is not confirmed."""
    least, most = figure(charger, "capacity_min"), figure(charger, "capacity_max")
    return _capacity_check(battery, least, most, figure(charger, "capacity_rate"))


def _capacity_check(battery: Battery, least: Figure | None, most: Figure, rate: Figure) -> Check:
    has, has_rate = figure(battery, "capacity"), figure(battery, "capacity_rate")
    ends = (most,) if least is None else (least, most)
    figures = (has, has_rate, *ends, rate)
    required = _range_words(least, most, rate)
    found = _at_rate(str(has.value), has_rate) if has.known else None
    comparable = has.known and has_rate.known and rate.known
    if not comparable or not any(end.known for end in ends):
        return unknown("capacity", figures, required=required, found=found)
    if has_rate.value != rate.value:
        return unknown("capacity", figures, required=required, found=found, note=_OTHER_RATE)
    if least is not None and least.known and most.known and least.exact() > most.exact():
        return unknown(
            "capacity", figures, required=required, found=found,
            note="the smallest capacity is above the largest: read the plate again",
        )  # fmt: skip
    over = most.exact() - has.exact() if most.known else None
    under = has.exact() - least.exact() if least is not None and least.known else None
    margin = min(gap for gap in (over, under) if gap is not None)
    if margin < 0:
        more_or_less = "more" if over is not None and over < 0 else "less"
        return line(
            "capacity", "no_fit", figures, required=required, found=found,
            margin=in_unit(margin, "Ah"),
            note=f"{more_or_less} capacity than the {most.owner} allows", code="outside",
        )  # fmt: skip
    if not all(end.known for end in ends):
        return unknown("capacity", figures, required=required, found=found)
    return line(
        "capacity", "fit", figures, required=required, found=found, margin=in_unit(margin, "Ah")
    )


def _range_words(least: Figure | None, most: Figure, rate: Figure) -> str | None:
    if least is not None and least.known:
        ends = f"{least.value} to {most.value}" if most.known else f"at least {least.value}"
    elif most.known:
        ends = f"at most {most.value}"
    else:
        return None
    return _at_rate(ends, rate)


def _at_rate(words: str, rate: Figure) -> str:
    return f"{words} at {rate.value} h" if rate.known else f"{words}, rate unknown"
