"""The exchange between records through a real PostgreSQL, and many writers of one record.

    python tests/bench/bench_exchange.py records [--events N]   two records, beside bare COPY
    python tests/bench/bench_exchange.py nothing [--rows N]     “nothing new” at N rows, 500 sites
    python tests/bench/bench_exchange.py company [--sites N] [--days N] [--daily N]
    python tests/bench/bench_exchange.py writers [--writers N] [--changes N] [--catch-up N]
    python tests/bench/bench_exchange.py soak [--seconds N]

Run by hand, one at a time. The server runs with its defaults but for memory; fsync is on.
"""

from __future__ import annotations

import argparse
import os
import random
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

BENCH = Path(__file__).resolve().parent
sys.path[:0] = [str(BENCH), str(BENCH.parent / "exchange")]

import bench_record  # noqa: E402
from companies import Company  # noqa: E402
from postgres import Postgres  # noqa: E402
from tagkit.assets.tag import Kind  # noqa: E402
from tagkit.exchange.address import connect  # noqa: E402
from tagkit.exchange.layout import give_site, prepare  # noqa: E402
from tagkit.exchange.round import exchange, nothing_new  # noqa: E402
from tagkit.record.record import Record  # noqa: E402
from tagkit.record.verify import verify  # noqa: E402


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("what", choices=["records", "nothing", "company", "writers", "soak"])
    options.add_argument("--events", type=int, default=1_000_000)
    options.add_argument("--rows", type=int, default=20_000_000)
    options.add_argument("--sites", type=int, default=500)
    options.add_argument("--days", type=int, default=10)
    options.add_argument("--daily", type=int, default=100, help="events a site and day")
    options.add_argument("--writers", type=int, default=8)
    options.add_argument("--changes", type=int, default=2_000)
    options.add_argument("--catch-up", type=int, default=0, help="events received meanwhile")
    options.add_argument("--seconds", type=int, default=300)
    chosen = options.parse_args()
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    {
        "records": lambda: records(chosen.events),
        "nothing": lambda: nothing(chosen.rows, chosen.sites),
        "company": lambda: company(chosen.sites, chosen.days, chosen.daily),
        "writers": lambda: writers(chosen.writers, chosen.changes, chosen.catch_up),
        "soak": lambda: soak(chosen.seconds),
    }[chosen.what]()


@contextmanager
def server() -> Iterator[Postgres]:
    postgres = Postgres(fsync="on", shared_buffers="256MB", max_wal_size="4GB",
                        max_locks_per_transaction="4096")  # fmt: skip
    postgres.start()
    try:
        yield postgres
    finally:
        postgres.remove()


def row(what: str, value: str, more: str = "") -> None:
    print(f"{what:58} {value:>14} {more}", flush=True)


class Took:
    """Wall-clock and processor time of a block."""

    def __enter__(self) -> Took:
        self.wall, self.cpu = time.perf_counter(), time.process_time()
        return self

    def __exit__(self, *_: object) -> None:
        self.wall = time.perf_counter() - self.wall
        self.cpu = time.process_time() - self.cpu


def rate(what: str, count: int, took: Took) -> None:
    row(
        what,
        f"{count / took.wall:,.0f} /s",
        f"{took.wall:.1f} s, of it {took.cpu:.1f} s our processor",
    )


def records(events: int) -> None:
    with tempfile.TemporaryDirectory() as top, server() as postgres:
        folder = Path(top)
        bench_record.build(folder / "QM", min(10_000, events // 100), events)
        database = postgres.new_database()
        with connect(postgres.url(database)) as admin:
            prepare(admin)
            urls = {site: postgres.url(database, *give_site(admin, site, site))
                    for site in ("QM", "QB")}  # fmt: skip
        with Record.open(folder / "QM") as one, Record.create(folder / "QB", "QB") as other:
            tags = [state.tag for state in one.states()]
            with connect(urls["QM"]) as line, Took() as took:
                sent = exchange(one, line).sent
            rate(f"sent: {sent:,} events with topics", sent, took)
            with other.noting() as notes:
                notes.follow(tags)
            with connect(urls["QB"]) as line, Took() as took:
                got = exchange(other, line)
            assert (got.fetched, got.refused) == (sent, ()), got
            rate("fetched, verified and folded by the other", got.fetched, took)
            same = all(other.state(tag).to_json() == one.state(tag).to_json() for tag in tags)
            row("every asset the same in both", str(same))
            with connect(postgres.url(database)) as line:
                line.execute("CREATE TABLE bare (epoch text, sequence bigint, raw bytea, "
                             "signature bytea, PRIMARY KEY (epoch, sequence))")  # fmt: skip
                with Took() as took:
                    bare_copy(one, line)
                rate("  peer: bare COPY of the same rows, read from SQLite too", sent, took)
            with connect(urls["QB"]) as line:
                timed_nothing(other, line)


def bare_copy(record: Record, line: Any) -> None:
    (epoch,) = {head.epoch for head in record.heads()}
    statement = "COPY bare (epoch, sequence, raw, signature) FROM STDIN (FORMAT BINARY)"
    with line.cursor().copy(statement) as copy:
        copy.set_types(["text", "int8", "bytea", "bytea"])
        for sequence, raw, signature in record.notes().events(epoch, 0, -1):
            copy.write_row((epoch, sequence, raw, signature))


def timed_nothing(record: Record, line: Any) -> None:
    for what, action in (
        ("nothing new: the question alone", lambda: nothing_new(record, line)),
        ("nothing new: a whole exchange on an open line", lambda: exchange(record, line)),
    ):
        taken = []
        for _ in range(300):
            start = time.perf_counter()
            action()
            taken.append((time.perf_counter() - start) * 1e3)
        taken.sort()
        row(what, f"{statistics.median(taken):.2f} ms", f"p99 {taken[296]:.2f} ms")


def nothing(rows: int, sites: int) -> None:
    """Rows are made in the server: 120 bytes and one topic each, as only their number matters."""
    with tempfile.TemporaryDirectory() as top, server() as postgres:
        database = postgres.new_database()
        with connect(postgres.url(database)) as admin:
            prepare(admin)
            codes = [f"{chr(65 + n // 676)}{chr(65 + n // 26 % 26)}{chr(65 + n % 26)}"
                     for n in range(sites)]  # fmt: skip
            with Took() as took:
                own, *_ = [give_site(admin, code, code) for code in codes]
            row(f"{sites} site codes given out", f"{took.wall:.1f} s")
            with Took() as took:
                for code in codes:
                    fill(admin, code, rows // sites)
            rate(f"{rows:,} rows made in the server", rows, took)
            admin.execute("ANALYZE")
            size = admin.execute("SELECT pg_size_pretty(pg_database_size(current_database()))")
            row("size of the database", size.fetchone()[0])
        with Record.create(Path(top) / "site", codes[0]) as record:
            with record.writing("TS", "desk") as writing:
                for _ in range(110):
                    writing.append("registered", [writing.issue(Kind.BATTERY)], {"nameplate": {}})
            with connect(postgres.url(database, *own)) as line:
                with Took() as took:
                    exchange(record, line)
                row("first exchange of a site with 110 assets", f"{took.wall * 1e3:.0f} ms")
                exchange(record, line)
                timed_nothing(record, line)
                with record.writing("TS", "desk") as writing:
                    writing.append("registered", [writing.issue(Kind.BATTERY)], {"nameplate": {}})
                with Took() as took:
                    assert exchange(record, line).sent == 1
                row("one new event sent", f"{took.wall * 1e3:.1f} ms")
            with Took() as took, connect(postgres.url(database, *own)) as line:
                exchange(record, line)
            row(
                "nothing new, with a line of its own (password, no TLS)",
                f"{took.wall * 1e3:.1f} ms",
            )


def fill(admin: Any, code: str, count: int) -> None:
    name, epoch = code.lower(), f"epoch{code.lower()}"
    admin.execute(
        f"INSERT INTO tagkit.events_{name} (epoch, sequence, raw, signature) "
        f"SELECT '{epoch}', n, decode(repeat(md5(n::text), 4), 'hex'), "
        f"decode(repeat(md5(n::text), 4), 'hex') FROM generate_series(1, {count}) n"
    )
    admin.execute(
        f"INSERT INTO tagkit.topics_{name} (topic, epoch, sequence) SELECT 'B-{code}-' || n % 110, "
        f"'{epoch}', n FROM generate_series(1, {count}) n"
    )
    admin.execute(
        f"INSERT INTO tagkit.directory SELECT 'B-{code}-' || n, '{code}' FROM generate_series(0, 109) n"
    )
    admin.execute(f"INSERT INTO tagkit.heads VALUES ('{code}', '{epoch}', 'desk', '', {count}, '')")
    admin.execute(f"UPDATE tagkit.sites SET version = {count // 50} WHERE site = '{code}'")


def company(sites: int, days: int, daily: int) -> None:
    """Sites record, are offline for days and come back; batteries go from site to site."""
    chance, now = random.Random(1), [datetime(2026, 3, 2, tzinfo=UTC)]

    def clock() -> datetime:
        now[0] += timedelta(milliseconds=20)
        return now[0]

    codes = [f"{chr(65 + n // 26)}{chr(65 + n % 26)}" for n in range(sites)]
    taken: list[float] = []
    with tempfile.TemporaryDirectory() as top, server() as postgres, Took() as took:
        firm = Company(postgres, Path(top), clock, codes, fresh=True)
        away = dict.fromkeys(codes, 0)
        moved: set[str] = set()
        for day in range(days):
            for code in codes:
                firm.site(code)
                for _ in range(daily):
                    battery = chance.choice(firm.batteries[code])
                    firm.change(code, chance.choice(firm.trucks[code]), battery)
                if day and chance.random() < 0.3:
                    battery = chance.choice(firm.batteries[code])
                    firm.move(code, battery, f"site {chance.choice(codes)}", "elsewhere")
                    moved.add(battery)
                away[code] = chance.randint(1, 4) if chance.random() < 0.1 else away[code] - 1
                if away[code] <= 0:
                    start = time.perf_counter()
                    (done,) = firm.exchange(code)
                    taken.append(time.perf_counter() - start)
                    assert done.refused == ()
                    for tag in done.followed:
                        if tag in moved and chance.random() < 0.7:
                            firm.move(code, tag, "stand 1")
            now[0] += timedelta(days=1)
        firm.settle(*codes)
        different = 0
        for tag in moved:
            states = {s.to_json() for code in codes if (s := firm.records[code].state(tag))}
            different += len(states) != 1
        (count,) = firm.admin.execute("SELECT count(*) FROM tagkit.events").fetchone()
        grave = sum(len(firm.grave(code)) for code in codes)
        firm.close()
    taken.sort()
    row(f"{sites} sites, {days} days, {count:,} events", f"{took.wall:.0f} s")
    row("exchanges", f"{len(taken):,}", f"median {statistics.median(taken) * 1e3:.0f} ms, "
        f"longest {taken[-1] * 1e3:.0f} ms")  # fmt: skip
    row("batteries that went to another site", f"{len(moved):,}")
    row("  known differently by two sites in the end", f"{different}")
    row("grave findings of verify, all sites", f"{grave}")


WRITER = """
import random, sqlite3, sys, time
from pathlib import Path
from tagkit.record.record import Record
folder, number, changes, bare = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), sys.argv[4] == "bare"
chance, waits = random.Random(number), []
if bare:
    db = sqlite3.connect(folder + "/bare.db", isolation_level=None, timeout=10)
    db.execute("PRAGMA synchronous = FULL")
else:
    record = Record.open(Path(folder))
    batteries = [s.tag for s in record.states() if s.kind == "B"]
    trucks = [s.tag for s in record.states() if s.kind == "T"]
print("ready", flush=True)
sys.stdin.readline()
for _ in range(changes):
    start = time.perf_counter()
    if bare:
        db.execute("BEGIN IMMEDIATE")
        db.execute("INSERT INTO t (raw, signature) VALUES (?, ?)", (bytes(900), bytes(64)))
        db.execute("COMMIT")
    else:
        into = chance.choice(batteries)
        with record.writing("TS", f"bay {number}") as writing:
            writing.append("changed", [], {"truck": chance.choice(trucks), "battery_in": into})
    waits.append(time.perf_counter() - start)
print(" ".join(f"{wait:.6f}" for wait in waits), flush=True)
"""


def writers(count: int, changes: int, catch_up: int) -> None:
    with tempfile.TemporaryDirectory() as top:
        folder = Path(top) / "site"
        with Record.create(folder, "QM") as record, record.writing("TS", "desk") as writing:
            for kind, many in ((Kind.BATTERY, 60), (Kind.TRUCK, 26)):
                for _ in range(many):
                    writing.append("registered", [writing.issue(kind)], {"nameplate": {}})
        bare = sqlite3.connect(folder / "bare.db")
        bare.execute("PRAGMA journal_mode = WAL")
        bare.execute("CREATE TABLE t (n INTEGER PRIMARY KEY, raw BLOB, signature BLOB)")
        bare.close()
        feeder, stop = None, threading.Event()
        for what in ("bare", "record"):
            if what == "record" and catch_up:
                bench_record.build(Path(top) / "other", 1000, catch_up)
                feeder = threading.Thread(target=feed, args=(Path(top) / "other", folder, stop))
                feeder.start()
            waits = run_writers(folder, count, changes, what)
        stop.set()
        if feeder:
            feeder.join()
        with Record.open(folder) as record:
            there = sum(h.sequence - 1 for h in record.heads() if h.station.startswith("bay"))
        row("changes there, of those confirmed", f"{there:,}", f"of {len(waits):,}")
        grave = [one for one in verify(folder) if one.grave]
        row("grave findings of verify", str(len(grave)), str(grave[0]) if grave else "")


def run_writers(folder: Path, count: int, changes: int, what: str) -> list[float]:
    running = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(folder), str(number), str(changes), what],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
        )
        for number in range(count)
    ]  # fmt: skip
    for one in running:
        assert one.stdout and one.stdout.readline() == "ready\n"
    start = time.perf_counter()
    for one in running:
        assert one.stdin
        one.stdin.write("go\n")
        one.stdin.flush()
    told = [one.communicate() for one in running]
    took = time.perf_counter() - start
    errors = [error for _, error in told if error]
    waits = sorted(float(word) for said, _ in told for word in said.split())
    name = "bare SQLite commits of one row" if what == "bare" else "changes, signed and folded"
    row(f"{count} writers × {changes:,}: {name}", f"{len(waits) / took:,.0f} /s",
        f"p50 {waits[len(waits) // 2] * 1e3:.1f} ms, p99 {waits[int(len(waits) * 0.99)] * 1e3:.0f}, "
        f"p99.9 {waits[int(len(waits) * 0.999)] * 1e3:.0f}, longest {waits[-1] * 1e3:.0f}")  # fmt: skip
    row(
        "  writers that were told of an error", str(len(errors)), errors[0][-200:] if errors else ""
    )
    return waits


def feed(source: Path, folder: Path, stop: threading.Event) -> None:
    with Record.open(source) as other, Record.open(folder) as record:
        batch, taken = [], 0
        for parcel in other.export():
            batch.append(parcel)
            if len(batch) == 2_000:
                taken += record.receive(batch).taken
                batch = []
            if stop.is_set():
                break
        row("events caught up meanwhile", f"{taken:,}")


def soak(seconds: int) -> None:
    """Ten stations record, look up, exchange and back up; memory is read meanwhile."""
    with tempfile.TemporaryDirectory() as top, server() as postgres:
        company = Company(postgres, Path(top), lambda: datetime.now(UTC), ("QM", "QB"), fresh=True)
        company.site("QM"), company.site("QB")
        tags, trucks = company.batteries["QM"], company.trucks["QM"]
        stop, errors, done = threading.Event(), [], [0] * 10
        from tagkit.record.backup import backup

        def station(number: int) -> None:
            chance = random.Random(number)
            try:
                with Record.open(Path(top) / "QM") as record:
                    while not stop.is_set():
                        tag = chance.choice(tags)
                        with record.writing("TS", f"bay {number}") as writing:
                            body = {"truck": chance.choice(trucks), "battery_in": tag}
                            writing.append("changed", [], body)
                        record.state(tag), record.timeline(tag, 20), record.held_by(trucks[0])
                        done[number] += 1
                        stop.wait(chance.uniform(0, 0.1))
            except Exception as error:  # noqa: BLE001 - told at the end
                errors.append(error)

        def keeper() -> None:
            try:
                with (Record.open(Path(top) / "QM") as record,
                      connect(company.addresses["QM"]) as line):  # fmt: skip
                    while not stop.is_set():
                        exchange(record, line)
                        backup(record, Path(top) / "night.tagkit", force=True)
                        stop.wait(1)
            except Exception as error:  # noqa: BLE001
                errors.append(error)

        threads = [threading.Thread(target=station, args=(n,)) for n in range(10)]
        threads.append(threading.Thread(target=keeper))
        for thread in threads:
            thread.start()
        memory = []
        end = time.monotonic() + seconds
        while time.monotonic() < end and not errors:
            time.sleep(seconds / 20)
            memory.append(resident())
        stop.set()
        for thread in threads:
            thread.join()
        row(f"{sum(done):,} changes by ten stations in {seconds} s, errors", str(len(errors)),
            str(errors[:1]))  # fmt: skip
        row("memory after a quarter, and at the end", f"{memory[len(memory) // 4]:.0f} MB",
            f"{memory[-1]:.0f} MB")  # fmt: skip
        company.settle("QM", "QB")
        row("grave findings of verify", str(len(company.grave("QM"))))
        company.close()


def resident() -> float:
    import psutil

    return float(psutil.Process().memory_info().rss) / 1e6


if __name__ == "__main__":
    main()
