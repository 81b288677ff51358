"""The pool of batteries played through with the fleet of the record.

Kinds of battery are those of one voltage and capacity; a group of trucks takes the kind that
most of its fitting batteries are of. What the record does not say (shifts, use in an hour) is
taken as given and named.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.jobs.care_facts import battery_facts, plain
from tagkit.jobs.site import Site
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

SHIFTS = ((6.0, 14.0), (14.0, 22.0))


@dataclass(frozen=True)
class PoolPlanned:
    """A plan, what came of it, and what would be the least; notes say what was assumed."""

    plan: PoolPlan
    result: PoolResult
    need: PoolNeed | None
    service_percent: float
    rule_of_thumb: float
    notes: tuple[str, ...]

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
            "mean_wait_minutes": found.mean_wait_minutes,
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
        }  # fmt: skip


def plan_pool(
    site: Site,
    *,
    shifts: Sequence[tuple[float, float]] = SHIFTS,
    use_percent_per_hour: float | None = None,
    days: int = 30,
    price_per_kwh: float | None = None,
    service_percent: float = 99.0,
    seek_least: bool = False,
    batteries: Mapping[str, int] | None = None,
    chargers: Mapping[str, int] | None = None,
    seed: int = 417,
) -> PoolPlanned:
    """Plays the fleet through. ``batteries`` and ``chargers`` put other counts in the place of
    those of the record, by kind; ``seek_least`` looks for the fewest that serve well (seconds).
    """
    notes: list[str] = []
    fleet = [
        state
        for state in site.record.states()
        if state.registered_at and not state.retired_at and state.kind in "BTC"
    ]
    kinds = _battery_kinds(site, fleet)
    groups = _groups(site, fleet, kinds, shifts, use_percent_per_hour, notes)
    if not groups:
        raise WrongInput(
            "there is no truck with batteries of its voltage", "Take trucks and batteries in first"
        )
    used = {group.battery for group in groups}
    pools = tuple(kind for kind in kinds if kind.name in used)
    rows = _charger_kinds(fleet, pools, site, notes)
    if not rows:
        raise WrongInput("there is no charger for these batteries", "Take chargers in first")
    plan = PoolPlan(
        tuple(groups), _counted(pools, batteries, "battery"), _counted(rows, chargers, "charger"),
        rest_factor=site.settings.readiness.rest_factor,
        deepest_percent=site.settings.charging.deepest_percent, days=days,
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
    return PoolPlanned(plan, result, need, service_percent, thumb, tuple(notes))


def _battery_kinds(site: Site, fleet: Sequence[AssetState]) -> list[BatteryKind]:
    count: Counter[tuple[float, float]] = Counter()
    for state in fleet:
        if state.kind == "B" and not state.holds:
            facts = battery_facts(state, site.settings)
            if facts.volts and facts.capacity_ah:
                count[facts.volts, facts.capacity_ah] += 1
    return [
        BatteryKind(_kind_name(volts, capacity), number, volts, capacity)
        for (volts, capacity), number in sorted(count.items())
    ]


def _kind_name(volts: float, capacity: float) -> str:
    return f"{volts:g} V {capacity:g} Ah"


def _groups(
    site: Site, fleet: Sequence[AssetState], kinds: Sequence[BatteryKind],
    shifts: Sequence[tuple[float, float]], use: float | None, notes: list[str],
) -> list[TruckGroup]:  # fmt: skip
    batteries = [
        (state, battery_facts(state, site.settings)) for state in fleet if state.kind == "B"
    ]
    trucks: Counter[tuple[str, str]] = Counter()
    without = 0
    for state in fleet:
        if state.kind != "T":
            continue
        volts, low, high = (
            plain(state.nameplate.get(name)) for name in ("voltage", "weight_min", "weight_max")
        )
        going: Counter[str] = Counter(
            _kind_name(facts.volts, facts.capacity_ah)
            for _, facts in batteries
            if facts.volts == volts and facts.volts and facts.capacity_ah
            and (None in (facts.kilograms, low, high) or low <= facts.kilograms <= high)  # type: ignore[operator]
        )  # fmt: skip
        if not going:
            without += 1
            continue
        name = state.nameplate.get("group")
        battery = going.most_common(1)[0][0]
        trucks[str(name["value"]) if name else f"{volts:g} V trucks", battery] += 1
    if without:
        notes.append(f"{without} truck(s) have no battery of their voltage and weight: left out")
    means = _use_by_kind(batteries, shifts)
    if use is None:
        notes.append("use by the record's discharges where they are known, else 8 % an hour")
    notes.append(
        "shifts " + ", ".join(f"{start:g}-{end:g} h" for start, end in shifts) + ", every day"
    )
    known = {kind.name: kind for kind in kinds}
    found: dict[tuple[str, str], TruckGroup] = {}
    for (group, battery), number in sorted(trucks.items()):
        if battery in known:
            found[group, battery] = TruckGroup(
                group if group not in {one for one, _ in found} else f"{group} ({battery})",
                number, battery, tuple(shifts), use or means.get(battery, 8.0),
            )  # fmt: skip
    return _enough(list(found.values()), known, notes)


def _enough(
    groups: list[TruckGroup], kinds: Mapping[str, BatteryKind], notes: list[str]
) -> list[TruckGroup]:
    """Trucks without a battery of their own are left out, since a plan needs one in each."""
    left = {name: kind.count for name, kind in kinds.items()}
    kept = []
    for group in groups:
        number = min(group.trucks, left[group.battery])
        left[group.battery] -= number
        if number < group.trucks:
            notes.append(
                f"{group.name}: {group.trucks - number} truck(s) without a battery left out"
            )
        if number:
            kept.append(replace(group, trucks=number))
    return kept


def _use_by_kind(
    batteries: Sequence[tuple[AssetState, Any]], shifts: Sequence[tuple[float, float]]
) -> dict[str, float]:
    """Percent of capacity in an hour, taking a use as one shift long."""
    hours = sum(end - start for start, end in shifts) / len(shifts)
    sums: dict[str, list[float]] = defaultdict(list)
    for state, facts in batteries:
        known = state.use.get("uses", 0) - state.use.get("unknown", 0)
        if known >= 10 and facts.volts and facts.capacity_ah:
            mean = state.use.get("percent", 0.0) / known
            sums[_kind_name(facts.volts, facts.capacity_ah)].append(mean / hours)
    return {kind: min(20.0, max(0.5, sum(values) / len(values))) for kind, values in sums.items()}


def _charger_kinds(
    fleet: Sequence[AssetState], pools: Sequence[BatteryKind], site: Site, notes: list[str]
) -> tuple[ChargerKind, ...]:
    count: Counter[tuple[float, frozenset[str]]] = Counter()
    for state in fleet:
        if state.kind != Kind.CHARGER.value or state.holds:
            continue
        plate = state.nameplate
        stated = plate.get("voltages")
        volts = [plain(one) for one in stated["value"]] if stated else []
        low, high = plain(plate.get("capacity_min")), plain(plate.get("capacity_max"))
        serves = frozenset(
            kind.name
            for kind in pools
            if kind.volts in volts
            and (low is None or low <= kind.capacity_ah)
            and (high is None or kind.capacity_ah <= high)
        )
        if serves:
            count[max(one for one in volts if one is not None), serves] += 1
    notes.append(
        f"a charge from 80 % takes {site.settings.charging.full_charge_hours:g} h, efficiency 0.80"
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
                name if names[name] == 1 else f"{name} ({names[name]})", number, serves,
                site.settings.charging.full_charge_hours, factor=site.settings.charging.factor,
            )
        )  # fmt: skip
    return tuple(rows)


def _counted(kinds: Sequence[Any], wanted: Mapping[str, int] | None, what: str) -> tuple[Any, ...]:
    names = {kind.name for kind in kinds}
    for name in wanted or {}:
        if name not in names:
            raise WrongInput(
                f"“{name}” is no kind of {what}", f"There are: {', '.join(sorted(names))}"
            )
    return tuple(replace(kind, count=(wanted or {}).get(kind.name, kind.count)) for kind in kinds)
