"""The history of a battery: everything that its sheet says, gathered from the record."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.jobs.ageing import Life, forecast_of, life_of, uses_in
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import (
    BatteryFacts,
    Round,
    battery_facts,
    judged_in_order,
    waterings_of,
)
from tagkit.jobs.judging import notices_of
from tagkit.jobs.judging_cells import cell_trends
from tagkit.jobs.site import Site
from tagkit.jobs.telling import Telling
from tagkit.jobs.watering import beside_sisters
from tagkit.jobs.whereabouts import Whereabouts, whereabouts_of
from tagkit.record.care_bodies import figure
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.record.words import deed
from tagkit.rules.life import LifeForecast
from tagkit.rules.trend import CellTrend
from tagkit.rules.water import BesideSisters, recent_thirst

_WORK = ("capacity_tested", "leakage_tested", "repaired", "inspected", "held", "released",
         "incident", "amended", "married", "registered", "retired", "cleaned")  # fmt: skip


@dataclass(frozen=True)
class BatteryHistory:
    """Everything that the sheet says."""

    state: AssetState
    facts: BatteryFacts
    where: Whereabouts
    life: Life
    forecast: LifeForecast
    rounds: tuple[Round, ...]
    trends: tuple[CellTrend, ...]
    waterings: tuple[tuple[datetime, float | None, str | None], ...]
    sisters: BesideSisters
    overcharge_percent: float | None
    uses: tuple[tuple[datetime, float], ...]
    charges: int
    charge_kinds: dict[str, int]
    flags_of_charges: dict[str, int]
    work: tuple[tuple[datetime, str, str], ...]
    """When, what, who: tests, repairs, inspections, holds, incidents; newest first."""
    notices: tuple[Telling, ...]
    at: datetime

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit report battery --json`` prints it."""
        return {
            "battery": self.state.tag,
            "at": self.at.isoformat(),
            "where": self.where.to_json(),
            "cycles_recorded": self.life.recorded,
            "cycles_recorded_guessed": self.life.guessed,
            "cycles_before_assumed": self.life.before,
            "life_used_percent": self.life.used_percent,
            "life_ends": _day(self.forecast.ends_at),
            "life_ends_earliest": _day(self.forecast.earliest),
            "life_ends_latest": _day(self.forecast.latest),
            "uses": len(self.uses),
            "uses_unknown": self.life.unknown_uses,
            "charges": self.charges,
            "flags_of_charges": self.flags_of_charges,
            "water_beside_sisters": self.sisters.ratio,
            "rounds": len(self.rounds),
            "now": [one.to_json() for one in self.notices],
        }


def battery_history(site: Site, battery: str) -> BatteryHistory:
    """What the record tells of a battery, judged."""
    state = asset(site.record, battery, Kind.BATTERY)
    facts, now = battery_facts(state, site.settings), site.now()
    events = [one for one in site.record.timeline(state.tag) if not one.voided and one.known]
    full = [
        event
        for event in sorted(events, key=lambda one: one.moment)
        if event.kind == "cells_read" and event.body["extent"] != "pilot"
    ]
    rounds = judged_in_order(full[-60:], state.done.get("equalize"), facts, site.settings)
    drinks = recent_thirst(waterings_of(state, facts.capacity_ah), facts.cells, facts.capacity_ah)
    notices = notices_of(site, state.tag)
    ended = [event for event in events if event.kind == "charge_ended"]
    started = [event for event in events if event.kind == "charge_started"]
    return BatteryHistory(
        state,
        facts,
        whereabouts_of(site, state),
        life_of(state, facts, now),
        forecast_of(site, state, facts, events, now),
        tuple(rounds),
        cell_trends(rounds[-12:], state, facts, site.settings) if rounds else (),
        tuple(
            (event.happened, figure(event.body["litres"]), event.body["before"])
            for event in sorted(events, key=lambda one: one.moment)
            if event.kind == "watered"
        ),
        beside_sisters(site, state.tag, drinks),
        drinks.overcharge_percent,
        tuple(uses_in(state.tag, events)),
        len(ended),
        dict(Counter(event.body["charge_kind"] for event in started)),
        dict(Counter(flag["code"] for event in (*ended, *started) for flag in event.body["flags"])),
        tuple((event.happened, deed(event), event.by) for event in events if _worth(event)),
        tuple(notices),
        now,
    )


def _worth(event: Event) -> bool:
    return event.kind in _WORK


def _day(moment: datetime | None) -> str | None:
    return moment.date().isoformat() if moment else None
