"""The technicians' and the lead's year: rounds, water, cleaning, checks of the room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from tagkit.assets.room import Room
from tagkit.demo.pool import Pool, PoolBattery

ROUNDS_AT_ONCE = 4
PILOTS_AT_ONCE = 6
TESTED_FROM_YEARS = 3.0
WATERINGS_A_DAY = 8
CYCLES_BETWEEN_WATERINGS = 6.0


@dataclass(frozen=True)
class Equipment:
    """Room equipment as it is checked."""

    tag: str
    plate: Room


class Care:
    """What is done besides changing and charging; :meth:`day_begins` plans one day."""

    def __init__(self, pool: Pool, room: Sequence[Equipment]) -> None:
        self._pool, self._room = pool, room
        self._due = {
            item.tag: pool.start + timedelta(days=pool.random.uniform(0, _every(item)))
            for item in room
        }
        self._cleaned = {
            battery.tag: pool.start - timedelta(days=pool.random.uniform(0, 80))
            for battery in pool.batteries
        }
        self._piloted = {battery.tag: pool.start for battery in pool.batteries}
        self._tested = {
            battery.tag: pool.start - timedelta(days=pool.random.uniform(0, 330))
            for battery in pool.batteries
        }
        for battery in pool.batteries:
            battery.last_round = pool.start - timedelta(days=pool.random.uniform(0, 28))
            battery.cycles_since_water = pool.random.uniform(0, CYCLES_BETWEEN_WATERINGS)
        self._hydrometers = _tags_of(room, "hydrometer")
        self._meters = _tags_of(room, "meter")

    def day_begins(self, midnight: datetime) -> None:
        """Plans the day: water late in each shift of the week, rounds in the morning."""
        pool = self._pool
        if midnight.weekday() < 5:
            pool.at(midnight + timedelta(hours=8.5), self._rounds)
            pool.at(midnight + timedelta(hours=12.75), self._rounds)
            pool.at(midnight + timedelta(hours=18), self._rounds)
            pool.at(midnight + timedelta(hours=15), self._watering)
            pool.at(midnight + timedelta(hours=9.5), self._pilots)
            pool.at(midnight + timedelta(hours=11.5), self._cleaning)
            pool.at(midnight + timedelta(hours=16.5), self._cleaning)
            pool.at(midnight + timedelta(hours=19), self._pilots)
            pool.at(midnight + timedelta(hours=10), self._room_checks)
        if midnight.weekday() == 5:
            pool.at(midnight + timedelta(hours=9), self._capacity_tests)
        if midnight.weekday() in (1, 4):
            pool.at(midnight + timedelta(hours=7.5), self._walk)

    def _rounds(self, now: datetime) -> None:
        pool = self._pool
        due = [
            battery
            for battery in pool.batteries
            if pool.ready(battery, now) and now - battery.last_round > timedelta(days=26)
        ]
        due.sort(key=lambda battery: battery.last_round)
        for place, battery in enumerate(due[:ROUNDS_AT_ONCE]):
            self._read_cells(battery, now + timedelta(minutes=14 * place))

    def _pilots(self, now: datetime) -> None:
        """One cell of each, between two full rounds."""
        due = [
            battery
            for battery in self._pool.batteries
            if self._pool.ready(battery, now) and battery.cells.watered
            and now - max(battery.last_round, self._piloted[battery.tag]) > timedelta(days=12.5)
        ]  # fmt: skip
        due.sort(key=lambda battery: self._piloted[battery.tag])
        for place, battery in enumerate(due[:PILOTS_AT_ONCE]):
            self._piloted[battery.tag] = now
            self._read_cells(battery, now + timedelta(minutes=4 * place), pilot=True)

    def _capacity_tests(self, now: datetime) -> None:
        """On Saturdays one of the older batteries is discharged at its rate, then charged."""
        pool = self._pool
        due = [
            battery
            for battery in pool.batteries
            if pool.ready(battery, now) and not battery.in_reserve
            and _age(battery, now, pool.start) >= TESTED_FROM_YEARS
            and now - self._tested[battery.tag] > timedelta(days=330)
        ]  # fmt: skip
        for battery in sorted(due, key=lambda one: self._tested[one.tag])[:2]:
            self._tested[battery.tag] = now
            battery.doing = "on test"
            rate = battery.plate.capacity_rate.value if battery.plate.capacity_rate else 5
            aged = 103 - 2.4 * _age(battery, now, pool.start) + pool.random.gauss(0, 1.2)
            percent = round(min(102.0, aged))
            ends = now + timedelta(hours=rate * percent / 100)
            pool.at(ends, lambda at, one=battery, h=rate, p=percent: self._tested_to(one, h, p, at))  # type: ignore[misc]

    def _tested_to(self, battery: PoolBattery, hours: int, percent: int, now: datetime) -> None:
        pool, cells = self._pool, battery.cells
        pool.say(now, "PV", "capacity_tested", (battery.tag,), {
            "rate_hours": hours,
            "current": {"value": f"{cells.capacity / hours:.0f}", "unit": "A"},
            "minutes": round(60 * hours * percent / 100),
            "cut_off": {"value": f"{1.7 * cells.count:.1f}", "unit": "V"},
            "temperature": {"value": "30", "unit": "°C"},
            "percent_of_rated": percent,
            "life_over": percent < 80,
        })  # fmt: skip
        pool.discharged(battery, now)

    def _read_cells(self, battery: PoolBattery, now: datetime, pilot: bool = False) -> None:
        pool, random = self._pool, self._pool.random
        if not pilot:
            battery.last_round = now
        hours_rested = (now - battery.charged_at).total_seconds() / 3600
        warmth = 17 + (battery.warmth - 17) * 0.92**hours_rested
        cells = battery.cells
        body: dict[str, Any] = {
            "circumstances": "charged and rested",
            "hours_rested": round(hours_rested),
            "hydrometer": random.choice(self._hydrometers) if cells.watered else None,
            "meter": random.choice(self._meters),
            "temperature_unit": "°C",
            "voltage_unit": "V",
            "cells": cells.read(now, warmth, random),
        }
        if pilot:
            body |= {"extent": "pilot", "cells": body["cells"][:1]}
        by = "PV" if now.hour < 14 else "EH"
        pool.say(now, by, "cells_read", (battery.tag,), body, entered_after=random.randint(60, 600))

    def _watering(self, now: datetime) -> None:
        pool, random = self._pool, self._pool.random
        due = [
            battery
            for battery in pool.batteries
            if battery.cells.watered and battery.doing == "charged"
            and battery.cycles_since_water >= CYCLES_BETWEEN_WATERINGS
        ]  # fmt: skip
        due.sort(key=lambda battery: -battery.cycles_since_water)
        for place, battery in enumerate(due[:WATERINGS_A_DAY]):
            battery.cycles_since_water = 0.0
            by = "EH" if random.random() < 0.6 else pool.attendant(now)
            moment = now + timedelta(minutes=9 * place)
            pool.say(moment, by, "watered", (battery.tag,), battery.cells.water(random))

    def _cleaning(self, now: datetime) -> None:
        pool = self._pool
        due = [
            battery
            for battery in pool.batteries
            if pool.ready(battery, now) and now - self._cleaned[battery.tag] > timedelta(days=82)
        ]
        for place, battery in enumerate(due[:2]):
            self._cleaned[battery.tag] = now
            moment = now + timedelta(minutes=25 * place)
            pool.say(moment, "EH", "cleaned", (battery.tag,), {
                "with": "soda solution, rinsed, dried",
                "case_to_post_ohm": _required(battery) + 50 * pool.random.randint(0, 60),
            })  # fmt: skip
            pool.say(moment + timedelta(minutes=12), "EH", "inspected", (battery.tag,), {
                "what": "case, cable, connector, caps, label",
                "findings": [],
                "passed": True,
            })  # fmt: skip

    def _room_checks(self, now: datetime) -> None:
        pool = self._pool
        for place, item in enumerate(self._room):
            if self._due[item.tag] <= now:
                self._due[item.tag] = now + timedelta(days=_every(item))
                what = item.plate.check.value if item.plate.check else "checked"
                pool.say(now + timedelta(minutes=4 * place), "PV", "inspected", (item.tag,), {
                    "what": what, "findings": [], "passed": True,
                })  # fmt: skip

    def _walk(self, now: datetime) -> None:
        """The lead looks at one battery and writes down where it stands."""
        pool = self._pool
        battery = pool.random.choice(pool.batteries)
        place = pool.place_of(battery)
        tags = (battery.tag,) if place["kind"] == "stand" else (battery.tag, place["name"])
        pool.say(now, "SW", "seen_at", tags, {"battery": battery.tag, "place": place})


def _age(battery: PoolBattery, now: datetime, start: datetime) -> float:
    return battery.age_years + (now - start).days / 365.25


def _every(item: Equipment) -> int:
    return item.plate.check_every.value if item.plate.check_every else 30


def _required(battery: PoolBattery) -> int:
    """Ohm from case to post that its voltage asks for, with a little to spare."""
    volts = battery.plate.voltage.value.base() if battery.plate.voltage else 0.0
    return round(52 * volts)


def _tags_of(room: Sequence[Equipment], kind: str) -> list[str]:
    return [
        item.tag
        for item in room
        if item.plate.equipment is not None and item.plate.equipment.value == kind
    ]
