"""The pool of batteries played through with the fleet of the record.

Which batteries count for which trucks is told by the rules of fit (tagkit.jobs.pool_fleet). Shifts
and use in an hour are those of the record where it tells them (tagkit.jobs.work_pattern); what was
taken as given is named.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.jobs.care_facts import battery_facts, plain
from tagkit.jobs.pool_fleet import Counted, LeftOut, PoolFleet, pool_fleet
from tagkit.jobs.site import Site
from tagkit.jobs.work_pattern import WorkPattern, usual_shifts, work_pattern
from tagkit.record.state import AssetState
from tagkit.rules.pool import batteries_per_truck
from tagkit.rules.pool_simulation import (
    BatteryKind,
    ChargerKind,
    PoolNeed,
    PoolPlan,
    PoolResult,
    TruckGroup,
    least,
    simulate,
)

USE_PERCENT_PER_HOUR = 8.0
"""Where neither the record nor the person says."""
FEWEST_USES = 10


@dataclass(frozen=True)
class PoolPlanned:
    """A plan, what came of it, and what would be the least; notes say what was assumed."""

    plan: PoolPlan
    result: PoolResult
    need: PoolNeed | None
    service_percent: float
    rule_of_thumb: float
    notes: tuple[str, ...]
    fleet: PoolFleet

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit plan pool --json`` prints it."""
        found = self.result
        return {
            "days": self.plan.days,
            "seed": self.plan.seed,
            "trucks": [
                {"group": one.name, "trucks": one.trucks, "battery": one.battery,
                 "use_percent_per_hour": round(one.use_percent_per_hour, 2)}
                for one in self.plan.trucks
            ],
            "batteries": {one.name: one.count for one in self.plan.batteries},
            "chargers": {one.name: one.count for one in self.plan.chargers},
            "changes": found.changes,
            "waited": found.waited,
            "service_percent": found.service_percent,
            "service_by_kind": dict(found.service_by_kind),
            "mean_wait_minutes": found.mean_wait_minutes,
            "mean_of_waiting_minutes": found.mean_of_waiting_minutes,
            "longest_wait_minutes": found.longest_wait_minutes,
            "most_waiting": found.most_waiting,
            "hours_lost": found.hours_lost,
            "busiest_hour": found.busiest_hour,
            "changes_by_hour": list(found.changes_by_hour),
            "energy": {"value": round(found.energy_kwh), "unit": "kWh"},
            "cost": found.cost,
            "peak": {"value": round(found.peak_kw, 1), "unit": "kW"},
            "peak_hour": found.peak_hour,
            "charger_use_percent": dict(found.charger_use_percent),
            "least_ready": dict(found.least_ready),
            "least": None if self.need is None else {
                "service_percent": self.service_percent,
                "batteries": dict(self.need.batteries),
                "chargers": dict(self.need.chargers),
            },
            "rule_of_thumb_batteries_per_truck": round(self.rule_of_thumb, 2),
            "notes": list(self.notes),
            "counted_for": self.fleet.to_json(),
            "left_out": [
                {"kind": Kind(one.kind).noun, "numbers": list(one.tags), "reason": one.reason}
                for one in self.fleet.left_out
            ],
        }  # fmt: skip


def plan_pool(
    site: Site,
    *,
    shifts: Sequence[tuple[float, float]] | None = None,
    use_percent_per_hour: float | None = None,
    days: int = 30,
    price_per_kwh: float | None = None,
    service_percent: float = 99.0,
    seek_least: bool = False,
    batteries: Mapping[str, int] | None = None,
    chargers: Mapping[str, int] | None = None,
    change_minutes: float = 10.0,
    change_stations: int = 1,
    efficiency: float = 0.80,
    seed: int = 417,
) -> PoolPlanned:
    """Plays the fleet through. ``shifts``: every truck works them every day; None: as the
    changes of the last weeks tell, else two shifts. ``use_percent_per_hour``: None: by the record.

    ``batteries`` and ``chargers`` put other counts in the place of
    those of the record, by kind; ``seek_least`` looks for the fewest that serve well (seconds).
    ``efficiency`` of the chargers: 0.80 conventional, 0.92 high-frequency.
    """
    notes: list[str] = []
    pattern = work_pattern(
        site,
        [
            state
            for state in site.record.states(Kind.TRUCK)
            if state.registered_at and not state.retired_at
        ],
    )
    fleet = pool_fleet(site)
    members = fleet.batteries
    kinds = [_kind(site, fleet.groups, name, members[name]) for name in members]
    groups = _groups(
        fleet.groups, members, shifts, usual_shifts(site), use_percent_per_hour, pattern, notes
    )
    if not groups:
        raise WrongInput(
            "there is no truck with a battery that fits it",
            "Take trucks and batteries in first; “tagkit fit” says what is not confirmed",
        )
    notes += [_left_out(one) for one in fleet.left_out]
    notes += fleet.notes
    used = {group.battery for group in groups}
    pools = tuple(kind for kind in kinds if kind and kind.name in used)
    station = (
        f"at {change_stations} change stations" if change_stations > 1 else "at one change station"
    )
    rows = _charger_kinds(fleet, {one.name for one in pools}, site, efficiency, notes)
    notes.append(
        f"rest after a charge: {site.settings.readiness.rest_factor:g} × the time it took; "
        f"changed at {site.settings.charging.deepest_percent:g} % discharged, "
        f"{change_minutes:g} min {station}"
    )
    if not rows:
        raise WrongInput("there is no charger for these batteries", "Take chargers in first")
    plan = PoolPlan(
        tuple(groups), _counted(pools, batteries, "battery"), _counted(rows, chargers, "charger"),
        rest_factor=site.settings.readiness.rest_factor,
        deepest_percent=site.settings.charging.deepest_percent, days=days,
        change_minutes=change_minutes, change_stations=change_stations,
        price_per_kwh=price_per_kwh, seed=seed,
    )  # fmt: skip
    try:
        result = simulate(plan)
        need = least(plan, service_percent) if seek_least else None
    except ValueError as error:
        raise WrongInput(
            f"this pool can't be played through: {error}", "Check the counts"
        ) from None
    per_hour = max(group.use_percent_per_hour for group in groups)
    use_hours = site.settings.charging.deepest_percent / per_hour
    hours = site.settings.charging.full_charge_hours
    thumb = batteries_per_truck(
        use_hours, hours, hours * site.settings.readiness.rest_factor, plan.change_minutes / 60
    )
    return PoolPlanned(plan, result, need, service_percent, thumb, tuple(notes), fleet)


def _left_out(some: LeftOut) -> str:
    count = len(some.tags)
    if some.kind == Kind.BATTERY.value:
        return f"batteries left out: {count} ({some.reason})"
    if some.kind == Kind.TRUCK.value:
        return f"trucks left out: {count} ({some.reason})"
    return f"chargers left out: {count} ({some.reason})"


def _kind(
    site: Site, windows: Sequence[Counted], name: str, batteries: Sequence[AssetState]
) -> BatteryKind | None:
    """A kind of batteries, with their mean capacity."""
    known = [battery_facts(state, site.settings).capacity_ah for state in batteries]
    capacities = [capacity for capacity in known if capacity]
    if not capacities:
        return None
    mean = sum(capacities) / len(capacities)
    volts = next(window.volts for window in windows if window.kind == name)
    return BatteryKind(name, len(batteries), volts, round(mean))


def _groups(
    windows: Sequence[Counted], members: Mapping[str, Sequence[AssetState]],
    shifts: Sequence[tuple[float, float]] | None, usual: Sequence[tuple[float, float]],
    use: float | None, pattern: WorkPattern | None, notes: list[str],
) -> list[TruckGroup]:  # fmt: skip
    """The groups that can be played through: a plan needs a battery in each truck."""
    by_record = shifts is None and pattern is not None
    hours = tuple(shifts or (pattern.shifts if pattern else usual))
    if pattern is not None and (by_record or use is None):
        notes.append(
            f"the changes of {pattern.weeks:.0f} weeks ({pattern.counted}) tell how the trucks work: "
            f"{pattern.hours_a_week:.0f} hours a week each"
        )
    spoken = ", ".join(f"{start:g}-{end:g} h" for start, end in hours)
    notes.append(
        f"shifts {spoken}, {'as many trucks as had changes' if by_record else 'every day'}"
    )
    left = {kind: len(batteries) for kind, batteries in members.items()}
    found = []
    for window in windows:
        trucks = min(len(window.trucks), left[window.kind])
        left[window.kind] -= trucks
        if trucks < len(window.trucks):
            notes.append(
                f"{window.name}: trucks without a battery, left out: {len(window.trucks) - trucks}"
            )
        if not trucks:
            continue
        recorded = _use(window.trucks, members[window.kind], pattern) if use is None else None
        rate = use or recorded or USE_PERCENT_PER_HOUR
        source = (
            "as given" if use else "by the record" if recorded else "nothing on record tells it"
        )
        notes.append(f"{window.name}: {rate:.1f}% of a battery in an hour of work, {source}")
        found.append(
            TruckGroup(
                window.name, trucks, window.kind, hours, rate,
                manned=pattern.manned if by_record and pattern else None,
            )
        )  # fmt: skip
    return found


def _use(
    trucks: Sequence[str], batteries: Sequence[AssetState], pattern: WorkPattern | None
) -> float | None:
    """Percent of capacity in an hour of work, by the changes and what the uses took."""
    percent = uses = 0.0
    for state in batteries:
        uses += state.use.get("uses", 0) - state.use.get("unknown", 0)
        percent += state.use.get("percent", 0.0)
    if uses < FEWEST_USES or pattern is None:
        return None
    return pattern.percent_an_hour(trucks, percent / uses)


def _charger_kinds(
    fleet: PoolFleet, used: set[str], site: Site, efficiency: float, notes: list[str]
) -> tuple[ChargerKind, ...]:
    count: Counter[tuple[float, frozenset[str]]] = Counter()
    for group, serves in fleet.chargers:
        stated = group.example.nameplate.get("voltages")
        volts = [plain(one) or 0.0 for one in stated["value"]] if stated else []
        if volts and serves & used:
            count[max(volts), serves & used] += len(group.tags)
    notes.append(
        f"a charge from 80 % takes {site.settings.charging.full_charge_hours:g} h, "
        f"efficiency {efficiency:.2f}"
    )
    names: Counter[str] = Counter()
    rows = []
    for (volts_, serves), number in sorted(
        count.items(), key=lambda one: (one[0][0], sorted(one[0][1]))
    ):
        name = f"{volts_:g} V chargers"
        names[name] += 1
        rows.append(
            ChargerKind(
                name if names[name] == 1 else f"{volts_:g} V chargers ({names[name]})", number, serves,
                site.settings.charging.full_charge_hours, efficiency, site.settings.charging.factor,
            )
        )  # fmt: skip
    return tuple(rows)


def _counted(kinds: Sequence[Any], wanted: Mapping[str, int] | None, what: str) -> tuple[Any, ...]:
    names = {kind.name for kind in kinds}
    for name in wanted or {}:
        if name not in names:
            raise WrongInput(
                f"“{name}” is no kind of {what}", f"There are: {'; '.join(sorted(names))}"
            )
    return tuple(replace(kind, count=(wanted or {}).get(kind.name, kind.count)) for kind in kinds)
