"""How fast the rotation and the morning list answer in a large fleet.

    python tests/bench/bench_care.py [--assets N] [--events N] [--folder DIR] [--times N]

Prints a table: the first judging of the whole fleet, then ``next`` and ``today`` while events go
on being recorded between the questions, beside reading every state, which is what they avoid.
With the default 10,000 assets and 1,000,000 events building the record takes some minutes;
``--folder`` keeps it for the next run.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.jobs.calendar import calendar_text
from tagkit.jobs.judging import catch_up
from tagkit.jobs.rotation import next_for
from tagkit.jobs.site import Site, create_site, open_site
from tagkit.jobs.today import today
from tagkit.settings import Settings

BATCH = 20_000
VOLTAGES = {24: (12, 465, 370), 36: (18, 700, 1000), 48: (24, 775, 1150), 80: (40, 930, 2300)}
"""Volts -> cells, Ah, kg."""


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--assets", type=int, default=10_000)
    options.add_argument("--events", type=int, default=1_000_000)
    options.add_argument("--times", type=int, default=400)
    options.add_argument("--folder", type=Path)
    chosen = options.parse_args()
    with contextlib.ExitStack() as stack:
        folder = chosen.folder
        if folder is None:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory())) / "site"
        if not (folder / "record.db").exists():
            build(folder, chosen.assets, chosen.events)
        depot = Depot(stack.enter_context(open_site(folder)))
        measure(depot, chosen.times)


class Clock:
    """Time goes on by the event, so that the whole history fits into a year."""

    def __init__(self, events: int) -> None:
        self.now = datetime.now(UTC) - timedelta(days=365)
        self.step = timedelta(days=364.9) / max(1, events)

    def __call__(self) -> datetime:
        self.now += self.step
        return self.now


class Fleet:
    """Tags by kind; batteries and trucks by voltage."""

    def __init__(self) -> None:
        self.batteries: dict[int, list[str]] = {volts: [] for volts in VOLTAGES}
        self.trucks: dict[int, list[str]] = {volts: [] for volts in VOLTAGES}
        self.chargers: dict[int, list[str]] = {volts: [] for volts in VOLTAGES}


def stamped(value: Any, unit: str | None = None) -> dict[str, Any]:
    fact = {"value": str(value) if unit else value, "source": "stamped"}
    return fact | ({"unit": unit} if unit else {})


def register(site: Site, assets: int) -> Fleet:
    fleet = Fleet()
    with site.record.writing("TS", "desk") as writing:
        for number in range(assets):
            volts = list(VOLTAGES)[number % 4]
            cells, capacity, weight = VOLTAGES[volts]
            share = number // 4 * 7 % 20  # the kinds alternate, so that a small fleet has all
            if share < 12:
                kind, there = Kind.BATTERY, fleet.batteries
                plate = {
                    "maker_serial": stamped(f"S{number}"), "voltage": stamped(volts, "V"),
                    "cells": stamped(cells), "capacity": stamped(capacity, "Ah"),
                    "capacity_rate": stamped(5), "chemistry": stamped("vented"),
                    "weight": stamped(weight + number % 7 * 10, "kg"),
                }  # fmt: skip
            elif share < 17:
                kind, there = Kind.TRUCK, fleet.trucks
                plate = {
                    "fleet_number": stamped(f"F{number}"), "voltage": stamped(volts, "V"),
                    "weight_min": stamped(weight - 5, "kg"),
                    "weight_max": stamped(weight + 45, "kg"),
                }  # fmt: skip
            else:
                kind, there = Kind.CHARGER, fleet.chargers
                plate = {"maker_serial": stamped(f"C{number}"), "bay": stamped(f"A{number}")}
            tag = str(writing.issue(kind))
            writing.append("registered", [tag], {"nameplate": plate, "as_stamped": True})
            there[volts].append(tag)
    return fleet


def happenings(fleet: Fleet) -> Iterator[tuple[str, list[str], dict[str, Any]]]:
    """Batteries go round: out of the truck, on charge, off charge, into another truck."""
    chance = random.Random(1)
    cells = Cells(fleet, chance)
    inside: dict[str, str] = {}
    while True:
        volts = chance.choice(list(VOLTAGES))
        truck = chance.choice(fleet.trucks[volts])
        battery, charger = (
            chance.choice(fleet.batteries[volts]),
            chance.choice(fleet.chargers[volts]),
        )
        out = inside.get(truck)
        if out == battery:
            continue
        body: dict[str, Any] = {"truck": truck, "battery_in": battery, "battery_out": out}
        if out:
            body |= {"out_to": {"kind": "charger", "name": charger}, "discharged_percent": 70}
        inside[truck] = battery
        yield "changed", [], body
        if out:
            yield "charge_started", [], {
                "battery": out, "charger": charger, "charge_kind": "conventional",
            }  # fmt: skip
            yield "charge_ended", [], {"battery": out, "temperature": {"value": "35", "unit": "°C"}}
            if chance.random() < 0.15:
                yield "watered", [out], {"litres": round(chance.uniform(2, 6), 1), "before": "low"}
            if chance.random() < 0.22:  # a round a month
                yield "cells_read", [out], cells_read(chance, cells, out)
            if chance.random() < 0.01:
                yield "inspected", [out], {"findings": ["cap missing"], "passed": True}


class Cells:
    """Each cell keeps its own small distance from the median for years, as real ones do; two in
    a hundred batteries have had their labels swapped in the middle of the year."""

    def __init__(self, fleet: Fleet, chance: random.Random) -> None:
        self.distances: dict[str, list[float]] = {}
        self.swapped: dict[str, str] = {}
        self.read: Counter[str] = Counter()
        for volts, batteries in fleet.batteries.items():
            cells = VOLTAGES[volts][0]
            for tag in batteries:
                self.distances[tag] = [chance.gauss(0, 0.004) for _ in range(cells)]
            some = chance.sample(batteries, len(batteries) // 100 * 2)
            for one, other in zip(some[::2], some[1::2], strict=True):
                self.swapped |= {one: other, other: one}

    def under(self, tag: str) -> list[float]:
        """The cells that are read under a number: from the fourth round on those of another."""
        self.read[tag] += 1
        late = self.read[tag] > 3
        return self.distances[self.swapped.get(tag, tag) if late else tag]


def cells_read(chance: random.Random, cells: Cells, battery: str) -> dict[str, Any]:
    return {
        "after_charge": True, "hours_rested": 8,
        "cells": [
            {"cell": cell, "sg": round(1.28 + own + chance.gauss(0, 0.0015), 4), "temperature": 22}
            for cell, own in enumerate(cells.under(battery), start=1)
        ],
    }  # fmt: skip


def build(folder: Path, assets: int, events: int) -> None:
    clock = Clock(events)
    start = time.perf_counter()
    with create_site(folder, "QM", Settings(), clock) as site:
        plan = happenings(register(site, assets))
        left = events - assets
        while left > 0:
            with site.record.writing("TS", "desk") as writing:
                for _ in range(min(left, BATCH)):
                    writing.append(*next(plan))
            left -= BATCH
    print(f"history written: {events:,} events, {assets:,} assets, "
          f"{time.perf_counter() - start:.0f} s", flush=True)  # fmt: skip


class Depot:
    """An opened site and what goes on in it."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self.chance = random.Random(2)
        states = list(site.record.states())
        self.trucks = [state.tag for state in states if state.kind == "T"]
        self.batteries = [state.tag for state in states if state.kind == "B"]
        self.events = sum(head.sequence for head in site.record.heads())

    def record(self, events: int) -> None:
        """Something happens to so many batteries."""
        with self.site.record.writing("TS", "bay 1") as writing:
            for battery in self.chance.sample(self.batteries, events):
                writing.append("watered", [battery], {"litres": 2.0})


def measure(depot: Depot, times: int) -> None:
    site, chance = depot.site, depot.chance
    print(
        f"{depot.events:,} events, {len(depot.batteries):,} batteries, {len(depot.trucks):,} trucks"
    )
    start, worked = time.perf_counter(), time.process_time()
    judged = catch_up(site)
    took, worked = time.perf_counter() - start, time.process_time() - worked
    print(
        f"judging what had changed before ({judged:,} assets): {took:.1f} s, of it {worked:.1f} s "
        "of processor",
        flush=True,
    )
    print(f"{'what':58} {'median':>10} {'p99':>10} {'processor p99':>14}")
    timed("next, any truck", lambda: next_for(site, chance.choice(depot.trucks)), times)
    timed("today", lambda: today(site), times)
    for events in (1, 30):

        def after(ask: Callable[[], object], events: int = events) -> Callable[[], object]:
            depot.record(events)
            return ask

        timed(f"next, {events} batteries touched since the last question", None, times // 4,
              lambda: after(lambda: next_for(site, chance.choice(depot.trucks))))  # fmt: skip
        timed(f"today, {events} batteries touched since the last question", None, times // 4,
              lambda: after(lambda: today(site)))  # fmt: skip
    timed("the calendar of due dates", lambda: calendar_text(site), 5)
    timed(
        "  peer: reading every battery's state", lambda: list(site.record.states(Kind.BATTERY)), 5
    )


def timed(
    what: str, ask: Callable[[], object] | None, times: int,
    prepare: Callable[[], Callable[[], object]] | None = None,
) -> None:  # fmt: skip
    taken, worked = [], []
    for _ in range(times):
        question = prepare() if prepare else ask
        assert question is not None
        start, work = time.perf_counter(), time.process_time()
        question()
        taken.append((time.perf_counter() - start) * 1e3)
        worked.append((time.process_time() - work) * 1e3)
    taken.sort()
    worked.sort()
    last = int(times * 0.99)
    print(f"{what:58} {taken[times // 2]:7.2f} ms {taken[last]:7.2f} ms {worked[last]:11.2f} ms",
          flush=True)  # fmt: skip


if __name__ == "__main__":
    main()
