"""In whatever order sites record, send and fetch, those who know an asset know the same of it."""

from __future__ import annotations

import random
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from companies import Company
from hypothesis import HealthCheck, Phase, given, note, settings
from hypothesis import strategies as st
from tagkit.exchange.address import connect
from tagkit.exchange.round import exchange, nothing_new
from tagkit.record.record import Record
from tagkit.record.verify import verify

START = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
LATER = START + timedelta(days=60)
SITES = ("QA", "QB", "QC")

PHASES = [Phase.explicit, Phase.generate]  # shrinking would exchange for minutes

JUMPS = [0, 0, 0, 0, 0, -90, 3, 60, -26 * 60, 30 * 24 * 60, 20 * 365 * 24 * 60]

steps = st.lists(
    st.tuples(
        st.sampled_from(SITES),
        st.sampled_from(["changed", "moved", "charge_started", "held", "voided", "sent",
                         "exchange", "exchange"]),
        st.integers(0, 2),  # which battery of QA
        st.integers(0, 1),  # which truck, which station
        st.sampled_from(JUMPS),  # the site's clock jumps, min
        st.integers(0, 40),  # which event is voided
    ),
    min_size=4,
    max_size=20,
)  # fmt: skip


KINDS = ("changed", "moved", "charge_started", "held", "voided", "sent")


def plan_of(chance: random.Random) -> list[Any]:
    """A plan of 4 to 60 steps; some are eager to exchange, some hardly ever do."""
    eager = chance.choice((0.05, 0.25, 0.5))
    plan = []
    for _ in range(chance.randint(4, 60)):
        kind = chance.choice(KINDS)
        if chance.random() < eager:
            kind = "exchange again" if chance.random() < 0.1 else "exchange"
        plan.append(
            (chance.choice(SITES), kind, chance.randint(0, 2), chance.randint(0, 1),
             chance.choice(JUMPS), chance.randint(0, 60))
        )  # fmt: skip
    return plan


class SiteClocks:
    """One clock for each site; the one of the site at work is asked."""

    def __init__(self) -> None:
        self.now = START
        self.jump = timedelta()

    def __call__(self) -> datetime:
        self.now += timedelta(milliseconds=3)
        return self.now + self.jump


@pytest.fixture(scope="module")
def shared(
    postgres: Any, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[tuple[Company, SiteClocks]]:
    """One exchange for all examples, emptied before each."""
    clocks = SiteClocks()
    company = Company(postgres, tmp_path_factory.mktemp("company"), clocks)
    yield company, clocks
    company.close()


def begin(company: Company, clocks: SiteClocks, folder: Path) -> None:
    for record in company.records.values():
        record.close()
    company.records.clear()
    company.folder = folder
    clocks.now, clocks.jump = START, timedelta()
    company.empty()
    for site in SITES:
        company.site(site)


def everything(company: Company, folder: Path) -> Record:
    """A record that has every event of every site."""
    whole = Record.create(folder / "whole", "QZ", clock=lambda: LATER)
    left = [p for site in SITES for p in company.site(site).export() if _is_of(site, p[0])]
    assert whole.receive(left).refused == []
    return whole


def _is_of(site: str, raw: bytes) -> bool:
    return f'"site":"{site}"'.encode() in raw


def all_agree(company: Company, folder: Path) -> None:
    with everything(company, folder) as whole:
        for site in SITES:
            known = company.site(site)
            for state in known.states():
                expected = whole.state(state.tag)
                assert expected and state.to_json() == expected.to_json(), (site, state.tag)
                mine = [event.id for event in known.timeline(state.tag)]
                assert mine == [event.id for event in whole.timeline(state.tag)]
            assert [str(one) for one in verify(company.folder / site) if one.grave] == []


def play(company: Company, clocks: SiteClocks, folder: Path, plan: list[Any]) -> None:
    """What the plan says happens at the sites; in the end they all agree."""
    ids: list[str] = []
    for site, kind, which, other, jump, voids in plan:
        clocks.now += timedelta(minutes=1)
        clocks.jump = timedelta(minutes=jump)
        battery = company.batteries["QA"][which]
        truck, station = company.trucks[site][other], ("bay 1", "bay 2")[other]
        if kind.startswith("exchange"):
            clocks.jump = timedelta()
            if kind == "exchange again":
                forget_what_went_through(company, site)
            company.exchange(site)
            continue
        body: dict[str, Any] = {
            "changed": {"truck": truck, "battery_in": battery},
            "moved": {"battery": battery, "place": {"kind": "stand", "name": site}},
            "charge_started": {"battery": battery, "charge_kind": "equalize"},
            "held": {"asset": battery, "reason": "leak"},
            "voided": {"event": ids[voids % len(ids)] if ids else "x-1", "reason": "wrong"},
            "sent": {"battery": battery, "place": {"kind": "elsewhere", "name": "site QC"}},
        }[kind]
        name = "moved" if kind == "sent" else kind
        event = company.log(site, name, body, station=station, tags=[battery])
        ids.append(event.id)
    clocks.now, clocks.jump = LATER, timedelta()
    for site in SITES:  # every clock is right again
        for station in ("bay 1", "bay 2"):
            company.move(site, company.batteries[site][2], "stand 9", station=station)
    company.settle(*SITES)
    all_agree(company, folder)


def forget_what_went_through(company: Company, site: str) -> None:
    """As if this site had never exchanged: it sends and fetches everything once more."""
    with company.site(site).noting() as notes:
        notes.begin_with("another")


@settings(max_examples=20, suppress_health_check=list(HealthCheck), deadline=None, phases=PHASES)
@given(steps)
def test_whatever_happens_in_whatever_order_all_agree_in_the_end(
    shared: tuple[Company, SiteClocks], tmp_path_factory: pytest.TempPathFactory, plan: list[Any]
) -> None:
    company, clocks = shared
    base = tmp_path_factory.getbasetemp()
    with tempfile.TemporaryDirectory(dir=base, ignore_cleanup_errors=True) as top:
        folder = Path(top)
        begin(company, clocks, folder)
        note("\n".join(map(str, plan)))
        play(company, clocks, folder, plan)


@pytest.mark.parametrize(
    "seed",
    [
        2000017,  # a void that has no say in an event came before it, and that was set apart
        2100063,  # a site came back from a wrong year while others' events still stood in it
        2100158,  # an event is cited that is not followed here
        2300012,  # events came in between others, behind a wild one
    ],
)
def test_plans_that_once_ended_in_disagreement(
    shared: tuple[Company, SiteClocks], tmp_path: Path, seed: int
) -> None:
    company, clocks = shared
    begin(company, clocks, tmp_path)
    play(company, clocks, tmp_path, plan_of(random.Random(seed)))


@pytest.mark.parametrize("seed", range(6))
def test_events_committed_late_and_out_of_order_are_never_skipped(
    shared: tuple[Company, SiteClocks], tmp_path: Path, seed: int
) -> None:
    company, clocks = shared
    begin(company, clocks, tmp_path)
    chance = random.Random(seed)
    battery = company.batteries["QA"][0]
    for number in range(12):
        station = chance.choice(("bay 1", "bay 2"))
        company.change("QA", company.trucks["QA"][number % 2], battery, station=station)
        company.move("QA", company.batteries["QA"][1], "stand", station=station)
    company.exchange("QA")
    company.move("QB", battery, "stand 1")
    rows = [
        (table, row)
        for table, columns in (
            ("events_qa", "epoch, sequence, raw, signature"),
            ("topics_qa", "topic, epoch, sequence"),
        )
        for row in company.admin.execute(f"SELECT {columns} FROM tagkit.{table}").fetchall()
    ]
    company.admin.execute("TRUNCATE tagkit.events_qa, tagkit.topics_qa")
    # Topics before their events, as each transaction of ours writes both at once.
    topics = [(table, row) for table, row in rows if table == "topics_qa"]
    events = [(table, row) for table, row in rows if table == "events_qa"]
    for table, row in topics:
        _insert(company, table, row)
    chance.shuffle(events)
    with connect(company.addresses["QB"]) as connection:
        assert connection.info.dbname == company.database
    while events:
        for _ in range(chance.randint(1, 6)):
            if events:
                _insert(company, *events.pop())
        company.admin.execute("UPDATE tagkit.sites SET version = version + 1 WHERE site = 'QA'")
        company.exchange("QB")
    clocks.now = LATER
    company.settle("QB", "QA")
    assert company.site("QB").state(battery).events == 14
    assert company.state("QB", battery) == company.state("QA", battery)
    assert company.grave("QB") == []


def _insert(company: Company, table: str, row: tuple[Any, ...]) -> None:
    columns = "epoch, sequence, raw, signature" if len(row) == 4 else "topic, epoch, sequence"
    marks = ", ".join(["%s"] * len(row))
    company.admin.execute(f"INSERT INTO tagkit.{table} ({columns}) VALUES ({marks})", row)


@pytest.mark.parametrize("seed", range(4))
def test_a_commit_that_comes_late_is_never_taken_for_nothing_new(company: Any, seed: int) -> None:
    """QA and QC send in transactions that stay open, QB asks meanwhile and between commits."""
    chance = random.Random(seed)
    for site in SITES:
        company.site(site)
    batteries = {site: company.batteries[site][0] for site in ("QA", "QC")}
    for site, battery in batteries.items():
        company.move(site, battery, "site QB", "elsewhere")
    company.settle(*SITES)
    with ExitStack() as lines:
        line = {site: lines.enter_context(connect(company.addresses[site])) for site in SITES}
        for _ in range(4):
            order = chance.sample(["QA", "QC"], 2)
            open_now: dict[str, Any] = {}
            for site in order:
                company.move(site, batteries[site], f"stand {chance.randint(1, 9)}")
                open_now[site] = line[site].transaction()
                open_now[site].__enter__()
                assert exchange(company.site(site), line[site]).sent == 1
                company.exchange("QB")
                assert nothing_new(company.site("QB"), line["QB"])
            for site in chance.sample(order, 2):
                open_now[site].__exit__(None, None, None)
                assert not nothing_new(company.site("QB"), line["QB"])
                company.exchange("QB")
                assert company.state("QB", batteries[site]) == company.state(site, batteries[site])
    company.settle(*SITES)
    for site, battery in batteries.items():
        assert company.state("QB", battery) == company.state(site, battery)


def test_a_site_that_counts_backwards_hides_nothing_of_another(company: Any) -> None:
    for site in SITES:
        company.site(site)
    company.settle(*SITES)
    record, line = company.site("QB"), company.lines["QB"]
    assert nothing_new(record, line)
    company.admin.execute("UPDATE tagkit.sites SET version = version + 1 WHERE site = 'QA'")
    company.admin.execute("UPDATE tagkit.sites SET version = version - 1 WHERE site = 'QC'")
    assert not nothing_new(record, line)
