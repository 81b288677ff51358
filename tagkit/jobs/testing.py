"""Tests of a battery: capacity at the rated discharge, and leakage from case to post."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import battery_facts, plain
from tagkit.jobs.figures import ohms, quantity
from tagkit.jobs.people import require_technician
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event
from tagkit.rules.leakage import Leakage, case_leakage
from tagkit.rules.life import CapacityTest, tested_capacity
from tagkit.units import Dimension

CAPACITY_CAUTION = (
    "A discharge test heats the battery and frees hydrogen: ventilate, no flame, rated cables, a "
    "qualified person present. Charge it afterwards at once."
)
LEAKAGE_CAUTION = (
    "Batteries above 60 V can shock: insulated tools, no jewellery, one hand. Wash and dry a "
    "leaking case before anything else. The maker's instructions decide."
)

UNTIL_IT_PASSES = "It must not be used until a later leakage test passes."


@dataclass(frozen=True)
class CapacityTested:
    """A capacity test as recorded and what it says."""

    event: Event
    battery: str
    result: CapacityTest

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit test capacity --json`` prints it."""
        return {
            "event": self.event.id,
            "battery": self.battery,
            "ah": None
            if self.result.ah is None
            else {"value": round(self.result.ah, 1), "unit": "Ah"},
            "percent_of_rated": self.result.percent,
            "life_over": self.result.life_over,
            "reason": self.result.reason,
        }


@dataclass(frozen=True)
class LeakageTested:
    """A leakage test; ``held`` is the safety hold that it opened."""

    event: Event
    battery: str
    result: Leakage
    held: str | None

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit test leakage --json`` prints it."""
        return {
            "event": self.event.id,
            "battery": self.battery,
            "ohm": self.event.body["ohm"],
            "required_ohm": self.result.required_ohm,
            "passes": self.result.passes,
            "reason": self.result.reason,
            "flag": self.result.flag.to_json() if self.result.flag else None,
            "held": self.held,
        }


def capacity_test(
    site: Site,
    battery: str,
    *,
    current: str,
    minutes: float,
    temperature: str | None,
    cut_off: str | None = None,
    note: str | None = None,
    by: str,
    station: str,
    at: datetime | None = None,
) -> CapacityTested:
    """Record a discharge at constant current down to the cut-off voltage.

    ``temperature`` is the electrolyte's mean. Only a test at the battery's own rate (5 h or 6 h)
    gives a result. A technician does it.
    """
    amperes = quantity(current, Dimension.CURRENT, "A", 0.5, 2000, "--current")
    warmth = (
        quantity(temperature, Dimension.TEMPERATURE, "°C", -10, 60, "--temperature")
        if temperature
        else None
    )
    ended = quantity(cut_off, Dimension.VOLTAGE, "V", 1, 160, "--cut-off") if cut_off else None
    if not 0 < minutes <= 24 * 60:
        raise WrongInput(
            f"{minutes:g} minutes are no capacity test", "Give the minutes to the cut-off voltage",
            "--minutes",
        )  # fmt: skip
    with site.record.writing(by=by, station=station, at=at) as writing:
        state = asset(writing, battery, Kind.BATTERY)
        require_technician(site, by)
        facts = battery_facts(state, site.settings)
        result = tested_capacity(
            plain(amperes), minutes, facts.capacity_ah, facts.rate_hours, plain(warmth),
            site.settings.life,
        )  # fmt: skip
        event = writing.append(
            "capacity_tested",
            [state.tag],
            {
                "rate_hours": facts.rate_hours,
                "current": amperes,
                "minutes": minutes,
                "cut_off": ended,
                "temperature": warmth,
                "ah": None if result.ah is None else round(result.ah, 1),
                "percent_of_rated": None if result.percent is None else round(result.percent, 1),
                "life_over": result.life_over,
                "note": note,
            },
        )
    return CapacityTested(event, state.tag, result)


def leakage_test(
    site: Site,
    battery: str,
    resistance: str,
    *,
    note: str | None = None,
    by: str,
    station: str,
    at: datetime | None = None,
) -> LeakageTested:
    """Record the smaller resistance from the case to either post.

    A battery whose case leaks, or whose test can't be judged, is not ready until a later test
    passes (see :mod:`tagkit.rules.leakage`); one that can shock (above 60 V) is held for safety
    too, in the same entry.
    """
    measured = ohms(resistance)
    with site.record.writing(by=by, station=station, at=at) as writing:
        state = asset(writing, battery, Kind.BATTERY)
        result = case_leakage(
            measured, battery_facts(state, site.settings).volts, site.settings.life
        )
        event = writing.append(
            "leakage_tested",
            [state.tag],
            {
                "ohm": measured,
                "required_ohm": result.required_ohm,
                "passes": result.passes,
                "note": note,
            },
        )
        held = None
        if result.flag and result.flag.severity == "stop":
            body = {"asset": state.tag, "reason": result.flag.sentence[:300], "safety": True}
            held = writing.append("held", [state.tag], body).id
    return LeakageTested(event, state.tag, result, held)
