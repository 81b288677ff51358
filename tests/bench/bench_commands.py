"""How quickly commands answer. Run by hand:

    python tests/bench/bench_commands.py [--starts N] [--assets N] [--events N]

Two tables: whole processes from a cold interpreter, beside one that does nothing; and, within
one process, the verdict after the second number and the look-up, on a record of many assets.
"""

from __future__ import annotations

import argparse
import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tagkit.assets.tag import Kind, Tag
from tagkit.errors import Exit
from tagkit.jobs.fit import judge
from tagkit.jobs.judging import catch_up
from tagkit.jobs.site import Site, create_site, open_site
from tagkit.jobs.whereabouts import where_is
from tagkit.record.writing import Writing
from tagkit.settings import Settings


def percentile(figures: Sequence[float], share: float) -> float:
    return sorted(figures)[min(len(figures) - 1, int(share * len(figures)))]


class BenchClock:
    """Runs through a year while the record is written."""

    def __init__(self) -> None:
        self.now = datetime.now(UTC) - timedelta(days=365)

    def __call__(self) -> datetime:
        return self.now


def plate(kind: Kind, number: int) -> dict[str, object]:
    """A nameplate of 48 V with what the checks ask for."""

    def stated(value: object, unit: str = "", source: str = "stamped") -> dict[str, object]:
        return {"value": value, "source": source} | ({"unit": unit} if unit else {})

    if kind is Kind.TRUCK:
        return {
            "fleet_number": stated(f"T{number}"),
            "voltage": stated("48", "V"),
            "weight_min": stated("1000", "kg"),
            "weight_max": stated("1200", "kg"),
            "chemistries": stated(["vented"]),
            "compartment_length": stated("835", "mm"),
            "compartment_width": stated("635", "mm"),
            "compartment_height": stated("700", "mm"),
        }
    return {
        "maker_serial": stated(f"SN {number}"),
        "voltage": stated("48", "V"),
        "weight": stated(str(950 + number % 300), "kg"),
        "chemistry": stated("vented"),
        "length": stated("830", "mm"),
        "width": stated("630", "mm"),
        "height": stated("627", "mm"),
    }


def fleet(site: Site, assets: int) -> tuple[list[Tag], list[Tag]]:
    """A third trucks, the rest batteries."""
    trucks: list[Tag] = []
    batteries: list[Tag] = []
    with site.record.writing("TS", "desk") as writing:
        for number in range(assets):
            kind = Kind.TRUCK if number % 3 == 0 else Kind.BATTERY
            tag = writing.issue(kind)
            (trucks if kind is Kind.TRUCK else batteries).append(tag)
            body = {"nameplate": plate(kind, number), "as_stamped": True}
            writing.append("registered", [tag], body)
    return trucks, batteries


def use(writing: Writing, battery: Tag, truck: Tag) -> None:
    """A charge and a change: three events."""
    charge = {"battery": str(battery), "charge_kind": "conventional"}
    writing.append("charge_started", [battery], charge)
    writing.append("charge_ended", [battery], {"battery": str(battery)})
    body = {"truck": str(truck), "battery_in": str(battery)}
    writing.append("changed", [truck, battery], body)


def history(
    site: Site, clock: BenchClock, trucks: list[Tag], batteries: list[Tag], events: int
) -> None:
    """Half of the events on a few assets that are used without pause, half on all."""
    chance = random.Random(7)
    steps = events // 3
    pause = timedelta(days=360) / max(1, steps)
    for first in range(0, steps, 2000):
        with site.record.writing("KM", "bay-1") as writing:
            for number in range(first, min(first + 2000, steps)):
                busy = number % 2
                battery = chance.choice(batteries[:5] if busy else batteries)
                use(writing, battery, chance.choice(trucks[:3] if busy else trucks))
                clock.now += pause


def timed(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return (time.perf_counter() - begun) * 1000


def catch_up_with(folder: Path) -> None:
    """Judges the fleet, which the first of a day's questions would do."""
    with open_site(folder) as site:
        catch_up(site)


def processes(folder: Path, battery: Tag, truck: Tag, starts: int) -> None:
    """Whole processes, in turns, so that the machine's moods meet all of them."""
    commands = {
        "python -c pass": [sys.executable, "-c", "pass"],
        "tagkit --help": [sys.executable, "-m", "tagkit", "--help"],
        "tagkit where": [sys.executable, "-m", "tagkit", "where", str(battery), "--site", str(folder)],
        "tagkit next": [sys.executable, "-m", "tagkit", "next", str(truck), "--site", str(folder)],
        "tagkit today": [sys.executable, "-m", "tagkit", "today", "--site", str(folder)],
    }  # fmt: skip
    catch_up_with(folder)
    found: dict[str, list[float]] = {name: [] for name in commands}
    for turn in range(starts + 1):
        for name, command in commands.items():
            begun = time.perf_counter()
            ended = subprocess.run(
                command, check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
            took = (time.perf_counter() - begun) * 1000
            if ended.returncode not in (Exit.DONE, Exit.NOT_READY):
                raise SystemExit(f"{name} ended with {ended.returncode}")
            if turn:  # the first one fills the disk's cache
                found[name].append(took)
    print(f"\nCold start, {starts} whole processes each, seconds")
    print(f"{'':<18}{'median':>8}{'fastest':>9}{'slowest':>9}{'target':>8}")
    targets = {"tagkit --help": "0.25", "tagkit where": "0.40"}
    for name, figures in found.items():
        row = (statistics.median(figures), min(figures), max(figures))
        print(f"{name:<18}" + f"{row[0] / 1000:>8.3f}" + "".join(f"{one / 1000:>9.3f}" for one in row[1:])
              + f"{targets.get(name, ''):>8}")  # fmt: skip


def answers(site: Site, trucks: list[Tag], batteries: list[Tag]) -> None:
    """The verdict and the look-up, on assets at large and on the busiest."""
    chance = random.Random(11)
    print("\nWithin one process, milliseconds")
    print(f"{'':<34}{'p50':>8}{'p99':>8}{'slowest':>9}{'target p99':>12}")
    busy, used = batteries[:5], trucks[:3]

    def verdict(of: list[Tag], into: list[Tag]) -> Callable[[], object]:
        return lambda: judge(site, chance.choice(of), chance.choice(into))

    def where(of: list[Tag]) -> Callable[[], object]:
        return lambda: where_is(site, chance.choice(of))

    cases = (
        ("verdict, any battery and truck", 50, verdict(batteries, trucks)),
        ("verdict, the busiest", 50, verdict(busy, used)),
        ("where, any battery", 5, where(batteries)),
        ("where, the busiest", 5, where(busy)),
        ("where, any truck", 5, where(trucks)),
    )
    for name, target, work in cases:
        work()
        figures = [timed(work) for _ in range(2000)]
        row = (percentile(figures, 0.5), percentile(figures, 0.99), max(figures))
        print(f"{name:<34}{row[0]:>8.2f}{row[1]:>8.2f}{row[2]:>9.2f}{target:>12}")


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--starts", type=int, default=15)
    parser.add_argument("--assets", type=int, default=10_000)
    parser.add_argument("--events", type=int, default=100_000)
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        clock = BenchClock()
        directory = Path(folder) / "site"
        settings = replace(Settings(), site=replace(Settings().site, timezone="Etc/UTC"))
        with create_site(directory, "QM", settings, clock) as site:
            begun = time.perf_counter()
            trucks, batteries = fleet(site, given.assets)
            history(site, clock, trucks, batteries, given.events)
            clock.now = datetime.now(UTC)
            count = sum(head.sequence for head in site.record.heads())
            most = site.record.state(batteries[0])
            assert most is not None
            print(
                f"{given.assets:,} assets, {count:,} events (up to {most.events:,} on one battery), "
                f"written in {time.perf_counter() - begun:.0f} s; {os.cpu_count()} cores"
            )
            answers(site, trucks, batteries)
        processes(directory, batteries[0], trucks[0], given.starts)


if __name__ == "__main__":
    main()
