"""A company of many sites over days, through a real PostgreSQL.

    python tests/bench/bench_company.py [--sites N] [--rows N] [--real N] [--days N] [--daily N]
                                        [--folder DIR]

``--real`` of the sites are records that live: they log changes, charges and water, send
batteries to each other, are offline for days and come back; the first one is away from the
first day to the last. Of all others there are rows as large as real ones, made in the server,
and their numbers move as if they sent something all the time. With ``--folder`` the database
with those rows stays there and is used the next time, by bench_exchange.py too; the sites that
live are new ones then.

Run by hand. Times are of a wall clock; processor time stands beside them, as a machine that is
busy with something else changes only the former.
"""

from __future__ import annotations

import argparse
import os
import random
import socket
import statistics
import struct
import sys
import tempfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

BENCH = Path(__file__).resolve().parent
sys.path[:0] = [str(BENCH), str(BENCH.parent / "exchange")]

from bench_exchange import Took, filled, memory, on_processor, row, unused_codes  # noqa: E402
from bench_record import History  # noqa: E402
from tagkit.exchange.address import connect  # noqa: E402
from tagkit.exchange.layout import give_site  # noqa: E402
from tagkit.exchange.round import Exchanged, exchange  # noqa: E402
from tagkit.jobs.exchange import where_elsewhere  # noqa: E402
from tagkit.jobs.site import open_site  # noqa: E402
from tagkit.record.record import Record  # noqa: E402
from tagkit.record.verify import verify  # noqa: E402

ASSETS = 100


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--sites", type=int, default=500)
    options.add_argument("--rows", type=int, default=20_000_000)
    options.add_argument("--real", type=int, default=12)
    options.add_argument("--days", type=int, default=8)
    options.add_argument("--daily", type=int, default=110, help="events a site and day")
    options.add_argument("--folder", type=Path, help="where the filled database stays")
    chosen = options.parse_args()
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    made = chosen.sites - chosen.real
    with (
        tempfile.TemporaryDirectory() as top,
        filled(chosen.folder, made, chosen.rows) as (postgres, database),
        connect(postgres.url(database)) as admin,
    ):
        admin.execute("SET statement_timeout = 0")
        urls = {
            code: postgres.url(database, *give_site(admin, code, code))
            for code in unused_codes(admin, chosen.real)
        }
        live(Path(top), admin, urls, chosen.days, chosen.daily)


@dataclass
class Exchange:
    """What one exchange took. Processor and wall in s, bytes over the line."""

    done: Exchanged
    wall: float
    here: float
    there: float
    out: int
    came: int


@dataclass
class Depot:
    """A site that lives."""

    code: str
    record: Record
    url: str
    plan: Iterator[tuple[str, list[str], dict[str, Any]]]
    batteries: list[str]
    """What ``plan`` draws from."""
    away: int = 0
    taken: list[Exchange] = field(default_factory=list)

    def work(self, events: int) -> None:
        for done in range(0, events, 10):
            with self.record.writing("TS", "desk") as writing:
                for _ in range(min(10, events - done)):
                    writing.append(*next(self.plan))

    def put(self, battery: str, kind: str, name: str) -> None:
        place = {"kind": kind, "name": name}
        with self.record.writing("TS", "desk") as writing:
            writing.append("moved", [], {"battery": battery, "place": place})

    def exchange(self, line: Any) -> Exchange:
        before, there = traffic(line), on_processor(line.info.backend_pid)
        with Took() as took:
            done = exchange(self.record, line)
        assert done.refused == () and done.forked == (), done
        after = traffic(line)
        one = Exchange(done, took.wall, took.cpu,
                       on_processor(line.info.backend_pid) - there,
                       after[0] - before[0], after[1] - before[1])  # fmt: skip
        self.taken.append(one)
        return one


def traffic(line: Any) -> tuple[int, int]:
    """Bytes sent and received on a connection so far, as the system counts them (Linux)."""
    with suppress(OSError, AttributeError, struct.error):
        with socket.socket(fileno=os.dup(line.fileno())) as own:
            told = own.getsockopt(socket.IPPROTO_TCP, socket.TCP_INFO, 232)
        return struct.unpack_from("QQ", told, 120)
    return 0, 0


def live(folder: Path, admin: Any, urls: dict[str, str], days: int, daily: int) -> None:
    chance, now = random.Random(1), [datetime.now(UTC) - timedelta(days=days + 1)]

    def clock() -> datetime:
        now[0] += timedelta(milliseconds=200)
        return now[0]

    depots = {}
    for code, url in urls.items():
        record, history = Record.create(folder / code, code, clock=clock), History()
        fleet = history.fleet(record, ASSETS)
        depots[code] = Depot(code, record, url, history.events(*fleet), fleet[0])
    (rows,) = admin.execute("SELECT sum(sequence)::bigint FROM tagkit.heads").fetchone()
    row("rows of sites that are made", f"{rows or 0:,}")
    first, *others = depots.values()
    for depot in depots.values():
        with connect(depot.url) as line:
            depot.exchange(line)
    tell("first exchange of a site", [one.taken.pop() for one in depots.values()])
    moved: dict[str, str] = {}
    with Took() as took:
        for day in range(days):
            now[0] = max(now[0], now[0].replace(hour=6) + timedelta(days=1))
            others_send(admin, list(urls))
            for depot in depots.values():
                depot.work(daily)
                if depot is not first:
                    battery = depot.batteries.pop(chance.randrange(len(depot.batteries)))
                    to = chance.choice([one for one in depots if one != depot.code])
                    depot.put(battery, "elsewhere", f"site {to}")
                    moved[battery] = to
                depot.away = chance.randint(1, 4) if chance.random() < 0.1 else depot.away - 1
                if depot.away <= 0 and depot is not first:
                    with connect(depot.url) as line:
                        done = depot.exchange(line).done
                    for tag in done.followed:
                        if moved.get(tag) == depot.code and tag not in depot.batteries:
                            depot.put(tag, "stand", "stand 1")
                            depot.batteries.append(tag)  # and goes round here
            print(f"  day {day + 1}, load {os.getloadavg()[0]:.1f}", flush=True)
    row(f"{len(depots)} sites lived {days} days of {daily} events", f"{took.wall:.0f} s",
        f"of it {took.cpu:.0f} s our processor; {len(moved)} batteries sent to another site")  # fmt: skip
    tell("a site's exchange with a day or more", [e for one in others for e in one.taken])
    with connect(first.url) as line:
        tell(f"a site back after {days} days", [first.exchange(line)])
    settle(depots)
    day_by_the_minute(first, daily, depots, admin, list(urls))
    settle(depots)
    agree(folder, depots, moved)
    look_up(folder, depots)
    row("most memory of this process, with all its records",
        f"{memory(os.getpid(), 'VmHWM'):,.0f} MB")  # fmt: skip
    size = admin.execute("SELECT pg_size_pretty(pg_database_size(current_database()))").fetchone()
    row("size of the database", size[0])
    for depot in depots.values():
        depot.record.close()


def others_send(admin: Any, real: list[str]) -> None:
    """As if every other site had sent something."""
    admin.execute("UPDATE tagkit.sites SET version = version + 1 WHERE site <> ALL(%s)", (real,))


def tell(what: str, taken: list[Exchange]) -> None:
    def middle(name: str) -> float:
        return statistics.median(float(getattr(one, name)) for one in taken)

    sent = [one.done.sent for one in taken]
    got = [one.done.fetched for one in taken]
    row(what, f"{middle('wall') * 1e3:,.0f} ms",
        f"median of {len(taken)}, longest {max(one.wall for one in taken) * 1e3:,.0f} ms; processor "
        f"{middle('here') * 1e3:,.1f} ms here, {middle('there') * 1e3:,.1f} at the server")  # fmt: skip
    row("", "", f"sent {statistics.median(sent):,.0f}, fetched {statistics.median(got):,.0f} (most "
        f"{max(got):,}); {middle('out') / 1e3:,.1f} kB out, {middle('came') / 1e3:,.1f} kB in")  # fmt: skip


def day_by_the_minute(
    depot: Depot, daily: int, depots: dict[str, Depot], admin: Any, real: list[str]
) -> None:
    """A day of one site that asks every minute: each event sent as it comes, and in between
    the question whether there is anything new, which there is for others."""
    sending, asking = [], []
    with connect(depot.url) as line:
        for number in range(daily):
            depot.work(1)
            sending.append(depot.exchange(line))
            if number % 3 == 0:
                others_send(admin, real)
                asking.append(depot.exchange(line))
        quiet = [depot.exchange(line) for _ in range(300)]
    assert all(one.done.nothing_new for one in quiet)
    tell("one new event sent", sending)
    tell("asked when only others' assets have anything new", asking)
    tell("asked with nothing new", quiet)
    asks = 1440 - daily
    here = sum(one.here for one in sending) + asks * statistics.mean(one.here for one in asking)
    there = sum(one.there for one in sending) + asks * statistics.mean(one.there for one in asking)
    size = sum(one.out + one.came for one in sending)
    size += asks * statistics.mean(one.out + one.came for one in asking)
    row(f"a site's day: {daily} events, asked 1,440 times", f"{size / 1e6:,.1f} MB",
        f"processor {here:,.1f} s here, {there:,.1f} s at the server (reckoned from the above)")  # fmt: skip


def settle(depots: dict[str, Depot]) -> None:
    for _ in range(10):
        news = []
        for depot in depots.values():
            with connect(depot.url) as line:
                news.append(exchange(depot.record, line).nothing_new)
        if all(news):
            return
    raise AssertionError("they never come to an end")


def agree(folder: Path, depots: dict[str, Depot], moved: dict[str, str]) -> None:
    different = sum(
        len({s.to_json() for one in depots.values() if (s := one.record.state(tag))}) != 1
        for tag in moved
    )
    row("batteries that were sent, known differently by two sites", f"{different}")
    with Took() as took:
        grave = sum(one.grave for code in depots for one in verify(folder / code))
    row("grave findings of verify, all sites", f"{grave}", f"{took.cpu:.0f} s of processor")


def look_up(folder: Path, depots: dict[str, Depot]) -> None:
    """“Where is it” for batteries of another site that never were here."""
    asked, *others = depots.values()
    for code in depots:
        (folder / code / "site.toml").write_text(f'[site]\ncode = "{code}"\n', encoding="utf-8")
    wall, here, events = [], [], []
    with open_site(folder / asked.code) as site:
        for depot in others:
            tag = next(tag for tag in depot.batteries if asked.record.state(tag) is None)
            with Took() as took:
                found = where_elsewhere(site, tag, asked.url)
            state = depot.record.state(tag)
            assert state and found.told_by == depot.code
            assert found.found.since == (state.place and state.place["since"])
            wall.append(took.wall * 1e3)
            here.append(took.cpu * 1e3)
            events.append(state.events)
    row("where is a battery of another site, from the exchange", f"{statistics.median(wall):,.0f} ms",
        f"longest {max(wall):,.0f} ms, of it {statistics.median(here):,.0f} ms our processor; "
        f"{statistics.median(events):.0f} events each")  # fmt: skip


if __name__ == "__main__":
    main()
