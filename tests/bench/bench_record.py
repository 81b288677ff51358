"""How fast the record answers and how fast it writes, beside bare SQLite.

    python tests/bench/bench_record.py [--assets N] [--events N] [--folder DIR]

Prints a table. With the default 10,000 assets and 1,000,000 events building the record takes
some minutes; ``--folder`` keeps it for the next run.
"""

from __future__ import annotations

import argparse
import contextlib
import random
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tagkit.assets.tag import Kind
from tagkit.record.record import Record

BATCH = 20_000


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--assets", type=int, default=10_000)
    options.add_argument("--events", type=int, default=1_000_000)
    options.add_argument("--folder", type=Path)
    chosen = options.parse_args()
    print(f"{'what':58} {'median':>10} {'p99':>10} {'p99.9':>10}")
    with contextlib.ExitStack() as stack:
        folder = chosen.folder
        if folder is None:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        history(folder.parent / f"{folder.name}-history")
        if not (folder / "record.db").exists():
            build(folder, chosen.assets, chosen.events)
        record = stack.enter_context(Record.open(folder))
        look_ups(record)
        durable_changes(record)
        cold_start(folder, record)


class History:
    """A clock and a fleet whose batteries go round for as long as is asked."""

    def __init__(self) -> None:
        self.now = datetime(2025, 1, 1, tzinfo=UTC)

    def clock(self) -> datetime:
        self.now += timedelta(milliseconds=250)
        return self.now

    def fleet(self, record: Record, assets: int) -> tuple[list[str], list[str], list[str]]:
        with record.writing("TS", "desk") as writing:
            given = {
                kind: [str(writing.issue(kind)) for _ in range(max(2, int(assets * share)))]
                for kind, share in ((Kind.BATTERY, 0.6), (Kind.TRUCK, 0.25), (Kind.CHARGER, 0.15))
            }
            for kind, tags in given.items():
                for number, tag in enumerate(tags):
                    serial = {"value": f"{kind.value}{number:06}", "source": "stamped"}
                    weight = {"value": "1111", "unit": "kg", "source": "stamped"}
                    plate = {"maker_serial": serial, "weight": weight}
                    writing.append("registered", [tag], {"nameplate": plate})
        return given[Kind.BATTERY], given[Kind.TRUCK], given[Kind.CHARGER]

    def events(
        self, batteries: list[str], trucks: list[str], chargers: list[str]
    ) -> Iterator[tuple[str, list[str], dict[str, object]]]:
        chance = random.Random(1)
        # A tenth of the batteries has most of the events, as readings do.
        busy = batteries[: max(1, len(batteries) // 100)]
        while True:
            into, out = chance.sample(batteries, 2)
            charger = chance.choice(chargers)
            to = {"kind": "charger", "name": charger}
            change = {"truck": chance.choice(trucks), "battery_in": into, "battery_out": out}
            yield "changed", [], change | {"out_to": to, "discharged_percent": 70}
            charge = {"battery": out, "charger": charger, "charge_kind": "conventional"}
            yield "charge_started", [], charge
            yield "charge_ended", [], {"battery": out}
            yield "watered", [chance.choice(busy)], {"litres": 4}


def build(folder: Path, assets: int, events: int) -> float:
    """Writes a history; gives microseconds for each event."""
    history = History()
    start, worked = time.perf_counter(), time.process_time()
    with Record.create(folder, "QM", clock=history.clock) as record:
        plan = history.events(*history.fleet(record, assets))
        left = events - assets
        while left > 0:
            with record.writing("TS", "desk") as writing:
                for _ in range(min(left, BATCH)):
                    writing.append(*next(plan))
            left -= BATCH
    took, worked = time.perf_counter() - start, time.process_time() - worked
    what = f"history written: {events:,} events, {assets:,} assets"
    print(f"{what:58} {took:8.1f} s, of it {worked:.1f} s of processor", flush=True)
    return took / events * 1e6


def history(folder: Path) -> None:
    """A year of the demo's depot in one writing."""
    with tempfile.TemporaryDirectory() as top:
        took = build(Path(top) / folder.name, 110, 50_000)
    print(f"{'  each of them':58} {took:7.0f} µs")


def timed(what: str, action: Callable[[], object], times: int, unit: float = 1e3) -> float:
    """Prints median, p99 and p99.9 in ms; gives the median."""
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        action()
        taken.append(time.perf_counter() - start)
    taken.sort()
    median = statistics.median(taken)
    figures = (median, taken[int(len(taken) * 0.99)], taken[int(len(taken) * 0.999)])
    print(f"{what:58}" + "".join(f" {figure * unit:7.3f} ms" for figure in figures), flush=True)
    return median


def look_ups(record: Record) -> None:
    events = sum(head.sequence for head in record.heads())
    tags = [state.tag for state in record.states()]
    trucks = [tag for tag in tags if tag[0] == "T"]
    busiest = max(record.states(Kind.BATTERY), key=lambda state: state.events)
    scale = f"{events:,} events"
    timed(f"where is it ({scale})", lambda: record.state(random.choice(tags)), 5000)
    timed("what is in this truck", lambda: record.held_by(random.choice(trucks)), 5000)
    timed(f"where is it (asset with {busiest.events:,} events)",
          lambda: record.state(busiest.tag), 2000)  # fmt: skip
    timed("the last 20 events of that one", lambda: record.timeline(busiest.tag, 20), 2000)
    bare = sqlite3.connect(record.path)
    sql = "SELECT state FROM assets WHERE tag = ?"
    timed("  peer: bare SQLite, one indexed row, not read out",
          lambda: bare.execute(sql, (random.choice(tags),)).fetchone(), 5000)  # fmt: skip
    bare.close()


def durable_changes(record: Record) -> None:
    """Taken in turns, so that both meet the same disk."""
    batteries = [state.tag for state in record.states(Kind.BATTERY)]
    trucks = [state.tag for state in record.states(Kind.TRUCK)]
    with tempfile.TemporaryDirectory(dir=record.directory) as top:
        bare = sqlite3.connect(Path(top) / "bare.db", isolation_level=None)
        bare.execute("PRAGMA journal_mode = WAL")
        bare.execute("PRAGMA synchronous = FULL")
        bare.execute("CREATE TABLE t (n INTEGER PRIMARY KEY, raw BLOB, signature BLOB)")

        def commit() -> None:
            bare.execute("BEGIN IMMEDIATE")
            bare.execute("INSERT INTO t (raw, signature) VALUES (?, ?)", (bytes(900), bytes(64)))
            bare.execute("COMMIT")

        def change() -> None:
            into, out = random.sample(batteries, 2)
            seen = {tag: state.last_event for tag in (into, out) if (state := record.state(tag))}
            body = {"truck": random.choice(trucks), "battery_in": into, "battery_out": out}
            with record.writing("TS", "bay 1") as writing:
                writing.append("changed", [], body, seen)

        change()
        taken: dict[str, list[float]] = {"change": [], "bare": []}
        for _ in range(1500):
            for name, action in (("change", change), ("bare", commit)):
                start = time.perf_counter()
                action()
                taken[name].append(time.perf_counter() - start)
        bare.close()
    for name, what in (
        ("change", "a durable logged change, signed, folded"),
        ("bare", "  peer: bare SQLite commit of one row, same settings"),
    ):
        ordered = sorted(taken[name])
        figures = (ordered[750], ordered[1485], ordered[1498])
        print(f"{what:58}" + "".join(f" {figure * 1e3:7.3f} ms" for figure in figures))
    ratio = statistics.median(taken["change"]) / statistics.median(taken["bare"])
    print(f"{'  ratio of the medians':58} {ratio:7.2f}")


def cold_start(folder: Path, record: Record) -> None:
    tag = next(record.states()).tag
    look = (
        "from pathlib import Path\nfrom tagkit.record.record import Record\n"
        f"Record.open(Path({str(folder)!r})).state({tag!r})"
    )
    for what, program in (
        ("new process: import, open, look up", look),
        ("  peer: new process, python alone with sqlite3", "import sqlite3"),
    ):
        timed(what, lambda program=program: subprocess.run(
            [sys.executable, "-c", program], check=True), 30)  # fmt: skip


if __name__ == "__main__":
    main()
