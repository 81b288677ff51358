"""The line breaks, the server is restarted, disks are copied: nothing is lost, nothing doubled."""

from __future__ import annotations

import shutil
import threading
from pathlib import Path
from typing import Any

import pytest
from cutting_proxy import CuttingProxy
from postgres import Postgres
from tagkit.errors import Busy, TagkitError
from tagkit.exchange import asking, push
from tagkit.exchange.address import connect, spoken_to
from tagkit.exchange.round import exchange
from tagkit.record.backup import backup, restore
from tagkit.record.record import Record
from tagkit.record.verify import verify


@pytest.fixture
def small_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(push, "BATCH", 7)
    monkeypatch.setattr(asking, "WINDOW", 9)


def life(company: Any, site: str, battery: str, count: int = 30) -> None:
    for number in range(count):
        truck = company.trucks[site][number % 2]
        company.change(site, truck, battery, station=("bay 1", "bay 2")[number % 2])


def through(company: Any, site: str, proxy: CuttingProxy) -> str:
    return company.addresses[site].replace(f":{company.postgres.port}/", f":{proxy.port}/")


def try_to_exchange(company: Any, site: str, address: str) -> bool:
    try:
        with connect(address) as connection, spoken_to(address):
            exchange(company.site(site), connection)
    except Busy:
        return False
    return True


def test_a_line_cut_in_the_middle_of_anything_loses_nothing(
    company: Any, small_batches: None
) -> None:
    company.site("QA"), company.site("QB")
    battery = company.batteries["QA"][0]
    life(company, "QA", battery)
    company.move("QB", battery, "stand 1")
    cuts = 0
    for cut_after in range(1_000, 90_000, 5_500):
        for site in ("QA", "QB"):
            proxy = CuttingProxy(company.postgres.port, cut_after)
            try:
                done = try_to_exchange(company, site, through(company, site, proxy))
                cuts += proxy.cuts
                assert done or proxy.cuts
            finally:
                proxy.close()
            if cut_after % 4 == 0:
                life(company, site, battery, 2)
    assert cuts > 8
    company.settle("QA", "QB")
    assert company.state("QA", battery) == company.state("QB", battery)
    sent = company.admin.execute(
        "SELECT count(*), count(DISTINCT (epoch, sequence)) FROM tagkit.events_qa"
    ).fetchone()
    there = sum(head.sequence for head in company.site("QA").heads() if head.site == "QA")
    assert sent == (there, there)
    assert company.grave("QA") == company.grave("QB") == []


def test_a_server_restarted_in_the_middle_of_an_exchange_loses_nothing(
    postgres: Postgres, company: Any, small_batches: None
) -> None:
    company.site("QA"), company.site("QB")
    battery = company.batteries["QA"][0]
    life(company, "QA", battery)
    company.move("QB", battery, "stand 1")
    for at_once, at_step in ((False, 2), (True, 3)):
        with connect(company.addresses["QA"]) as connection:
            steps = []

            def step(what: str, done: int, total: int, at: int = at_step, how: bool = at_once,
                     steps: list[int] = steps) -> None:  # fmt: skip
                steps.append(done)
                if len(steps) == at:
                    postgres.stop(how)

            with (
                pytest.raises(Busy, match="safe and is sent later"),
                spoken_to(company.addresses["QA"]),
            ):
                exchange(company.site("QA"), connection, step)
        with pytest.raises(Busy):
            connect(company.addresses["QB"])
        postgres.start()
        life(company, "QA", battery, 12)
    company.admin = connect(postgres.url(company.database))
    company.settle("QA", "QB")
    assert company.state("QA", battery) == company.state("QB", battery)
    assert company.grave("QA") == company.grave("QB") == []


def test_two_programs_of_one_site_may_exchange_at_once(company: Any, small_batches: None) -> None:
    record = company.site("QA")
    life(company, "QA", company.batteries["QA"][0], 60)
    errors: list[BaseException] = []

    def run() -> None:
        try:
            with (
                Record.open(company.folder / "QA", clock=company.clock) as own,
                connect(company.addresses["QA"]) as connection,
            ):
                exchange(own, connection)
        except Exception as error:  # noqa: BLE001 - whatever it is fails the test
            errors.append(error)

    threads = [threading.Thread(target=run) for _ in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    (count,) = company.admin.execute("SELECT count(*) FROM tagkit.events_qa").fetchone()
    assert count == sum(head.sequence for head in record.heads())


def test_two_records_restored_from_one_backup_come_together(
    company: Any, tmp_path: Path, clock: Any
) -> None:
    record = company.site("QA")
    battery = company.batteries["QA"][0]
    life(company, "QA", battery, 5)
    company.exchange("QA")
    backup(record, tmp_path / "monday.tagkit")
    lost = company.change("QA", company.trucks["QA"][0], battery)
    company.exchange("QA")
    record.close()
    twins = [
        restore(tmp_path / "monday.tagkit", tmp_path / name, clock=clock) for name in ("one", "two")
    ]
    for twin, station in zip(twins, ("bay 1", "bay 3"), strict=True):
        with twin.writing("TS", station) as writing:
            body = {"truck": company.trucks["QA"][1], "battery_in": battery}
            writing.append("changed", [], body)
    for _ in range(3):
        for twin in twins:
            with connect(company.addresses["QA"]) as connection:
                done = exchange(twin, connection)
                assert (done.refused, done.forked) == ((), ())
    one, two = ([state.to_json() for state in twin.states()] for twin in twins)
    assert one == two
    # What was recorded after the backup came back from the exchange.
    assert all(twin.event(lost.id) for twin in twins)
    for twin, name in zip(twins, ("one", "two"), strict=True):
        twin.close()
        assert [str(f) for f in verify(tmp_path / name) if f.grave] == []


def test_a_disk_cloned_with_its_keys_is_found_out(
    company: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    record = company.site("QA")
    battery, truck = company.batteries["QA"][0], company.trucks["QA"][0]
    life(company, "QA", battery, 3)
    record.close()
    shutil.copytree(company.folder / "QA", tmp_path / "clone")
    # A cloned virtual machine: the file and the computer look the same.
    monkeypatch.setattr("tagkit.record.record.identity_of", lambda path: "the same")
    for folder in (company.folder / "QA", tmp_path / "clone"):
        with Record.open(folder) as opened:
            opened._connection.execute("UPDATE meta SET value='the same' WHERE name='identity'")
    company.records["QA"] = Record.open(company.folder / "QA", clock=company.clock)
    company.change("QA", truck, battery, station="bay 1")
    company.exchange("QA")
    with Record.open(tmp_path / "clone", clock=company.clock) as clone:
        with clone.writing("KM", "bay 1") as writing:
            writing.append("held", [], {"asset": battery, "reason": "leak"})
            writing.append("held", [], {"asset": battery, "reason": "cracked"})
        with connect(company.addresses["QA"]) as connection:
            done = exchange(clone, connection)
            assert len(done.forked) == 1
            # It goes on under a new key, and that is sent.
            with clone.writing("KM", "bay 1") as writing:
                event = writing.append("held", [], {"asset": battery, "reason": "no cap"})
            assert event.epoch not in done.forked
            assert exchange(clone, connection).forked == ()
    company.exchange("QA")
    assert company.site("QA").event(event.id) is not None
    # The key's other holder shows in the record that was there first.
    assert any("known elsewhere" in finding for finding in company.grave("QA"))


def test_an_exchange_that_lost_its_newest_data_is_given_it_again(company: Any) -> None:
    company.site("QA"), company.site("QB")
    battery = company.batteries["QA"][0]
    company.move("QA", battery, "site QB", "elsewhere")
    company.settle("QA", "QB")
    life(company, "QA", battery, 6)
    company.settle("QA", "QB")
    # The database was brought back from its backup of before.
    company.admin.execute("DELETE FROM tagkit.events_qa WHERE sequence > 2")
    company.admin.execute("DELETE FROM tagkit.topics_qa WHERE sequence > 2")
    company.admin.execute(
        "UPDATE tagkit.heads h SET sequence = 2, hash = encode(sha256(e.raw), 'hex') "
        "FROM tagkit.events_qa e WHERE e.epoch = h.epoch AND e.sequence = 2 AND h.sequence > 2"
    )
    company.admin.execute("UPDATE tagkit.sites SET version = 1 WHERE site = 'QA'")
    company.settle("QA", "QB")
    (count,) = company.admin.execute("SELECT count(*) FROM tagkit.events_qa").fetchone()
    assert count == sum(h.sequence for h in company.site("QA").heads() if h.site == "QA")
    life(company, "QA", battery, 3)
    company.settle("QA", "QB")
    assert company.state("QA", battery) == company.state("QB", battery)


def test_another_exchange_is_begun_with_from_the_start(postgres: Postgres, company: Any) -> None:
    from companies import Company

    company.site("QA")
    company.settle("QA")
    other = Company(postgres, company.folder, company.clock, ("QA",), fresh=True)
    try:
        other.records["QA"] = company.records["QA"]
        (done,) = other.exchange("QA")
        assert done.sent == sum(head.sequence for head in company.site("QA").heads())
    finally:
        other.records.clear()
        other.close()


def test_what_is_no_exchange_says_how_to_make_it_one(postgres: Postgres, company: Any) -> None:
    address = postgres.url(postgres.new_database())
    with (
        pytest.raises(TagkitError, match="--prepare"),
        connect(address) as connection,
        spoken_to(address),
    ):
        exchange(company.site("QA"), connection)
