"""How long the server takes for a page, with a large fleet and a long history.

    python tests/bench/bench_pages.py [--assets N] [--events N] [--folder DIR] [--times N]

Prints two tables. The first: median, p95 and worst of the server's time for each page, asked one
after the other in this process (no network), and median and p95 of the processor's time; on a
machine that is busy with other things the last is the one to compare. The row "nothing but the
frame" is the floor that any page has here. The second: what a change costs while 1, 10 and 50
pages of the rotation are open and each fetches the list anew.

``--folder`` keeps the site for the next run; building it with the default 10,000 assets and
1,000,000 events takes some minutes. There is no peer: no other program answers from this record.

Then the start page and the corrections are asked for again while every truck holds two batteries
by the record: thousands of contradictions. They are settled before the run ends.

Not among the pages that are held to a time, because each is a computation over the whole fleet
that somebody asks for once: the plans (ventilation, acid, retirement), shown under the line; not
run at all: the pool played through (bench_pool), the month's report, the whole fleet as a file,
and the list of labels never printed, which here would be the whole fleet.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import itertools
import os
import random
import statistics
import tempfile
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from bench_record import BATCH, History
from fastapi.testclient import TestClient
from tagkit.assets.tag import Kind
from tagkit.jobs.judging import catch_up
from tagkit.jobs.site import SETTINGS_FILE, create_site, open_site
from tagkit.record.record import Record
from tagkit.web.app import create_app
from tagkit.web.options import ServeOptions

SIZES = ((24, 375, 280), (36, 625, 700), (48, 775, 1150), (80, 930, 1800))
"""Volts, ampere-hours, kilograms of the four sorts of batteries and of the trucks for them."""


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--assets", type=int, default=10_000)
    options.add_argument("--events", type=int, default=1_000_000)
    options.add_argument("--folder", type=Path)
    options.add_argument("--times", type=int, default=200)
    chosen = options.parse_args()
    with contextlib.ExitStack() as stack:
        folder = chosen.folder
        if folder is None:
            folder = Path(stack.enter_context(tempfile.TemporaryDirectory())) / "site"
        if not folder.exists():
            build(folder, chosen.assets, chosen.events)
        judge(folder)
        app = create_app(ServeOptions(folder))
        client = stack.enter_context(TestClient(app, base_url="http://127.0.0.1:8642"))
        measure(client, folder, chosen.times)


class Depot(History):
    """Plates as they are on real batteries, trucks and chargers, and changes that agree with one
    another: a battery is in one place, goes where its voltage goes, and rests before its turn."""

    def __init__(self, events: int) -> None:
        self.step = timedelta(seconds=30)
        # Asked a little more than once an event: all of it must lie in the past.
        self.now = datetime.now(UTC) - self.step * (events + events // 100 + 100)

    def clock(self) -> datetime:
        self.now += self.step
        return self.now

    def events(
        self, batteries: list[str], trucks: list[str], chargers: list[str]
    ) -> Iterator[tuple[str, list[str], dict[str, object]]]:
        chance = random.Random(1)
        sizes = range(len(SIZES))
        ready = [deque(batteries[size :: len(SIZES)]) for size in sizes]
        free = [deque(chargers[size :: len(SIZES)]) for size in sizes]
        charging: list[deque[tuple[str, str]]] = [deque() for _ in sizes]
        inside: dict[str, str] = {}
        sizes_of = {truck: place % len(SIZES) for place, truck in enumerate(trucks)}
        # A hundredth of the batteries has most of the waterings, as some do.
        busy = batteries[: max(1, len(batteries) // 100)]
        for turn in itertools.count():
            truck = trucks[chance.randrange(len(trucks))]
            size = sizes_of[truck]
            if not free[size]:
                battery, charger = charging[size].popleft()
                yield "charge_ended", [], {"battery": battery}
                stand = {"kind": "stand", "name": "stand"}
                yield "moved", [], {"battery": battery, "place": stand}
                free[size].append(charger)
                ready[size].append(battery)
            into, out = ready[size].popleft(), inside.get(truck)
            inside[truck] = into
            charger = free[size].popleft() if out else ""
            change: dict[str, object] = {"truck": truck, "battery_in": into, "battery_out": out}
            if out:
                change |= {"out_to": {"kind": "charger", "name": charger}, "discharged_percent": 70}
            yield "changed", [], change
            if out:
                charge = {"battery": out, "charger": charger, "charge_kind": "conventional"}
                yield "charge_started", [], charge
                charging[size].append((out, charger))
            if turn % 2:
                yield "watered", [chance.choice(busy)], {"litres": 4}

    def fleet(self, record: Record, assets: int) -> tuple[list[str], list[str], list[str]]:
        chance = random.Random(7)
        given: dict[Kind, list[str]] = {Kind.BATTERY: [], Kind.TRUCK: [], Kind.CHARGER: []}
        shares = ((Kind.BATTERY, 0.6), (Kind.TRUCK, 0.25), (Kind.CHARGER, 0.15))
        with record.writing("SW", "desk") as writing:
            body = {"person": "SW", "initials": "S. W.", "role": "supervisor"}
            writing.append("authorised", [], body)
            for kind, share in shares:
                for number in range(int(assets * share)):
                    tag = str(writing.issue(kind))
                    given[kind].append(tag)
                    plate = PLATES[kind](number, chance)
                    writing.append("registered", [tag], {"nameplate": plate, "as_stamped": True})
        return given[Kind.BATTERY], given[Kind.TRUCK], given[Kind.CHARGER]


def _figure(value: float, unit: str, source: str = "stamped") -> dict[str, str]:
    return {"value": str(value), "unit": unit, "source": source}


def _battery(number: int, chance: random.Random) -> dict[str, Any]:
    volts, hours, kilograms = SIZES[number % 4]
    return {
        "maker_serial": {"value": f"MB{number:06}", "source": "stamped"},
        "voltage": _figure(volts, "V"),
        "capacity": _figure(hours, "Ah"),
        "capacity_rate": {"value": 5, "source": "stamped"},
        "weight": _figure(kilograms + chance.randint(-30, 30), "kg"),
        "chemistry": {"value": "vented", "source": "stamped"},
    }


def _truck(number: int, chance: random.Random) -> dict[str, Any]:
    volts, _, kilograms = SIZES[number % 4]
    spread = chance.choice((20, 40, 60, 100))
    return {
        "fleet_number": {"value": f"F{number:05}", "source": "nameplate"},
        "maker_serial": {"value": f"MT{number:06}", "source": "nameplate"},
        "voltage": _figure(volts, "V", "nameplate"),
        "weight_min": _figure(kilograms - spread, "kg", "nameplate"),
        "weight_max": _figure(kilograms + spread, "kg", "nameplate"),
        "chemistries": {"value": ["vented"], "source": "nameplate"},
    }


def _charger(number: int, _: random.Random) -> dict[str, Any]:
    volts, hours, _ = SIZES[number % 4]
    return {
        "bay": {"value": f"R{number:04}", "source": "nameplate"},
        "maker_serial": {"value": f"MC{number:06}", "source": "nameplate"},
        "voltages": {"value": [{"value": str(volts), "unit": "V"}], "source": "nameplate"},
        "capacity_min": _figure(hours - 200, "Ah", "nameplate"),
        "capacity_max": _figure(hours + 200, "Ah", "nameplate"),
        "capacity_rate": {"value": 5, "source": "nameplate"},
        "chemistries": {"value": ["vented"], "source": "nameplate"},
    }


PLATES: dict[Kind, Callable[[int, random.Random], dict[str, Any]]] = {
    Kind.BATTERY: _battery,
    Kind.TRUCK: _truck,
    Kind.CHARGER: _charger,
}


def build(folder: Path, assets: int, events: int) -> None:
    """A site with this many assets and events."""
    start, depot = time.perf_counter(), Depot(events)
    create_site(folder, "QM", clock=depot.clock).record.close()
    settings = folder / SETTINGS_FILE
    written = settings.read_text(encoding="utf-8").replace('by = ""', 'by = "SW"', 1)
    settings.write_text(written, encoding="utf-8")  # whose pages are asked for
    with open_site(folder, depot.clock) as site:
        plan = depot.events(*depot.fleet(site.record, assets))
        left = events - assets
        while left > 0:
            with site.record.writing("SW", "bay 1") as writing:
                for _ in range(min(left, BATCH)):
                    writing.append(*next(plan))
            left -= BATCH
    print(f"site built: {events:,} events, {assets:,} assets, {time.perf_counter() - start:.0f} s")


def judge(folder: Path) -> None:
    """Everything is judged once, as the app does in the background when it starts."""
    start = time.perf_counter()
    with open_site(folder) as site:
        judged = catch_up(site)
    print(f"judged at the start: {judged:,} assets, {time.perf_counter() - start:.1f} s")


def measure(client: TestClient, folder: Path, times: int) -> None:
    """Asks for each page, every time for another asset where it is about one."""
    with open_site(folder) as site:
        states = list(site.record.states())
    by_kind = {kind: [one for one in states if one.kind == kind.value] for kind in PLATES}
    busiest = max(states, key=lambda one: one.events)
    tags = {kind: [one.tag for one in found] for kind, found in by_kind.items()}
    serials = [str(one.maker_serial) for one in by_kind[Kind.BATTERY]]
    numbers = [str(one.fleet_number) for one in by_kind[Kind.TRUCK]]
    pick = random.Random(3).choice

    def battery() -> str:
        return pick(tags[Kind.BATTERY])

    def truck() -> str:
        return pick(tags[Kind.TRUCK])

    pages: list[tuple[str, Callable[[], str]]] = [
        ("nothing but the frame (a page that is not there)", lambda: "/nowhere"),
        ("start page", lambda: "/"),
        ("fleet, a page of 50", lambda: f"/assets?page={random.randint(1, 190)}"),
        ("fleet, the last page", lambda: f"/assets?page={-(-len(states) // 50)}"),
        ("fleet, batteries that are ready", lambda: "/assets?kind=battery&state=ready"),
        ("fleet, part of a number", lambda: f"/assets?q={battery()[6:9]}"),
        ("fleet, one small letter", lambda: f"/assets?q={pick('bmftq')}"),
        (
            "fleet, part of a serial, small letters",
            lambda: f"/assets?q={pick(serials)[:6].lower()}",
        ),
        ("fleet, two words", lambda: "/assets?q=f0+m"),
        ("find a serial", lambda: f"/find?q={pick(serials)}"),
        ("find a fleet number, small letters", lambda: f"/find?q={pick(numbers).lower()}"),
        ("number page of a battery", lambda: f"/A/{battery()}"),
        ("what that battery fits", lambda: f"/A/{battery()}/fits"),
        ("number page of a truck", lambda: f"/A/{truck()}"),
        ("number page of a charger", lambda: f"/A/{pick(tags[Kind.CHARGER])}"),
        (f"number page of the one with {busiest.events:,} events", lambda: f"/A/{busiest.tag}"),
        ("amending a battery", lambda: f"/A/{battery()}/amend"),
        ("reporting a problem", lambda: f"/A/{battery()}/report"),
        ("rotation", lambda: "/rotation"),
        ("rotation, a later page", lambda: f"/rotation?page={random.randint(2, 120)}"),
        ("rotation of a truck", lambda: f"/rotation?truck={truck()}"),
        ("today", lambda: "/today"),
        ("today as a calendar", lambda: "/today.ics"),
        ("care", lambda: "/care"),
        ("care of a battery", lambda: f"/care/{battery()}"),
        ("watering", lambda: f"/care/{battery()}/water"),
        ("rounds of a battery", lambda: f"/rounds/{battery()}"),
        ("round entry", lambda: f"/rounds/{battery()}/new"),
        ("corrections and contradictions", lambda: "/corrections"),
        ("delivery", lambda: "/delivery"),
        ("new asset", lambda: "/assets/new"),
        ("marrying", lambda: "/marry"),
        ("labels", lambda: "/labels"),
        ("labels of a battery", lambda: f"/labels?number={battery()}"),
        ("labels to print again", lambda: "/labels?which=reprint"),
        ("people", lambda: "/people"),
        ("incidents", lambda: "/incidents"),
        ("steps", lambda: "/steps"),
        ("station", lambda: "/station"),
        ("check at the bay", lambda: "/check"),
        ("planning and reports", lambda: "/planning"),
        ("guide", lambda: "/guide"),
        ("shift", lambda: "/shift"),
        ("stations", lambda: "/stations"),
        ("metrics", lambda: "/metrics"),
        ("api: where", lambda: f"/api/where/{battery()}"),
        ("api: fit", lambda: f"/api/fit/{battery()}/{truck()}"),
        ("api: a page of the fleet", lambda: f"/api/assets?page={random.randint(1, 190)}"),
    ]
    over_all: list[tuple[str, Callable[[], str]]] = [
        ("history sheet of a battery, PDF", lambda: f"/reports/battery/{battery()}.pdf"),
        ("plan: ventilation", lambda: "/planning/ventilation"),
        ("plan: acid", lambda: "/planning/acid"),
        ("plan: retirement", lambda: "/planning/retirement"),
    ]
    contradictory = [
        row for row in pages if row[0] in ("start page", "corrections and contradictions")
    ]
    load = os.getloadavg()[0] if hasattr(os, "getloadavg") else float("nan")
    print(f"{len(states):,} assets; load at the start {load:.2f}")
    print(f"{'':52} {'server time, ms':>26} {'processor, ms':>20}")
    print(
        f"{'':52}" + "".join(f" {name:>8}" for name in ("median", "p95", "worst", "median", "p95"))
    )
    for what, address in pages:
        ask(client, what, address, times)
    print("over the whole fleet, or a file:")
    for what, address in over_all:
        ask(client, what, address, max(3, times // 20))
    gc.freeze()  # what this bench holds is no burden of the server
    with contradicted(folder, tags[Kind.BATTERY], tags[Kind.TRUCK]) as count:
        print(f"while the record holds {count:,} contradictions:")
        for what, address in contradictory:
            ask(client, what, address, times)
    live(client, folder, busiest.tag)


@contextlib.contextmanager
def contradicted(folder: Path, batteries: list[str], trucks: list[str]) -> Iterator[int]:
    """For a while every truck holds two batteries by the record; says how many contradictions
    there are then."""

    def see(kind: str, names: Iterable[str]) -> None:
        with open_site(folder) as site:
            for some in batched(zip(batteries, names, strict=False), BATCH):
                with site.record.writing("SW", "desk") as writing:
                    for battery, name in some:
                        body = {"battery": battery, "place": {"kind": kind, "name": name}}
                        writing.append("seen_at", [], body)

    see("truck", (*trucks, *trucks))
    judge(folder)
    with open_site(folder) as site:
        found = site.record.contradictions()
        assert len(found) == site.record.count_contradictions() >= len(trucks)
    try:
        yield len(found)
    finally:
        see("stand", ["stand"] * (2 * len(trucks)))
        judge(folder)


def batched(those: Iterable[Any], most: int) -> Iterator[list[Any]]:
    """They, so many at a time."""
    left = iter(those)
    while some := list(itertools.islice(left, most)):
        yield some


def ask(client: TestClient, what: str, address: Callable[[], str], times: int) -> None:
    """One row: the page asked so many times."""
    client.get(address(), follow_redirects=False)  # what is judged once is judged
    taken, worked = [], []
    for _ in range(times):
        asked = address()
        start, began = time.perf_counter(), time.process_time()
        answer = client.get(asked, follow_redirects=False)
        taken.append((time.perf_counter() - start) * 1e3)
        worked.append((time.process_time() - began) * 1e3)
        assert answer.status_code in (200, 303, 404), (asked, answer.status_code)
    taken.sort()
    worked.sort()
    late = int(len(taken) * 0.95)
    figures = (
        statistics.median(taken), taken[late], taken[-1], statistics.median(worked), worked[late],
    )  # fmt: skip
    print(f"{what:52}" + "".join(f" {figure:8.1f}" for figure in figures), flush=True)


def live(client: TestClient, folder: Path, tag: str) -> None:
    """What a recorded event costs while pages are open: each fetches the list at once."""
    print("rotation open on so many pages: processor, ms, from the event until all have the list")
    with open_site(folder) as site:
        for pages in (1, 10, 50):
            worked = []
            for _ in range(10):
                with site.record.writing("SW", "bay 2") as writing:
                    writing.append("watered", [tag], {"litres": 1})
                began = time.process_time()
                with ThreadPoolExecutor(pages) as browsers:
                    answers = list(
                        browsers.map(lambda _: client.get("/rotation/now").text, range(pages))
                    )
                worked.append((time.process_time() - began) * 1e3)
                assert len(answers) == pages
            print(f"{pages:52} {statistics.median(worked):8.1f}", flush=True)


if __name__ == "__main__":
    main()
