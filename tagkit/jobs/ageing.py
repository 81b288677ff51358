"""Life: equivalent cycles, forecast, and which batteries to retire.

The record begins at some day, and an older battery had work behind it then. Where its first day
in service is known, that work is taken to have gone at the same pace, and said to be assumed.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.jobs.care_facts import BatteryFacts, battery_facts, plain, waterings_of, when
from tagkit.jobs.judging import catch_up
from tagkit.jobs.site import Site
from tagkit.jobs.watering import beside_sisters
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.rules.life import LifeForecast, equivalent_cycles, forecast_life, life_used
from tagkit.rules.retirement import Retirement, RetirementFacts, retirement_list
from tagkit.rules.water import recent_thirst

_FEWEST_DAYS = 28


@dataclass(frozen=True)
class Life:
    """Equivalent full cycles of a battery; None where that is not known."""

    recorded: float | None
    """Since the record began; uses that are not known are taken as deep as the known ones."""
    guessed: float
    """What of ``recorded`` is those."""
    before: float | None
    """Before the record began: assumed, at the same pace."""
    unknown_uses: int
    used_percent: float | None

    @property
    def cycles(self) -> float | None:
        """Recorded and assumed."""
        return None if self.recorded is None else self.recorded + (self.before or 0.0)


def life_of(state: AssetState, facts: BatteryFacts, now: datetime) -> Life:
    """What a battery has given. Uses that are not known are taken as deep as the known ones,
    for the sum only; how many they are is told."""
    uses, unknown = state.use.get("uses", 0), state.use.get("unknown", 0)
    known = uses - unknown
    if known < 1 or state.registered_at is None:
        return Life(None, 0.0, None, unknown, None)
    percent = state.use.get("percent", 0.0) * uses / known
    recorded = equivalent_cycles(percent, 100.0)
    began = when(state.registered_at)
    before = None
    first = _day(facts.in_service_on)
    recorded_days = (now - began) / timedelta(days=1)
    long_enough = recorded_days >= _FEWEST_DAYS
    if first is not None and first < began and recorded is not None and long_enough:
        before = recorded / recorded_days * ((began - first) / timedelta(days=1))
    total = None if recorded is None else recorded + (before or 0.0)
    guessed = (recorded or 0.0) * unknown / uses
    return Life(recorded, guessed, before, unknown, life_used(total, facts.rated_cycles))


def forecast_of(
    site: Site, state: AssetState, facts: BatteryFacts, events: list[Event], now: datetime
) -> LifeForecast:
    """When the rated cycles are used up, from the discharges of ``events`` (any order)."""
    life = life_of(state, facts, now)
    uses = [(at, percent / 80) for at, percent in uses_in(state.tag, events)]
    # The pace is that of all uses: without those that are not known it would promise years too many.
    known = sum(cycle for _, cycle in uses)
    share = life.recorded / known if life.recorded and known else 1.0
    uses = [(at, cycle * share) for at, cycle in uses]
    return forecast_life(
        uses, facts.rated_cycles, now,
        cycles_before=max(0.0, (life.cycles or 0.0) - sum(cycle for _, cycle in uses)),
        confidence_percent=site.settings.cells.confidence_percent,
    )  # fmt: skip


def uses_in(tag: str, events: Iterable[Event]) -> list[tuple[datetime, float]]:
    """Moments and percent of the uses whose discharge is known, oldest first.

    The truck's gauge at the change counts until the charge after it knows better. A charge that
    no use on record came before is of none.
    """
    uses: list[tuple[datetime, float]] = []
    told: tuple[datetime, float] | None = None
    used = False
    for event in sorted(events, key=lambda one: one.moment):
        body = event.body
        if event.voided or not event.known:
            continue
        if event.kind == "changed" and tag in (body["battery_in"], body["battery_out"]):
            if told:
                uses.append(told)
            used = True
            percent = body["discharged_percent"] if body["battery_out"] == tag else None
            told = None if percent is None else (event.happened, float(percent))
        elif event.kind in ("charge_started", "charge_ended") and used and body["discharge"]:
            told = (told[0] if told else event.happened, float(body["discharge"]["percent"]))
    return [*uses, told] if told else uses


def _day(text: str | None) -> datetime | None:
    if not text:
        return None
    padded = f"{text}-01-01"[:10] if len(text) == 4 else f"{text}-01" if len(text) == 7 else text
    try:
        return datetime.fromisoformat(padded).replace(tzinfo=UTC)
    except ValueError:
        return None


@dataclass(frozen=True)
class RetirementPlan:
    """The list, the worst first."""

    places: tuple[Retirement, ...]
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit plan retirement --json`` prints it."""
        return {"batteries": [one.to_json() for one in self.places], "notes": list(self.notes)}


def plan_retirement(site: Site) -> RetirementPlan:
    """Every battery in use, judged by all of its signs."""
    catch_up(site)
    now = site.now()
    facts = [
        _facts(site, state, now)
        for state in site.record.states(Kind.BATTERY)
        if state.registered_at and not state.retired_at
    ]
    settings = site.settings
    return RetirementPlan(
        retirement_list(facts, settings.life, settings.cells, settings.water),
        (
            "Points rank batteries and decide nothing: a capacity test below "
            f"{settings.life.end_of_life_percent:g} % of rated does.",
            "Cycles before the record began are assumed at the recorded pace, where the first day "
            "in service is known.",
        ),
    )


def _facts(site: Site, state: AssetState, now: datetime) -> RetirementFacts:
    facts = battery_facts(state, site.settings)
    row = site.record.outlook().row(state.tag)
    cells = row.content.get("cells", {}) if row else {}
    drinks = recent_thirst(
        waterings_of(state, facts.capacity_ah), facts.in_series, facts.capacity_ah
    )
    first = _day(facts.in_service_on)
    return RetirementFacts(
        tag=state.tag,
        life_used_percent=life_of(state, facts, now).used_percent,
        capacity_percent=plain({"value": state.capacity_test["percent"]})
        if state.capacity_test
        else None,
        spread=cells.get("spread"),
        suspect_cells=cells.get("suspect"),
        # Who has not been watered twice is compared with nobody.
        water_ratio=beside_sisters(site, state.tag, drinks).ratio
        if facts.watered and drinks.litres_a_day is not None
        else None,
        age_years=(now - first) / timedelta(days=365.25) if first else None,
    )
