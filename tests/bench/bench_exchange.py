"""The exchange between records through a real PostgreSQL.

    python tests/bench/bench_exchange.py records [--events N]   two records, beside bare COPY
    python tests/bench/bench_exchange.py nothing [--rows N]     “nothing new” at N rows, 500 sites
    python tests/bench/bench_exchange.py company [--sites N] [--days N] [--daily N]

Run by hand, one at a time. The server runs with its defaults but for memory; fsync is on.
"""

from __future__ import annotations

import argparse
import os
import random
import statistics
import sys
import tempfile
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


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("what", choices=["records", "nothing", "company"])
    options.add_argument("--events", type=int, default=1_000_000)
    options.add_argument("--rows", type=int, default=20_000_000)
    options.add_argument("--sites", type=int, default=500)
    options.add_argument("--days", type=int, default=10)
    options.add_argument("--daily", type=int, default=100, help="events a site and day")
    chosen = options.parse_args()
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    {
        "records": lambda: records(chosen.events),
        "nothing": lambda: nothing(chosen.rows, chosen.sites),
        "company": lambda: company(chosen.sites, chosen.days, chosen.daily),
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
            with connect(postgres.url(database)) as line:
                sizes(line, sent)
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


if __name__ == "__main__":
    main()
