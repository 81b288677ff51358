"""The battery pool played through: trucks on shifts, changes, charging, rest.

What formulas can't tell: how often a truck waits because no rested battery of its kind is
there, the station is busy or chargers are short; what the busiest hour is; the peak power.

Every truck draws its shifts' use from a stream of its own, fixed by the plan's seed, so that
two plans that differ by one battery are compared on the same work.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict, deque
from collections.abc import Callable, Generator, Iterator, Mapping
from dataclasses import dataclass, field, replace
from random import Random
from statistics import NormalDist
from typing import Any

TAIL = 0.25
"""Share of a charge from 80 % depth spent in the finish, at about this share of the power."""

_VOLTS_ON_CHARGE = 1.2  # of nominal: 2.4 V per cell
_FULL_DEPTH = 80.0
_FEWEST = 1


Manned = Mapping[tuple[int, int], float]
"""(weekday, place of the shift in the group's shifts) -> share of the trucks at work, 0 to 1."""


@dataclass(frozen=True)
class TruckGroup:
    """Trucks alike. ``shifts`` are (start, end) in hours of the day, an end may pass 24;
    ``use_percent_per_hour`` of the battery's capacity; ``variation`` from shift to shift;
    ``manned``: which truck works in which shift is drawn from it; None: every truck in each."""

    name: str
    trucks: int
    battery: str
    shifts: tuple[tuple[float, float], ...] = ((6, 14), (14, 22))
    use_percent_per_hour: float = 8.0
    variation: float = 0.15
    weekdays: frozenset[int] = frozenset(range(7))
    manned: Manned | None = None


@dataclass(frozen=True)
class BatteryKind:
    """Batteries alike, those in the trucks included."""

    name: str
    count: int
    volts: float
    capacity_ah: float


@dataclass(frozen=True)
class ChargerKind:
    """Chargers alike, for the ``batteries`` named; ``full_hours`` from 80 % depth.

    ``efficiency``: 0.80 conventional, 0.92 high-frequency, unless given by the maker.
    """

    name: str
    count: int
    batteries: frozenset[str]
    full_hours: float = 8.0
    efficiency: float = 0.80
    factor: float = 1.15


@dataclass(frozen=True)
class PoolPlan:
    """A fleet and how it works. ``tolerated_minutes``: longer than this is waiting."""

    trucks: tuple[TruckGroup, ...]
    batteries: tuple[BatteryKind, ...]
    chargers: tuple[ChargerKind, ...]
    change_minutes: float = 10.0
    change_stations: int = 1
    to_charger_minutes: float = 10.0
    rest_factor: float = 1.0
    deepest_percent: float = 80.0
    days: int = 30
    warm_up_days: float = 1.0
    tolerated_minutes: float = 5.0
    price_per_kwh: float | None = None
    seed: int = 417


@dataclass(frozen=True)
class PoolResult:
    """What came of a plan, after warming up.

    ``service_by_kind``: changes that found a battery within the time tolerated, %, by kind of
    battery; None without any. ``service_percent`` is the worst of them, because a stranded
    group disappears among the many changes of the others. ``waited``: changes that did not;
    ``mean_of_waiting_minutes`` is theirs, ``mean_wait_minutes`` that of all changes.
    Waiting for a battery and for the change station are told apart, because more batteries
    don't help at a busy station. ``changes_by_hour``: of the day, summed. ``least_ready``:
    fewest rested batteries by kind. ``still_waiting`` at the end.
    """

    changes: int
    waited: int
    service_percent: float | None
    service_by_kind: Mapping[str, float | None]
    mean_wait_minutes: float
    mean_of_waiting_minutes: float
    longest_wait_minutes: float
    mean_station_minutes: float
    longest_station_minutes: float
    most_waiting: int
    hours_lost: float
    changes_by_hour: tuple[int, ...]
    energy_kwh: float
    cost: float | None
    peak_kw: float
    peak_hour: int
    charger_use_percent: Mapping[str, float]
    least_ready: Mapping[str, int]
    still_waiting: int

    @property
    def busiest_hour(self) -> int | None:
        """Hour of the day with the most changes."""
        most = max(self.changes_by_hour)
        return self.changes_by_hour.index(most) if most else None


@dataclass(frozen=True)
class PoolNeed:
    """The fewest batteries and chargers that reach a service level; None: out of reach."""

    batteries: Mapping[str, int | None]
    chargers: Mapping[str, int | None]
    result: PoolResult


def charge_hours(depth_percent: float, charger: ChargerKind) -> float:
    """Hours on ``charger`` from a depth: the finish takes its time, the rest in proportion."""
    return charger.full_hours * (TAIL + (1 - TAIL) * depth_percent / _FULL_DEPTH)


def simulate(plan: PoolPlan) -> PoolResult:
    """Plays ``plan`` through; the same plan gives the same result."""
    _check(plan)
    return _Room(plan).run()


def least(plan: PoolPlan, service_percent: float = 99.0) -> PoolNeed:
    """The fewest batteries of each kind, then chargers, that reach ``service_percent``.

    Batteries are sought one kind after the other with the chargers planned, up to five for each
    truck; then chargers with the batteries found, up to twice those planned. None: even that
    does not reach it, so it is chargers (or batteries) that are short.
    """
    batteries: dict[str, int | None] = {}
    for place, kind in enumerate(plan.batteries):
        trucks = sum(group.trucks for group in plan.trucks if group.battery == kind.name)
        if not trucks:
            batteries[kind.name] = 0
            continue

        def with_batteries(count: int, place: int = place) -> PoolPlan:
            kinds = list(plan.batteries)
            kinds[place] = replace(kinds[place], count=count)
            return replace(plan, batteries=tuple(kinds))

        found = _fewest(with_batteries, trucks, 5 * trucks, service_percent, kind.name)
        batteries[kind.name] = found
    enough = tuple(
        replace(kind, count=max(count, _FEWEST)) if (count := batteries[kind.name]) else kind
        for kind in plan.batteries
    )
    plan = replace(plan, batteries=enough)
    chargers: dict[str, int | None] = {}
    for place, charger in enumerate(plan.chargers):

        def with_chargers(count: int, place: int = place) -> PoolPlan:
            kinds = list(plan.chargers)
            kinds[place] = replace(kinds[place], count=count)
            return replace(plan, chargers=tuple(kinds))

        chargers[charger.name] = _fewest(with_chargers, 1, 2 * charger.count, service_percent, None)
    return PoolNeed(batteries, chargers, simulate(plan))


def _fewest(
    planned: Callable[[int], PoolPlan],
    low: int,
    high: int,
    service_percent: float,
    kind: str | None,
) -> int | None:
    """Smallest count from ``low`` to ``high`` that serves well, by halving."""

    def serves(count: int) -> bool:
        result = _Room(planned(count)).run()
        share = result.service_by_kind[kind] if kind else result.service_percent
        return share is not None and share >= service_percent

    if not serves(high):
        return None
    while low < high:
        middle = (low + high) // 2
        if serves(middle):
            high = middle
        else:
            low = middle + 1
    return high


def _check(plan: PoolPlan) -> None:
    kinds = {kind.name: kind for kind in plan.batteries}
    for group in plan.trucks:
        if group.battery not in kinds:
            raise ValueError(f"{group.name}: there is no battery kind “{group.battery}”")
        if not 0 < group.use_percent_per_hour <= 100:
            raise ValueError(f"{group.name}: use per hour must be above 0 and at most 100 %")
    for kind in plan.batteries:
        trucks = sum(group.trucks for group in plan.trucks if group.battery == kind.name)
        if kind.count < trucks:
            raise ValueError(f"{kind.name}: fewer batteries than trucks")


@dataclass
class _Tally:
    """Numbers as they come in."""

    waits: list[tuple[str, float]] = field(default_factory=list)  # for a battery, h
    station: list[float] = field(default_factory=list)  # for the station, h
    by_hour: Counter[int] = field(default_factory=Counter)
    power: list[tuple[float, float]] = field(default_factory=list)  # (hour, change of kW)
    energy: float = 0.0
    waiting: dict[tuple[str, str, int], float] = field(default_factory=dict)
    most_waiting: int = 0
    busy: Counter[str] = field(default_factory=Counter)
    least_ready: dict[str, int] = field(default_factory=dict)


class _Chargers:
    """Free chargers, counted by kind, and who waits for one: the first come is served first.

    Chargers that serve few kinds of batteries are taken before those that others need too.
    """

    def __init__(self, env: Any, kinds: tuple[ChargerKind, ...]) -> None:
        self._env = env
        self._order = sorted(kinds, key=lambda kind: len(kind.batteries))
        self._free = {kind.name: kind.count for kind in kinds}
        self._waiting: dict[str, deque[tuple[int, Any]]] = defaultdict(deque)
        self._came = 0

    def wanted_for(self, battery: str) -> Any:
        """An event that comes with the charger for a battery of this kind."""
        event = self._env.event()
        for kind in self._order:
            if self._free[kind.name] and battery in kind.batteries:
                self._free[kind.name] -= 1
                return event.succeed(kind)
        self._came += 1
        self._waiting[battery].append((self._came, event))
        return event

    def free_again(self, kind: ChargerKind) -> None:
        """Gives the charger to who has waited longest for one like it, if anybody has."""
        first = min(
            (name for name in kind.batteries if self._waiting[name]),
            key=lambda name: self._waiting[name][0][0],
            default=None,
        )
        if first is None:
            self._free[kind.name] += 1
        else:
            self._waiting[first].popleft()[1].succeed(kind)


class _Room:
    """One run. SimPy is loaded only here, because planning is a rare thing to ask for."""

    def __init__(self, plan: PoolPlan) -> None:
        import simpy

        _check(plan)
        self._plan, self._tally = plan, _Tally()
        self._env = env = simpy.Environment()
        self._station = simpy.Resource(env, plan.change_stations)
        self._chargers = _Chargers(env, plan.chargers)
        self._ready = {kind.name: simpy.Store(env) for kind in plan.batteries}
        self._kinds = {kind.name: kind for kind in plan.batteries}
        self._end = 24.0 * plan.days
        self._begin = min(24.0 * plan.warm_up_days, self._end)
        for kind in plan.batteries:
            trucks = sum(group.trucks for group in plan.trucks if group.battery == kind.name)
            self._ready[kind.name].items = list(range(kind.count - trucks))
            self._tally.least_ready[kind.name] = kind.count - trucks
        for group in plan.trucks:
            for number in range(group.trucks):
                env.process(self._truck(group, number))

    def run(self) -> PoolResult:
        """Runs to the end of the plan."""
        self._env.run(until=self._end)
        return self._result()

    def _service_of(self, kind: str) -> float | None:
        """Service of the trucks with one kind of battery, %."""
        waits = [wait for name, wait in self._tally.waits if name == kind]
        waits += [
            self._end - since for (name, _, _), since in self._tally.waiting.items() if name == kind
        ]
        return self._service(waits)

    def _truck(self, group: TruckGroup, number: int) -> Generator[Any, Any, Any]:
        env, plan = self._env, self._plan
        windows = list(_windows(group, plan.days, f"{plan.seed}/{group.name}/{number}/at work"))
        draws = NormalDist().samples(len(windows) + 1, seed=f"{plan.seed}/{group.name}/{number}")
        # Trucks do not all begin the month with a fresh battery.
        depth = plan.deepest_percent * NormalDist().cdf(draws[0])
        for (start, end), draw in zip(windows, draws[1:], strict=True):
            if env.now < start:
                yield env.timeout(start - env.now)
            rate = group.use_percent_per_hour * max(0.1, 1 + group.variation * draw)
            while env.now < end:
                hours = (plan.deepest_percent - depth) / rate
                if hours >= end - env.now:
                    depth += rate * (end - env.now)
                    yield env.timeout(end - env.now)
                    break
                yield env.timeout(hours)
                yield from self._change(group.battery, (group.name, number))
                depth = 0.0

    def _change(self, kind: str, truck: tuple[str, int]) -> Generator[Any, Any, Any]:
        env, plan, tally = self._env, self._plan, self._tally
        asked = env.now
        tally.waiting[(kind, *truck)] = asked
        tally.most_waiting = max(tally.most_waiting, len(tally.waiting))
        ready = self._ready[kind]
        yield ready.get()
        found = env.now
        del tally.waiting[(kind, *truck)]
        tally.least_ready[kind] = min(tally.least_ready[kind], len(ready.items))
        with self._station.request() as turn:
            yield turn
            if asked >= self._begin:
                tally.waits.append((kind, found - asked))
                tally.station.append(env.now - found)
                tally.by_hour[int(env.now % 24)] += 1
            yield env.timeout(plan.change_minutes / 60)
        env.process(self._recharge(kind))

    def _recharge(self, kind: str) -> Generator[Any, Any, Any]:
        env, plan = self._env, self._plan
        yield env.timeout(plan.to_charger_minutes / 60)
        charger: ChargerKind = yield self._chargers.wanted_for(kind)
        hours = charge_hours(plan.deepest_percent, charger)
        self._power(kind, charger, hours)
        yield env.timeout(hours)
        self._chargers.free_again(charger)
        yield env.timeout(plan.rest_factor * hours)
        self._ready[kind].put(0)

    def _power(self, kind: str, charger: ChargerKind, hours: float) -> None:
        """Notes the energy of a charge, and its power as two steps: bulk, then finish."""
        battery, tally, now = self._kinds[kind], self._tally, self._env.now
        returned = self._plan.deepest_percent / 100 * battery.capacity_ah * charger.factor
        kwh = returned * battery.volts * _VOLTS_ON_CHARGE / 1000 / charger.efficiency
        tail = TAIL * charger.full_hours
        bulk = kwh / (hours - tail + TAIL * tail)
        tally.power += [(now, bulk), (now + hours - tail, (TAIL - 1) * bulk),
                        (now + hours, -TAIL * bulk)]  # fmt: skip
        inside = max(0.0, min(now + hours, self._end) - max(now, self._begin))
        tally.energy += kwh * inside / hours
        tally.busy[charger.name] += inside  # type: ignore[assignment]

    def _service(self, waits: list[float]) -> float | None:
        if not waits:
            return None
        tolerated = self._plan.tolerated_minutes / 60
        return 100 * sum(wait <= tolerated for wait in waits) / len(waits)

    def _result(self) -> PoolResult:
        tally, plan = self._tally, self._plan
        late = [self._end - since for since in tally.waiting.values()]
        waits = [wait for _, wait in tally.waits]
        everyone = waits + late
        tolerated = plan.tolerated_minutes / 60
        waiting = [wait for wait in everyone if wait > tolerated]
        by_kind = {name: self._service_of(name) for name in self._kinds}
        served = [share for share in by_kind.values() if share is not None]
        peak, peak_at = _peak(tally.power, self._begin, self._end)
        hours = max(1e-9, self._end - self._begin)
        return PoolResult(
            changes=len(waits),
            waited=len(waiting),
            service_percent=min(served, default=None),
            service_by_kind=by_kind,
            mean_wait_minutes=60 * sum(everyone) / len(everyone) if everyone else 0.0,
            mean_of_waiting_minutes=60 * sum(waiting) / len(waiting) if waiting else 0.0,
            longest_wait_minutes=60 * max(everyone, default=0.0),
            mean_station_minutes=60 * sum(tally.station) / max(1, len(waits)),
            longest_station_minutes=60 * max(tally.station, default=0.0),
            most_waiting=tally.most_waiting,
            hours_lost=sum(everyone) + sum(tally.station),
            changes_by_hour=tuple(tally.by_hour[hour] for hour in range(24)),
            energy_kwh=tally.energy,
            cost=None if plan.price_per_kwh is None else tally.energy * plan.price_per_kwh,
            peak_kw=peak,
            peak_hour=int(peak_at % 24),
            charger_use_percent={
                kind.name: 100 * tally.busy[kind.name] / hours / kind.count if kind.count else 0.0
                for kind in plan.chargers
            },
            least_ready=dict(tally.least_ready),
            still_waiting=len(late),
        )


def _windows(group: TruckGroup, days: int, seed: str) -> Iterator[tuple[float, float]]:
    """The shifts that one truck works, in hours from the first midnight, which begins a Monday."""
    draw = Random(seed)
    order = sorted(range(len(group.shifts)), key=lambda place: group.shifts[place])
    for day in range(days):
        for place in order:
            start, end = group.shifts[place]
            share = 1.0 if group.manned is None else group.manned.get((day % 7, place), 0.0)
            if day % 7 in group.weekdays and draw.random() < share:
                yield 24.0 * day + start, 24.0 * day + end


def _peak(steps: list[tuple[float, float]], begin: float, end: float) -> tuple[float, float]:
    """Highest sum of ``steps`` between ``begin`` and ``end``, and when it began."""
    total = peak = 0.0
    at = begin
    # At one moment what ends comes before what starts, else a hand-over counts twice.
    for moment, change in sorted(steps):
        if moment >= end:
            break
        total += change
        if total > peak and moment >= begin:
            peak, at = total, moment
    return peak if not math.isclose(peak, 0, abs_tol=1e-9) else 0.0, at
