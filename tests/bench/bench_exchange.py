"""The exchange between records through a real PostgreSQL.

    python tests/bench/bench_exchange.py records [--events N] [--kills N] [--folder DIR]
                                           two records, beside bare COPY; the one that fetches is
                                           killed so often, and goes on
    python tests/bench/bench_exchange.py nothing [--rows N] [--sites N] [--first] [--folder DIR]
                                           “nothing new” at so many rows

Run by hand, one at a time. The server runs with its defaults but for memory; fsync is on.
"""

from __future__ import annotations

import argparse
import os
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

BENCH = Path(__file__).resolve().parent
sys.path[:0] = [str(BENCH), str(BENCH.parent / "exchange")]

import bench_record  # noqa: E402
from postgres import Postgres  # noqa: E402
from tagkit.assets.tag import Kind  # noqa: E402
from tagkit.exchange.address import connect  # noqa: E402
from tagkit.exchange.layout import give_site, prepare  # noqa: E402
from tagkit.exchange.round import exchange, nothing_new  # noqa: E402
from tagkit.record.record import Record  # noqa: E402
from tagkit.record.verify import verify  # noqa: E402


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("what", choices=["records", "nothing", "fetch"])
    options.add_argument("--events", type=int, default=1_000_000)
    options.add_argument("--kills", type=int, default=4)
    options.add_argument("--folder", type=Path, help="keeps the record that is sent, or the "
                         "database that was filled, and uses it the next time")  # fmt: skip
    options.add_argument("--through", default="", help="of fetch: the address")
    options.add_argument("--first", action="store_true", help="of nothing: the question and its "
                         "answer come before all other work of the machine (Linux, root)")  # fmt: skip
    options.add_argument("--rows", type=int, default=20_000_000)
    options.add_argument("--sites", type=int, default=500)
    chosen = options.parse_args()
    if chosen.what == "fetch":
        return fetch(chosen.folder, chosen.through)
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    {
        "records": lambda: records(chosen.events, chosen.kills, chosen.folder),
        "nothing": lambda: nothing(chosen.rows, chosen.sites, chosen.first, chosen.folder),
    }[chosen.what]()
    return None


@contextmanager
def server(folder: Path | None = None, **more: str) -> Iterator[Postgres]:
    settings = {"fsync": "on", "shared_buffers": "256MB", "max_wal_size": "4GB",
                "max_locks_per_transaction": "4096", "max_connections": "700"}  # fmt: skip
    postgres = Postgres(folder, **(settings | more))
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


def records(events: int, kills: int, kept: Path | None) -> None:
    with tempfile.TemporaryDirectory() as top, server() as postgres:
        folder = Path(top)
        source = kept or folder / "QM"
        if not (source / "record.db").exists():
            bench_record.build(source, min(10_000, events // 100), events)
        database = postgres.new_database()
        with connect(postgres.url(database)) as admin:
            prepare(admin)
            urls = {site: postgres.url(database, *give_site(admin, site, site))
                    for site in ("QM", "QB")}  # fmt: skip
        with Record.open(source) as one:
            with one.noting() as notes:
                notes.ask_again()
            with connect(urls["QM"]) as line, Took() as took:
                sent = exchange(one, line).sent
            rate(f"sent: {sent:,} events with topics", sent, took)
            row("  most memory of the one that sends", f"{memory(os.getpid(), 'VmHWM'):,.0f} MB")
            with connect(postgres.url(database)) as line:
                sizes(line, sent)
            tags = [state.tag for state in one.states()]
            with Record.create(folder / "QB", "QB") as other, other.noting() as notes:
                notes.follow(tags)
            fetched(folder / "QB", urls["QB"], sent, kills)
            the_same(folder / "QB", one, sent)
            with connect(postgres.url(database)) as line:
                peer(one, line, sent)
            with Record.open(folder / "QB") as other, connect(urls["QB"]) as line:
                timed_nothing(other, line)


def fetch(folder: Path, through: str) -> None:
    """What the killed process does."""
    with Record.open(folder) as record, connect(through) as line:
        done = exchange(record, line)
    assert done.refused == (), done.refused[:3]
    print(f"{done.fetched} {done.already_here}", flush=True)


def fetched(folder: Path, through: str, events: int, kills: int) -> None:
    """Fetches in a process of its own, which is killed ``kills`` times at even shares."""
    command = [sys.executable, __file__, "fetch", "--folder", str(folder), "--through", through]
    processor, most, tail, start = 0.0, [], "", time.perf_counter()
    for share in range(1, kills + 2):
        limit = events * share // (kills + 1) if share <= kills else events * 2
        child = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        while (status := os.wait4(child.pid, os.WNOHANG))[0] == 0:
            most.append((counted(folder), memory(child.pid)))
            if most[-1][0] >= limit:
                child.kill()
                limit = events * 2
            time.sleep(0.5)
        processor += status[2].ru_utime + status[2].ru_stime
        tail = child.stdout.read() if child.stdout else ""
        if os.WIFSIGNALED(status[1]):
            row("  killed with so many events here", f"{counted(folder):,}")
        else:
            assert status[1] == 0, status
    took = time.perf_counter() - start
    row("fetched, verified and folded by the other", f"{events / took:,.0f} /s",
        f"{took:.1f} s, of it {processor:.1f} s our processor ({processor / events * 1e6:.0f} µs "
        f"an event), {kills} kills, load {os.getloadavg()[0]:.1f}")  # fmt: skip
    row("  the last of them fetched / had already", tail.strip())
    quarter = max((held for count, held in most if count <= events / 4), default=0)
    row("  most memory of the one that fetches", f"{max(held for _, held in most):,.0f} MB",
        f"{quarter:,.0f} MB in the first quarter")  # fmt: skip


def counted(folder: Path) -> int:
    """How many events a record holds, seen from outside."""
    with closing(sqlite3.connect(folder / "record.db")) as bare:
        return int(bare.execute("SELECT coalesce(max(n), 0) FROM events").fetchone()[0])


def memory(pid: int, what: str = "VmRSS") -> float:
    """MB that a process holds in memory (Linux)."""
    with suppress(OSError):
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith(what):
                return int(line.split()[1]) / 1024
    return 0.0


def the_same(folder: Path, one: Record, events: int) -> None:
    """Nothing missing, nothing twice, every state as there, verify clean."""
    with Record.open(folder) as other:
        (head,) = [head for head in other.heads() if head.site == one.site]
        assert [head] == one.heads(), head
        different = sum(
            (known := other.state(state.tag)) is None or known.to_json() != state.to_json()
            for state in one.states()
        )
    with closing(sqlite3.connect(folder / "record.db")) as bare:
        count, places = bare.execute(
            "SELECT count(*), count(DISTINCT sequence) FROM events"
        ).fetchone()
    row("events missing / twice", f"{events - places} / {count - places}")
    row("assets known differently by the two", f"{different}")
    with Took() as took:
        grave = [found for found in verify(folder) if found.grave]
    row("grave findings of verify", f"{len(grave)}", f"{took.cpu:.0f} s of processor")


def peer(one: Record, line: Any, sent: int) -> None:
    line.execute("CREATE TABLE bare (epoch text, sequence bigint, raw bytea, "
                 "signature bytea, PRIMARY KEY (epoch, sequence))")  # fmt: skip
    with Took() as took:
        bare_copy(one, line)
    rate("  peer: bare COPY of the same rows, read from SQLite too", sent, took)


def sizes(line: Any, events: int) -> None:
    """What an event takes in the database: the row, the indexes, the topics."""
    for what, tables, measure in (
        ("its row", "events", "pg_table_size"),
        ("the index of events", "events", "pg_indexes_size"),
        ("its topics", "topics", "pg_table_size"),
        ("the index of topics", "topics", "pg_indexes_size"),
    ):
        (size,) = line.execute(
            f"SELECT sum({measure}(inhrelid)) FROM pg_inherits "
            f"WHERE inhparent = 'tagkit.{tables}'::regclass"
        ).fetchone()
        row(f"  size of an event: {what}", f"{size / events:,.0f} B")


def bare_copy(record: Record, line: Any) -> None:
    (epoch,) = {head.epoch for head in record.heads()}
    statement = "COPY bare (epoch, sequence, raw, signature) FROM STDIN (FORMAT BINARY)"
    with line.cursor().copy(statement) as copy:
        copy.set_types(["text", "int8", "bytea", "bytea"])
        for sequence, raw, signature in record.notes().events(epoch, 0, -1):
            copy.write_row((epoch, sequence, raw, signature))


def timed_nothing(record: Record, line: Any) -> None:
    """The time of the processor shows what is the machine's load and what is ours."""
    for what, action in (
        ("nothing new: the question alone", lambda: nothing_new(record, line)),
        ("nothing new: a whole exchange on an open line", lambda: exchange(record, line)),
    ):
        taken, times = [], 1000
        there, here = on_processor(line.info.backend_pid), time.process_time()
        for _ in range(times):
            start = time.perf_counter()
            action()
            taken.append((time.perf_counter() - start) * 1e3)
        here = (time.process_time() - here) / times * 1e3
        there = (on_processor(line.info.backend_pid) - there) / times * 1e3
        taken.sort()
        row(what, f"{statistics.median(taken):.2f} ms",
            f"p99 {taken[times * 99 // 100]:.2f} ms; of processor here {here:.2f}, at the server "
            f"{there:.2f} ms; load {os.getloadavg()[0]:.1f}")  # fmt: skip


def on_processor(pid: int) -> float:
    """Seconds that a process has been on a processor (Linux; elsewhere 0)."""
    with suppress(OSError):
        return int(Path(f"/proc/{pid}/schedstat").read_text().split()[0]) / 1e9
    return 0.0


def nothing(rows: int, sites: int, before_all: bool, folder: Path | None) -> None:
    with tempfile.TemporaryDirectory() as top, filled(folder, sites - 1, rows) as company:
        postgres, database = company
        with connect(postgres.url(database)) as admin:
            (code,) = unused_codes(admin, 1)
            own = give_site(admin, code, code)
        with Record.create(Path(top) / "site", code) as record:
            with record.writing("TS", "desk") as writing:
                for _ in range(110):
                    writing.append("registered", [writing.issue(Kind.BATTERY)], {"nameplate": {}})
            with connect(postgres.url(database, *own)) as line:
                with Took() as took:
                    exchange(record, line)
                row("first exchange of a site with 110 assets", f"{took.wall * 1e3:.0f} ms",
                    f"of it {took.cpu * 1e3:.0f} ms our processor")  # fmt: skip
                exchange(record, line)
                timed_nothing(record, line)
                if before_all:
                    for process in (os.getpid(), line.info.backend_pid):
                        os.setpriority(os.PRIO_PROCESS, process, -15)
                    timed_nothing(record, line)
                with record.writing("TS", "desk") as writing:
                    writing.append("registered", [writing.issue(Kind.BATTERY)], {"nameplate": {}})
                with Took() as took:
                    assert exchange(record, line).sent == 1
                row("one new event sent", f"{took.wall * 1e3:.1f} ms",
                    f"of it {took.cpu * 1e3:.0f} ms our processor")  # fmt: skip
            with Took() as took, connect(postgres.url(database, *own)) as line:
                exchange(record, line)
            row("nothing new, with a line of its own (password, no TLS)",
                f"{took.wall * 1e3:.1f} ms", f"of it {took.cpu * 1e3:.0f} ms our processor")  # fmt: skip


@contextmanager
def filled(folder: Path | None, sites: int, rows: int) -> Iterator[tuple[Postgres, str]]:
    """A database with so many rows of so many sites: as large as real ones, with two topics
    each, made in the server. One in ``folder`` stays, and a site that is filled is not again."""
    # A table that is emptied and filled in one go needs no log.
    with server(folder, wal_level="minimal", max_wal_senders="0", max_wal_size="16GB") as postgres:
        database = postgres.database("company")
        with connect(postgres.url(database)) as admin:
            prepare(admin)
            admin.execute("SET statement_timeout = 0")
            there = {code for (code,) in admin.execute("SELECT site FROM tagkit.sites").fetchall()}
            made = {code for (code,) in admin.execute(
                "SELECT site FROM tagkit.heads WHERE epoch LIKE 'epoch%'").fetchall()}  # fmt: skip
            codes = codes_of(sites)
            with Took() as took:
                for code in codes:
                    if code not in there:
                        give_site(admin, code, code)
            row(f"{len(set(codes) - there)} site codes given out", f"{took.wall:.1f} s")
            with Took() as took:
                for code in codes:
                    if code not in made:
                        fill(admin, code, rows // sites)
            lacked = len(set(codes) - made)
            rate(
                f"{rows // sites * lacked:,} rows made in the server", rows // sites * lacked, took
            )
            admin.execute("ANALYZE")
            size = admin.execute("SELECT pg_size_pretty(pg_database_size(current_database()))")
            row("size of the database", size.fetchone()[0])
        yield postgres, database


def unused_codes(admin: Any, sites: int) -> list[str]:
    """Site codes that nobody has."""
    there = {code for (code,) in admin.execute("SELECT site FROM tagkit.sites").fetchall()}
    return [code for code in codes_of(len(there) + sites) if code not in there][:sites]


def codes_of(sites: int) -> list[str]:
    """So many site codes."""
    return [f"{chr(65 + n // 676)}{chr(65 + n // 26 % 26)}{chr(65 + n % 26)}" for n in range(sites)]


def fill(admin: Any, code: str, count: int) -> None:
    """All of a site, or nothing."""
    name, epoch = code.lower(), f"epoch{code.lower()}4sq3xkpa"
    with admin.transaction():
        admin.execute(f"TRUNCATE tagkit.events_{name}, tagkit.topics_{name}")
        admin.execute(
            f"INSERT INTO tagkit.events_{name} (epoch, sequence, raw, signature) "
            f"SELECT '{epoch}', n, repeat(md5(n::text), 18)::bytea, repeat(md5(n::text), 2)::bytea "
            f"FROM generate_series(1, {count}) n"
        )
        admin.execute(
            f"INSERT INTO tagkit.topics_{name} (topic, epoch, sequence) SELECT "
            f"'B-{code}-' || lpad(t::text, 5, '0'), '{epoch}', n FROM generate_series(0, 109) t, "
            f"LATERAL generate_series(1 + t % 55, {count}, 55) n"
        )
        admin.execute(
            f"INSERT INTO tagkit.directory SELECT 'B-{code}-' || lpad(n::text, 5, '0'), "
            f"'{code}' FROM generate_series(0, 109) n"
        )
        admin.execute(
            f"INSERT INTO tagkit.heads VALUES ('{code}', '{epoch}', 'desk', '', {count}, '')"
        )
        admin.execute(f"UPDATE tagkit.sites SET version = {count // 50} WHERE site = '{code}'")


if __name__ == "__main__":
    main()
