"""What a charge and the use before it were like, judged when they are recorded.

The result is frozen in the event, like a verdict: under the settings and figures of that day.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from tagkit.jobs.care_facts import battery_facts, plain, when
from tagkit.jobs.readiness import readiness_facts
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.rules.charge import Charge, Discharge, charge_flags, discharge_of_use, use_flags
from tagkit.rules.electrolyte import charge_state
from tagkit.rules.flags import Flag
from tagkit.rules.readiness import rest_hours


def flags_of(event: Event) -> tuple[Flag, ...]:
    """The flags that a charge's start or end was recorded with."""
    return tuple(
        Flag(flag["code"], flag["sentence"], flag["severity"], flag.get("cell"))
        for flag in event.body.get("flags") or ()
    )


@dataclass(frozen=True)
class ChargeOver:
    """A charge that has ended: what the use before it took, flags, whether it counts."""

    discharge: Discharge
    flags: tuple[Flag, ...]
    counts: bool

    def body(self) -> dict[str, Any]:
        """Its part of the event."""
        return {
            "discharge": discharge_json(self.discharge),
            "flags": [flag.to_json() for flag in self.flags],
            "counts": self.counts,
        }


def discharge_json(told: Discharge) -> dict[str, Any] | None:
    """A discharge as events keep it; None when nothing told it."""
    if told.percent is None:
        return None
    ah = None if told.ah is None else round(told.ah, 1)
    return {"percent": round(told.percent, 1), "ah": ah, "by": told.by}


def use_told(
    site: Site,
    state: AssetState,
    measured: dict[str, Any],
    gauge_percent: float | None = None,
    charger_ah: float | None = None,
) -> Discharge:
    """What the last use took: by gravity, else the charger, else the gauge."""
    facts = battery_facts(state, site.settings)
    gravity = None
    if facts.watered and measured.get("sg") and measured.get("temperature"):
        gravity = charge_state(
            plain(measured["sg"]), plain(measured["temperature"]), facts.scale
        ).percent
    told = state.last_discharge
    # The gauge belongs to the last use only.
    of_last_use = told and (state.last_used_at is None or told["at"] >= state.last_used_at)
    if gauge_percent is None and told and of_last_use and told["source"] == "gauge":
        gauge_percent = float(told["percent"])
    return discharge_of_use(
        facts.capacity_ah,
        site.settings.charging,
        gravity_percent=gravity,
        charger_ah=charger_ah,
        gauge_percent=gauge_percent,
    )


def use_flags_of(site: Site, state: AssetState, told: Discharge) -> tuple[Flag, ...]:
    """Too deep, or begun before the rest was over."""
    began, charged = state.use.get("began_at"), state.last_charged_at
    rested = due = None
    if began and charged and charged <= began:
        rested = (when(began) - when(charged)) / timedelta(hours=1)
        due = rest_hours(
            readiness_facts(state, site.settings, None, when(began)), site.settings.readiness
        )
    return use_flags(
        told,
        site.settings.charging,
        rested_hours=rested,
        rest_due_hours=due,
        last_charge_kind=state.last_charge_kind,
    )


def start_flags(
    site: Site, state: AssetState, kind: str, measured: dict[str, Any], told: Discharge,
    at: datetime,
) -> tuple[Flag, ...]:  # fmt: skip
    """What is wrong with a charge as it begins."""
    charge = Charge(at, kind=kind, start_celsius=plain(measured["temperature"]))
    return _flags(site, state, charge, told)


def judge_charge(
    site: Site,
    state: AssetState,
    measured: dict[str, Any],
    ah: dict[str, Any] | None,
    highest: dict[str, Any] | None,
    at: datetime,
    confirmed: bool = False,
) -> ChargeOver:
    """The charge under way of ``state``, ended at ``at``; ``measured`` at its end.

    Too short a charge does not count, because a charger that was bumped off, or a wrong press,
    leaves a battery that is not charged; unless a person has ``confirmed`` that it is.
    """
    charging = state.charging
    if charging is None:
        told = use_told(site, state, {}, charger_ah=plain(ah))
        return ChargeOver(told, (), True)
    begun = {"sg": charging["sg"], "temperature": charging["temperature"]}
    return judge_times(
        site, state, when(charging["started_at"]), at, charging["kind"], begun,
        plain(highest) if highest else plain(measured.get("temperature")), plain(ah), confirmed,
    )  # fmt: skip


def judge_times(
    site: Site,
    state: AssetState,
    started: datetime,
    ended: datetime,
    kind: str | None,
    begun: dict[str, Any],
    highest_celsius: float | None,
    ah: float | None,
    confirmed: bool = False,
) -> ChargeOver:
    """The same for a charge whose times are given, as a charger's log does."""
    told = use_told(site, state, begun, charger_ah=ah if kind != "equalize" else None)
    charge = Charge(started, ended, kind, plain(begun.get("temperature")), highest_celsius, ah)
    flags = _flags(site, state, charge, told)
    minutes = (ended - started) / timedelta(minutes=1)
    short = minutes < site.settings.charging.shortest_charge_minutes
    if short:
        length = f"{minutes:.0f} min" if minutes >= 1 else f"{minutes * 60:.0f} s"
        ends = "it was confirmed as charged" if confirmed else "it does not count as charged"
        flags = (
            *(flag for flag in flags if flag.code != "short charge"),
            Flag("short charge", f"the charge took {length}: {ends}", "act"),
        )
    return ChargeOver(told, flags, not short or confirmed)


def _flags(site: Site, state: AssetState, charge: Charge, told: Discharge) -> tuple[Flag, ...]:
    facts = battery_facts(state, site.settings)
    return charge_flags(
        charge,
        told.percent,
        facts.capacity_ah,
        site.settings.charging,
        highest_start_celsius=site.settings.readiness.charge_start_celsius,
        stop_celsius=facts.stop_celsius,
    )
