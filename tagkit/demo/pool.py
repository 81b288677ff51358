"""A year in Quillmoor's battery room, played out: trucks on three shifts, changes, charges.

The pool knows nothing of the record. It runs a queue of moments; whoever wants something to
happen at one says so with :meth:`Pool.at`. What happened is left in :attr:`Pool.log`.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.assets.truck import Truck
from tagkit.demo.cells import Cells
from tagkit.demo.happenings import Happening, figure

SHIFT_HOURS = (6, 14, 22)
ATTENDANTS = (("MK", "AB"), ("JT", "LN"), ("RS", "TO"))
SUPERVISORS = ("SW", "DC", "DC")
LONG_AGO = datetime(1970, 1, 1, tzinfo=UTC)
RELEASE_REASONS = (
    "no rested battery left for this truck; electrolyte felt and measured below 43 °C",
    "late lorry to load; cool enough, goes back on charge after this shift",
    "charge ended at the top, rest cut short; half a shift only",
)
HOTTEST = 51.5  # °C: chargers are stopped before the maker's 55 °C
DISCHARGED = 0.20  # share of the capacity at which a truck comes in
Action = Callable[[datetime], None]
Place = dict[str, str]


@dataclass
class PoolBattery:
    """A battery as it goes round."""

    tag: str
    plate: Battery
    cells: Cells
    charge: float = 1.0
    doing: str = "charged"  # in use | waiting | charging | charged
    rested_at: datetime = LONG_AGO
    charged_at: datetime = LONG_AGO
    equalized_at: datetime = LONG_AGO
    held: bool = False
    in_reserve: bool = False  # charged and rested, but not to be taken
    warmth: float = 20.0
    bay: PoolCharger | None = None
    cycles_since_water: float = 0.0
    last_round: datetime = LONG_AGO
    age_years: float = 3.0


@dataclass
class PoolCharger:
    """A charger in its bay; ``battery`` is what stands there, on charge or not."""

    tag: str
    plate: Charger
    shows_ah: bool = False
    battery: PoolBattery | None = None


@dataclass
class PoolTruck:
    """A truck; ``fits`` are the batteries that fit it."""

    tag: str
    plate: Truck
    fits: list[PoolBattery]
    battery: PoolBattery
    need: float  # mean share of the capacity used in a shift
    hours: float
    in_the_cold: bool = False
    verdicts: Mapping[str, dict[str, Any]] = field(default_factory=dict)


class Pool:
    """Trucks, batteries and chargers, and a queue of what comes next."""

    def __init__(
        self,
        batteries: list[PoolBattery],
        trucks: list[PoolTruck],
        chargers: list[PoolCharger],
        stand: str,
        random: Random,
        start: datetime,
    ) -> None:
        self.batteries, self.trucks, self.chargers = batteries, trucks, chargers
        self.stand: Place = {"kind": "stand", "name": stand}
        self.random, self.start = random, start
        self.log: list[Happening] = []
        self._queue: list[tuple[datetime, int, Action]] = []
        self._order = 0
        self._bays = {
            battery.tag: [bay for bay in chargers if _charges(bay.plate, battery.plate)]
            for battery in batteries
        }

    def at(self, moment: datetime, action: Action) -> None:
        """Has ``action`` done at ``moment``."""
        self._order += 1
        heapq.heappush(self._queue, (moment, self._order, action))

    def run(self, until: datetime) -> None:
        """Everything up to ``until``."""
        while self._queue and self._queue[0][0] <= until:
            moment, _, action = heapq.heappop(self._queue)
            action(moment)

    def say(
        self, at: datetime, by: str, kind: str, tags: tuple[str, ...], body: dict[str, Any],
        key: str = "", entered_after: int | None = None,
    ) -> None:  # fmt: skip
        """Adds an event to the log."""
        delay = self.random.randint(4, 90) if entered_after is None else entered_after
        self.log.append(Happening(at, by, kind, tags, body, key, delay))

    def day_begins(self, midnight: datetime) -> None:
        """Lets every truck that works today begin its shifts."""
        share = ((0.9, 0.75, 0.33), (0.5, 0.2, 0.04), (0.12, 0.08, 0.1))
        busy = share[max(0, midnight.weekday() - 4)]
        # The cold store is busiest before midsummer and at the year's end.
        season = 1.08 if midnight.month in (5, 6, 11, 12) else 0.97
        for hour, likely in zip(SHIFT_HOURS, busy, strict=True):
            for truck in self.trucks:
                if self.random.random() < likely * season:
                    begins = midnight + timedelta(hours=hour, minutes=self.random.uniform(0, 50))
                    self.at(begins, lambda now, truck=truck: self._shift(truck, now))  # type: ignore[misc]

    def settle(self, now: datetime) -> None:
        """The first morning: what stands where is written down as seen."""
        for truck in self.trucks:
            truck.battery.doing = "in use"
            self._seen(truck.battery, {"kind": "truck", "name": truck.tag}, now)
        for battery in self.batteries:
            if battery.doing != "in use":
                battery.rested_at = battery.charged_at = now
                self._seen(battery, self.stand, now)
                self._sit(battery, now)

    def place_of(self, battery: PoolBattery) -> Place:
        """Where it is."""
        for truck in self.trucks:
            if truck.battery is battery:
                return {"kind": "truck", "name": truck.tag}
        return {"kind": "charger", "name": battery.bay.tag} if battery.bay else self.stand

    def ready(self, battery: PoolBattery, now: datetime) -> bool:
        """Charged, rested, not held, not in a truck."""
        return battery.doing == "charged" and battery.rested_at <= now and not battery.held

    def attendant(self, now: datetime) -> str:
        """Who is on shift."""
        return self.random.choice(ATTENDANTS[_shift_of(now)])

    def supervisor(self, now: datetime) -> str:
        """Who is in charge."""
        return SUPERVISORS[_shift_of(now)]

    def _seen(self, battery: PoolBattery, place: Place, now: datetime) -> None:
        tags = (battery.tag, place["name"]) if place["kind"] == "truck" else (battery.tag,)
        self.say(now, "SW", "seen_at", tags, {"battery": battery.tag, "place": place})

    def _sit(self, battery: PoolBattery, now: datetime) -> None:
        """Every battery on the stand gets a first recorded charge as bays come free."""
        battery.charge, battery.doing = 0.85, "waiting"
        bay = self._free_bay(battery, now)
        if bay is not None:
            bay.battery, battery.bay = battery, bay
            minutes = self.random.uniform(5, 55)
            self.at(now + timedelta(minutes=minutes), lambda at: self._start(battery, bay, at))

    def discharged(self, battery: PoolBattery, now: datetime) -> None:
        """It was discharged in a test, outside a truck, and is charged again."""
        battery.charge, battery.doing = 0.05, "waiting"
        bay = battery.bay or self._free_bay(battery, now)
        if bay is not None:
            bay.battery, battery.bay = battery, bay
            later = now + timedelta(minutes=self.random.uniform(5, 20))
            self.at(later, lambda at: self._start(battery, bay, at))

    # A shift of one truck

    def _shift(self, truck: PoolTruck, now: datetime, waited: int = 0) -> None:
        need = min(0.75, max(0.05, self.random.gauss(truck.need, 0.2 * truck.need)))
        if truck.battery.charge - need < DISCHARGED and not self._change(truck, now):
            if waited < 3:
                later = now + timedelta(minutes=self.random.uniform(40, 70))
                self.at(later, lambda at: self._shift(truck, at, waited + 1))
                return
            need = truck.battery.charge - 0.12
            if need < 0.1:
                return
        battery = truck.battery
        ends = now + timedelta(hours=self.random.uniform(5.8, 7.0))
        self.at(ends, lambda at: self._used(truck, battery, need, at))

    def _used(self, truck: PoolTruck, battery: PoolBattery, need: float, now: datetime) -> None:
        if truck.battery is not battery:
            return
        battery.charge = max(0.03, battery.charge - need)
        battery.warmth = self._room(now) + (-4 if truck.in_the_cold else 6) + 8 * need
        truck.hours += self.random.uniform(4.2, 6.1)

    def _change(self, truck: PoolTruck, now: datetime) -> bool:
        battery, release = self._next(truck, now)
        if battery is None:
            return False
        if release:
            self.say(
                now - timedelta(minutes=2), self.supervisor(now), "released", (battery.tag,),
                {"asset": battery.tag, "hold": None, "reason": release},
            )  # fmt: skip
        out, bay_left = truck.battery, battery.bay
        if bay_left is not None:
            bay_left.battery = battery.bay = None
        battery.doing, truck.battery = "in use", battery
        out.doing = "waiting"
        bay = self._free_bay(out, now)
        out_to = self.stand
        if bay is not None:
            bay.battery, out.bay = out, bay
            out_to = {"kind": "charger", "name": bay.tag}
            minutes = self.random.uniform(3, 12)
            self.at(now + timedelta(minutes=minutes), lambda at: self._start(out, bay, at))
        self._log_change(truck, battery, out, out_to, release, now)
        if bay_left is not None:
            self._fill_later(bay_left, now)
        return True

    def _next(self, truck: PoolTruck, now: datetime) -> tuple[PoolBattery | None, str]:
        """The battery rested longest; now and then another one, or one released unrested."""
        there = [battery for battery in truck.fits if battery.doing == "charged"]
        there = [battery for battery in there if not battery.held and not battery.in_reserve]
        rested = sorted((b for b in there if b.rested_at <= now), key=lambda b: b.rested_at)
        if rested:
            return (self.random.choice(rested) if self.random.random() < 0.08 else rested[0]), ""
        warm = sorted(there, key=lambda battery: battery.charged_at)
        if warm and now - warm[0].charged_at > timedelta(hours=2) and self.random.random() < 0.03:
            return warm[0], self.random.choice(RELEASE_REASONS)
        return None, ""

    def _log_change(
        self, truck: PoolTruck, battery: PoolBattery, out: PoolBattery, out_to: Place,
        release: str, now: datetime,
    ) -> None:  # fmt: skip
        gauge = self.random.random()
        used = 100 * (1 - out.charge)
        tags: tuple[str, ...] = (truck.tag, battery.tag, out.tag)
        tags = (*tags, out_to["name"]) if out_to["kind"] == "charger" else tags
        self.say(now, self.attendant(now), "changed", tags, {
            "truck": truck.tag,
            "battery_in": battery.tag,
            "battery_out": out.tag,
            "out_to": out_to,
            "verdict": truck.verdicts.get(battery.tag),
            "discharged_percent": 5 * round(used / 5) if gauge < 0.6 else None,
            "hours": round(truck.hours) if gauge > 0.45 else None,
            "release": release or None,
        })  # fmt: skip

    # Charging

    def _free_bay(self, battery: PoolBattery, now: datetime) -> PoolCharger | None:
        """An empty bay for it, or one whose battery is charged and can go to the stand."""
        bays = self._bays[battery.tag]
        empty = [bay for bay in bays if bay.battery is None]
        if empty:
            return self.random.choice(empty)
        done = [bay for bay in bays if bay.battery and bay.battery.doing == "charged"]
        if not done:
            return None
        bay = min(done, key=lambda bay: bay.battery.charged_at if bay.battery else now)
        self._to_stand(bay, now - timedelta(minutes=1))
        return bay

    def _to_stand(self, bay: PoolCharger, now: datetime) -> None:
        battery = bay.battery
        if battery is None:
            return
        bay.battery = battery.bay = None
        self.say(now, self.attendant(now), "moved", (battery.tag, bay.tag),
                 {"battery": battery.tag, "place": self.stand})  # fmt: skip

    def _start(self, battery: PoolBattery, bay: PoolCharger, now: datetime) -> None:
        # Weekly, at weekends if it can be: then nobody waits for the battery.
        since = now - battery.equalized_at
        weekend = now.weekday() >= 5
        equalize = battery.cells.watered and (
            (weekend and since > timedelta(days=4) and self.random.random() < 0.9)
            or (since > timedelta(days=6.5) and self.random.random() < 0.55)
        )
        discharged = 1 - battery.charge
        slower = 1 + 0.03 * battery.age_years
        hours = (0.8 + 8.6 * discharged) * slower * self.random.uniform(0.94, 1.06)
        hours += 2.5 if equalize else 0.0
        battery.doing = "charging"
        room = self._room(now)
        body: dict[str, Any] = {
            "battery": battery.tag,
            "charger": bay.tag,
            "charge_kind": "equalize" if equalize else "conventional",
        }
        if self.random.random() < 0.5:
            body["temperature"] = figure(battery.warmth + self.random.gauss(0, 0.8), "°C")
        if battery.cells.watered and self.random.random() < 0.2:
            gravity = battery.cells.gravity(now, battery.charge, battery.warmth, self.random)
            body["sg"] = figure(gravity, "SG", 3)
        self.say(now, self.attendant(now), "charge_started", (battery.tag, bay.tag), body)
        hot = max(battery.warmth, room) + 6 + 9 * discharged + 25 * (battery.cells.surplus - 0.12)
        hot = min(hot, HOTTEST)
        ends = now + timedelta(hours=hours)
        if equalize:
            battery.equalized_at = now
        self.at(ends, lambda at: self._end(battery, bay, discharged, hours, hot, equalize, at))

    def _end(
        self, battery: PoolBattery, bay: PoolCharger, discharged: float, hours: float,
        hot: float, equalize: bool, now: datetime,
    ) -> None:  # fmt: skip
        cells = battery.cells
        cells.charge(discharged, (now - self.start).days / 30.4, equalize)
        battery.charge, battery.doing, battery.warmth = 1.0, "charged", hot
        battery.charged_at, battery.rested_at = now, now + timedelta(hours=hours)
        battery.cycles_since_water += discharged / 0.8
        body: dict[str, Any] = {"battery": battery.tag}
        if self.random.random() < 0.5:
            body["temperature"] = figure(hot + self.random.gauss(0, 0.8), "°C")
        if cells.watered and self.random.random() < 0.15:
            body["sg"] = figure(cells.gravity(now, 1.0, hot, self.random), "SG", 3)
        if bay.shows_ah:
            returned = cells.capacity * discharged * (1 + cells.surplus)
            body["ah"] = figure(returned + (0.08 * cells.capacity if equalize else 0), "Ah")
        self.say(now, self.attendant(now), "charge_ended", (battery.tag, bay.tag), body)
        self._fill_later(bay, now)

    def _fill_later(self, bay: PoolCharger, now: datetime) -> None:
        minutes = self.random.uniform(5, 40)
        self.at(now + timedelta(minutes=minutes), lambda at: self._fill(bay, at))

    def _fill(self, bay: PoolCharger, now: datetime) -> None:
        """The battery that has waited longest on the stand goes on this charger."""
        waiting = [
            battery
            for battery in self.batteries
            if battery.doing == "waiting" and battery.bay is None and not battery.held
            and bay in self._bays[battery.tag]
        ]  # fmt: skip
        if not waiting or (bay.battery and bay.battery.doing != "charged"):
            return
        self._to_stand(bay, now - timedelta(minutes=1))
        battery = min(waiting, key=lambda battery: battery.charged_at)
        bay.battery, battery.bay = battery, bay
        self._start(battery, bay, now)

    def _room(self, now: datetime) -> float:
        """Temperature of the battery room, °C: cooler in January, warmer in July."""
        return 19 - 4 * abs((now.timetuple().tm_yday - 196) / 183) + self.random.gauss(0, 0.5)


def _shift_of(now: datetime) -> int:
    return 0 if 6 <= now.hour < 14 else 1 if 14 <= now.hour < 22 else 2


def _charges(charger: Charger, battery: Battery) -> bool:
    """Whether this charger is for this battery: all that its plate states agrees."""
    if not (charger.voltages and charger.capacity_min and charger.capacity_max):
        return False
    if not (charger.connector and charger.chemistries and charger.capacity_rate):
        return False
    if not (battery.voltage and battery.capacity and battery.connector and battery.chemistry):
        return False
    low, high = charger.capacity_min.value.exact(), charger.capacity_max.value.exact()
    return (
        battery.voltage.value in charger.voltages.value
        and low <= battery.capacity.value.exact() <= high
        and battery.connector.value == charger.connector.value
        and battery.chemistry.value in charger.chemistries.value
        and battery.capacity_rate is not None
        and battery.capacity_rate.value == charger.capacity_rate.value
    )
