"""A disk fills up during an exchange, here or at the database: it is said which, and it goes on."""

from __future__ import annotations

import os
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from companies import Company
from postgres import Postgres
from small_disk import fill, make_room, small_disk
from tagkit.errors import Busy
from tagkit.exchange import asking, pull, push
from tagkit.exchange.address import connect, spoken_to
from tagkit.exchange.round import exchange
from tagkit.record import room


def exchanged(company: Any, site: str, step: Any = lambda *_: None) -> Any:
    address = company.addresses[site]
    with connect(address) as line, spoken_to(address):
        return exchange(company.site(site), line, step)


def everything_there(company: Any, battery: str) -> None:
    company.settle("QA", "QB")
    assert company.state("QA", battery) == company.state("QB", battery)
    assert company.grave("QA") == company.grave("QB") == []
    for site in ("QA", "QB"):
        sent = company.admin.execute(
            f"SELECT count(*), count(DISTINCT (epoch, sequence)) FROM tagkit.events_{site.lower()}"
        ).fetchone()
        own = sum(head.sequence for head in company.site(site).heads() if head.site == site)
        assert sent == (own, own)


@pytest.fixture
def small(
    postgres: Postgres, tmp_path: Path, clock: Any, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Any]:
    """A company whose site QA lies on a disk of 6 MB (where none can be mounted: whose record
    says that it is full); batches and windows of some events."""
    monkeypatch.setattr(push, "BATCH", 20)
    monkeypatch.setattr(asking, "WINDOW", 20)
    monkeypatch.setattr(room, "KEPT_FREE", 0)  # somebody else fills it
    with small_disk(tmp_path / "QA", 6000) as mounted:
        company = Company(postgres, tmp_path, clock)
        company.disk = _Disk(company, tmp_path / "QA" if mounted else None)  # type: ignore[attr-defined]
        try:
            company.site("QA"), company.site("QB")
            company.move("QA", company.batteries["QA"][0], "site QB", "elsewhere")
            company.settle("QA", "QB")
            yield company
        finally:
            company.close()


class _Disk:
    """The disk of site QA."""

    def __init__(self, company: Any, folder: Path | None) -> None:
        self._company, self._folder = company, folder

    def fill(self, leave: int = 0) -> None:
        if self._folder:
            return fill(self._folder, leave)
        self._company.site("QA")._transaction = self._full
        return None

    @contextmanager
    def _full(self) -> Iterator[None]:
        error = sqlite3.OperationalError("database or disk is full")
        error.sqlite_errorcode = 13
        raise error
        yield

    def make_room(self) -> None:
        if self._folder:
            return make_room(self._folder)
        del self._company.site("QA")._transaction
        return None


def no_log(company: Any) -> None:
    """The log begins anew, so that the next commit needs room."""
    company.site("QA")._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()


@pytest.mark.parametrize("window", [0, 1, 3])
def test_the_disk_here_fills_up_while_events_are_fetched(
    small: Any, monkeypatch: pytest.MonkeyPatch, window: int
) -> None:
    battery = small.batteries["QA"][0]
    for number in range(120):
        small.log("QB", "held", {"asset": battery, "reason": f"{number} " + "x" * 900})
    small.exchange("QB")
    no_log(small)
    took, real = [0], pull._take

    def take(*args: Any) -> None:
        if took[0] == window:
            small.disk.fill(leave=30_000)
        took[0] += 1
        real(*args)

    monkeypatch.setattr(pull, "_take", take)
    with pytest.raises(Busy, match=r"QA/record.db: the disk is full.*Free some space and repeat"):
        exchanged(small, "QA")
    holds = len(small.site("QA").state(battery).holds)
    assert (holds > 0) == (window > 0) and holds < 120
    assert small.grave("QA") == []
    # Looked up all the same; and it is told again as long as there is no room.
    with pytest.raises(Busy, match="the disk is full"):
        exchanged(small, "QA")
    small.disk.make_room()
    done = exchanged(small, "QA")
    assert 120 - holds <= done.fetched <= 122 - holds, "what had come does not come again"
    everything_there(small, battery)


@pytest.mark.parametrize("batch", [1, 3])
def test_the_disk_here_fills_up_while_it_is_noted_what_was_sent(small: Any, batch: int) -> None:
    battery = small.batteries["QA"][0]
    for number in range(100):
        small.log("QA", "held", {"asset": battery, "reason": f"leak {number}"})
    no_log(small)
    steps: list[str] = []

    def step(what: str, *_: int) -> None:
        steps.append(what)
        if len(steps) == batch:
            small.disk.fill()

    with pytest.raises(Busy, match=r"QA/record.db: the disk is full.*Free some space and repeat"):
        exchanged(small, "QA", step)
    assert steps.count("sending") >= batch
    small.disk.make_room()
    assert exchanged(small, "QA").sent <= 100 - 20 * batch
    everything_there(small, battery)


@contextmanager
def full_database(company: Any, site: str) -> Iterator[Path | None]:
    """The partition of a site lies on a disk of its own, which is full but for some pages; where
    none can be mounted, something in the database says so."""
    folder = company.postgres.folder / "small"
    name = f"tagkit.events_{site.lower()}"
    with small_disk(folder, 2000) as mounted:
        if mounted:
            space = folder / "space"
            space.mkdir()
            if company.postgres.user:
                os.chown(space, company.postgres.user["user"], company.postgres.user["group"])
                folder.chmod(0o755)
            company.admin.execute(f"CREATE TABLESPACE small LOCATION '{space}'")
            company.admin.execute(f"ALTER TABLE {name} SET TABLESPACE small")
            fill(folder, leave=60_000)
        else:
            company.admin.execute(
                "CREATE FUNCTION full_disk() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
                "IF NEW.sequence % 50 = 0 THEN RAISE EXCEPTION 'No space left on device' "
                "USING ERRCODE = '53100'; END IF; RETURN NEW; END $$"
            )
            company.admin.execute(
                f"CREATE TRIGGER full_disk BEFORE INSERT ON {name} "
                "FOR EACH ROW EXECUTE FUNCTION full_disk()"
            )
        try:
            yield folder if mounted else None
        finally:
            if mounted:
                company.admin.execute(f"ALTER TABLE {name} SET TABLESPACE pg_default")
                company.admin.execute("DROP TABLESPACE small")
            else:
                company.admin.execute("DROP FUNCTION full_disk CASCADE")
    shutil.rmtree(folder, ignore_errors=True)


def test_the_disk_of_the_database_is_full(company: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(push, "BATCH", 20)
    company.site("QA"), company.site("QB")
    battery = company.batteries["QA"][0]
    company.move("QA", battery, "site QB", "elsewhere")
    company.settle("QA", "QB")
    with full_database(company, "QA") as disk:
        for number in range(200):
            company.log("QA", "held", {"asset": battery, "reason": f"{number} " + "x" * 900})
        company.move("QB", battery, "stand 4")
        company.exchange("QB")
        with pytest.raises(
            Busy, match=r"disk of the exchange's database is full.*who runs the exchange.*safe"
        ):
            exchanged(company, "QA")
        sent = company.admin.execute("SELECT count(*) FROM tagkit.events_qa").fetchone()[0]
        head = company.admin.execute("SELECT max(sequence) FROM tagkit.heads WHERE site = 'QA'")
        assert sent == head.fetchone()[0] < 200, "whole batches or nothing"
        assert company.place("QA", battery) == "stand 4", "what others sent comes all the same"
        assert company.site("QA").notes().unsent() > 0
        if disk:
            make_room(disk)
            assert exchanged(company, "QA").sent > 0
    everything_there(company, battery)
