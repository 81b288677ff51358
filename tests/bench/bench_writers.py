"""Many writers of one record beside bare commits, and ten stations for minutes.

    python tests/bench/bench_writers.py writers [--writers N] [--changes N] [--sync MS]
    python tests/bench/bench_writers.py catching-up [--events N] [--pause MS] [--folder DIR]
    python tests/bench/bench_writers.py holds [--events N]
    python tests/bench/bench_writers.py soak [--seconds N]

Run by hand, one at a time. ``--sync`` lets each sync to the disk take so much longer, for all of
them alike (on Linux, with a C compiler): bare commits wait for little else. For catching up, a
record with so many late events is made (four minutes for a million; ``--folder`` keeps it) and
received while the writers go on. The soak needs a PostgreSQL, as the exchange goes on meanwhile.
"""

from __future__ import annotations

import argparse
import contextlib
import itertools
import os
import random
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import psutil

BENCH = Path(__file__).resolve().parent
sys.path[:0] = [str(BENCH), str(BENCH.parent / "exchange")]

import bench_record  # noqa: E402
from bench_exchange import row, server  # noqa: E402
from companies import Company  # noqa: E402
from tagkit.assets.tag import Kind  # noqa: E402
from tagkit.exchange.address import connect  # noqa: E402
from tagkit.exchange.asking import WINDOW  # noqa: E402
from tagkit.exchange.round import exchange  # noqa: E402
from tagkit.record.backup import backup  # noqa: E402
from tagkit.record.record import Record  # noqa: E402
from tagkit.record.verify import verify  # noqa: E402


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("what", choices=["writers", "catching-up", "holds", "soak"])
    options.add_argument("--writers", type=int, default=8)
    options.add_argument("--changes", type=int, default=2_000)
    options.add_argument("--sync", type=float, default=0, help="ms that a sync takes longer")
    options.add_argument("--events", type=int, default=1_000_000, help="caught up")
    options.add_argument("--pause", type=float, default=0, help="ms between changes, on average")
    options.add_argument("--longest", type=float, default=1500, help="seconds of catching up")
    options.add_argument("--folder", type=Path, help="where the late events are kept")
    options.add_argument("--seconds", type=int, default=300)
    chosen = options.parse_args()
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    if chosen.what == "writers":
        with slower_syncs(chosen.sync):
            writers(chosen.writers, chosen.changes)
    elif chosen.what == "catching-up":
        catching_up(chosen)
    elif chosen.what == "holds":
        holds(min(chosen.events, 20_000))
    else:
        soak(chosen.seconds)


WRITER = """
import random, sqlite3, sys, time
from pathlib import Path
from tagkit.record.queue import Queue
from tagkit.record.record import Record
from tagkit.record.store import begin
from tagkit.record.tidying import Tidying
folder, number, changes, what = sys.argv[1], int(sys.argv[2]), int(sys.argv[3]), sys.argv[4]
pause = float(sys.argv[5]) / 1000
bare, path = what != "record", Path(folder) / "bare.db"
chance, waits = random.Random(number), []
if bare:
    db = sqlite3.connect(folder + "/bare.db", isolation_level=None, timeout=10)
    db.execute("PRAGMA synchronous = FULL")
    queue, tidying = Queue(path), Tidying(path, db if what == "queued" else None)
else:
    record = Record.open(Path(folder))
    batteries = [s.tag for s in record.states() if s.kind == "B"]
    trucks = [s.tag for s in record.states() if s.kind == "T"]
if what == "rows":
    db = sqlite3.connect(folder + "/record.db", isolation_level=None, timeout=10)
    db.execute("PRAGMA synchronous = FULL")
    path = Path(folder) / "record.db"
    queue, tidying = Queue(path), Tidying(path, db)
    state = {tag: text for tag, text in db.execute("SELECT tag, state FROM assets")}
    batteries, trucks = ([tag for tag in state if tag[0] == kind] for kind in "BT")
def rows(done):
    # What a change writes: an event, its place under its assets, their states, the chain's end.
    into, truck, n = chance.choice(batteries), chance.choice(trucks), done * 64 + number + 1000
    clock = time.time_ns() * 2**16 // 10**6
    db.execute("INSERT INTO events VALUES (?, ?, ?, 'changed', ?, ?, 0, ?, ?)",
        (n, number + 1000, done, clock, clock, bytes(600), bytes(64)))
    db.execute("INSERT INTO event_tags VALUES (?, ?, ?, ?), (?, ?, ?, ?)",
        (into, clock, clock, n, truck, clock, clock, n))
    db.execute("UPDATE assets SET effective = ?, clock = ?, place = ?, state = ? WHERE tag = ?",
        (clock, clock, truck, state[into], into))
    db.execute("UPDATE assets SET effective = ?, clock = ?, state = ? WHERE tag = ?",
        (clock, clock, state[truck], truck))
    db.execute("INSERT OR IGNORE INTO unjudged VALUES (?), (?)", (into, truck))
    db.execute("UPDATE chains SET head_sequence = ?, head_hash = ? WHERE chain = 1",
        (done, f"{n:064x}"))
print("ready", flush=True)
sys.stdin.readline()
while len(waits) < changes and not (Path(folder) / "stop").exists():
    if pause:
        time.sleep(chance.expovariate(1 / pause))
    start = time.perf_counter()
    if bare:
        begin(db, queue) if what != "bare" else db.execute("BEGIN IMMEDIATE")
        if what == "rows":
            rows(len(waits) + 1)
        else:
            db.execute("INSERT INTO t (raw, signature) VALUES (?, ?)", (bytes(900), bytes(64)))
        db.execute("COMMIT")
        if what != "bare":
            queue.leave()
        tidying.committed()
    else:
        into = chance.choice(batteries)
        with record.writing("TS", f"bay {number}") as writing:
            writing.append("changed", [], {"truck": chance.choice(trucks), "battery_in": into})
    waits.append(time.perf_counter() - start)
print(" ".join(f"{wait:.6f}" for wait in waits), flush=True)
"""


SLOW_SYNC = """
#define _GNU_SOURCE
#include <dlfcn.h>
#include <time.h>
static int slowly(int file, const char *name) {
    struct timespec most = {0, NANOSECONDS};
    nanosleep(&most, 0);
    return ((int (*)(int)) dlsym(RTLD_NEXT, name))(file);
}
int fsync(int file) { return slowly(file, "fsync"); }
int fdatasync(int file) { return slowly(file, "fdatasync"); }
"""


@contextlib.contextmanager
def slower_syncs(milliseconds: float) -> Iterator[None]:
    """Whatever is run meanwhile waits so much longer for the disk at each sync."""
    if not milliseconds:
        yield
        return
    with tempfile.TemporaryDirectory() as top:
        source, library = Path(top) / "slow.c", Path(top) / "slow.so"
        source.write_text(SLOW_SYNC.replace("NANOSECONDS", str(int(milliseconds * 1e6))))
        subprocess.run(["cc", "-shared", "-fPIC", "-o", library, source, "-ldl"], check=True)
        os.environ["LD_PRELOAD"] = str(library)
        try:
            row("each sync to the disk takes longer by", f"{milliseconds:g} ms")
            yield
        finally:
            del os.environ["LD_PRELOAD"]


def writers(count: int, changes: int) -> None:
    with tempfile.TemporaryDirectory() as top:
        folder, rows = new_site(Path(top)), new_site(Path(top) / "rows")
        for what in ("bare", "queued"):
            run_writers(folder, count, changes, what)
        run_writers(rows, count, changes, "rows")
        check(folder, len(run_writers(folder, count, changes, "record")))


def catching_up(chosen: argparse.Namespace) -> None:
    with tempfile.TemporaryDirectory() as top:
        source, folder = chosen.folder or Path(top) / "other", new_site(Path(top))
        if not (source / "record.db").exists():
            bench_record.build(source, 1000, chosen.events)
        feeder = threading.Thread(target=feed, args=(source, folder, chosen.events, chosen.longest))
        feeder.start()
        waits = run_writers(folder, chosen.writers, 10**9, "record", chosen.pause)
        feeder.join()
        print(f"load {os.getloadavg()[0]:.1f} at the end")
        check(folder, len(waits))


def new_site(top: Path) -> Path:
    folder = top / "site"
    with Record.create(folder, "QM") as record, record.writing("TS", "desk") as writing:
        for kind, many in ((Kind.BATTERY, 60), (Kind.TRUCK, 26)):
            for _ in range(many):
                writing.append("registered", [writing.issue(kind)], {"nameplate": {}})
    with contextlib.closing(sqlite3.connect(folder / "bare.db")) as bare:
        bare.execute("PRAGMA journal_mode = WAL")
        bare.execute("CREATE TABLE t (n INTEGER PRIMARY KEY, raw BLOB, signature BLOB)")
    return folder


def check(folder: Path, confirmed: int) -> None:
    with Record.open(folder) as record:
        there = sum(h.sequence - 1 for h in record.heads() if h.station.startswith("bay"))
    row("changes there, of those confirmed", f"{there:,}", f"of {confirmed:,}")
    grave = [one for one in verify(folder) if one.grave]
    row("grave findings of verify", str(len(grave)), str(grave[0]) if grave else "")


def run_writers(folder: Path, count: int, changes: int, what: str, pause: float = 0) -> list[float]:
    running = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(folder), str(number), str(changes), what,
             str(pause)],
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
    name = {
        "bare": "bare SQLite commits of one row",
        "queued": "the same, waiting in the record's queue",
        "rows": "all that a change writes, ready made, in that queue",
        "record": "changes, signed and folded",
    }[what]
    times = f" × {changes:,}" if changes < 10**9 else ""
    row(f"{count} writers{times}: {name}", f"{len(waits) / took:,.0f} /s",
        f"p50 {waits[len(waits) // 2] * 1e3:.1f} ms, p99 {waits[int(len(waits) * 0.99)] * 1e3:.0f}, "
        f"p99.9 {waits[int(len(waits) * 0.999)] * 1e3:.0f}, longest {waits[-1] * 1e3:.0f}")  # fmt: skip
    row(
        "  writers that were told of an error", str(len(errors)), errors[0][-200:] if errors else ""
    )
    return waits


def note_holds(record: Record, held: list[float], worked: list[float] | None = None) -> None:
    """Adds to ``held`` how long each transaction of the record holds the lock, in seconds; to
    ``worked`` how long it does before the commit, which waits for the disk."""
    transaction = record._transaction

    @contextlib.contextmanager
    def timed() -> Iterator[None]:
        with transaction():
            start = time.perf_counter()
            yield
            if worked is not None:
                worked.append(time.perf_counter() - start)
        held.append(time.perf_counter() - start)

    record._transaction = timed  # type: ignore[method-assign]


def holds(events: int) -> None:
    """How long others can't write while late events reach back behind so many of one asset, and
    while the record is rebuilt or folded by new rules."""
    with tempfile.TemporaryDirectory() as top:
        folder, now = new_site(Path(top)), datetime(2026, 1, 1, tzinfo=UTC)
        with Record.open(folder) as record:
            battery, truck = (str(next(record.states(kind)).tag) for kind in KINDS)
            with record.writing("TS", "bay 1") as writing:
                for _ in range(events):
                    writing.append("changed", [], {"truck": truck, "battery_in": battery})
            with Record.create(Path(top) / "other", "QB", clock=lambda: now) as other:
                with other.writing("TS", "desk") as writing:
                    for _ in range(300):
                        writing.append("watered", [battery], {})
                late = list(other.export())
            held: list[float] = []
            note_holds(record, held)

            def told(what: str) -> None:
                longest = f"longest {max(held, default=0) * 1e3:.1f} ms"
                row(f"{what}, asset of {events:,} events", f"{len(held)} holds", longest)
                held.clear()

            record.receive(late)
            told("300 late events received")
            record.rebuild()
            told("rebuilt, nothing to mend")
            record._connection.execute("UPDATE assets SET state = '{}' WHERE tag = ?", (battery,))
            record.rebuild()
            told("rebuilt, its state mended")
            record.fold_again()
            told("everything folded anew")
        row("grave findings of verify", str(sum(one.grave for one in verify(folder))))


KINDS = (Kind.BATTERY, Kind.TRUCK)


def feed(source: Path, folder: Path, events: int, longest: float) -> None:
    """Receives so many events, or for so long; then the writers are told to stop."""
    held: list[float] = []
    worked: list[float] = []
    with Record.open(source) as other, Record.open(folder) as record:
        note_holds(record, held, worked)
        start, taken, parcels = time.perf_counter(), 0, other.export()
        while taken < events and time.perf_counter() < start + longest:
            batch = list(itertools.islice(parcels, WINDOW))
            if not batch:
                break
            taken += record.receive(batch).taken
        took = time.perf_counter() - start
    (folder / "stop").touch()
    row("events caught up meanwhile", f"{taken:,}", f"{taken / took:,.0f} /s, {took:.0f} s")
    for what, times in (("", held), (", before the commit", worked)):
        times.sort()
        row(f"  the lock held by catching up{what}", f"{len(times):,} times",
            f"p50 {times[len(times) // 2] * 1e3:.0f} ms, p99 {times[int(len(times) * 0.99)] * 1e3:.0f}, "
            f"p99.9 {times[int(len(times) * 0.999)] * 1e3:.0f}, longest {times[-1] * 1e3:.0f}")  # fmt: skip


def soak(seconds: int) -> None:
    """Ten stations record, look up, exchange and back up; memory is read meanwhile."""
    with tempfile.TemporaryDirectory() as top, server() as postgres:
        company = Company(postgres, Path(top), lambda: datetime.now(UTC), ("QM", "QB"), fresh=True)
        company.site("QM"), company.site("QB")
        tags, trucks = company.batteries["QM"], company.trucks["QM"]
        stop, errors, done = threading.Event(), [], [0] * 10

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
    return float(psutil.Process().memory_info().rss) / 1e6


if __name__ == "__main__":
    main()
