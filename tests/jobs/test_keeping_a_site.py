"""Backups with everything a site needs, and settings that belong to the record beside them."""

from __future__ import annotations

import json
import logging
from contextlib import nullcontext
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from io import StringIO
from pathlib import Path
from threading import Event as Flag
from unittest.mock import MagicMock

import pytest
from tagkit.errors import Busy, WrongInput
from tagkit.exchange.round import Exchanged
from tagkit.jobs.exchange import exchange_now, keep_exchanging
from tagkit.jobs.health import health, open_metrics
from tagkit.jobs.keep import back_up, check_record, rebuild_record, restore_site
from tagkit.jobs.logs import log_to
from tagkit.jobs.site import create_site, open_site


class Now:
    def __init__(self) -> None:
        self.now = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock() -> Now:
    return Now()


@pytest.fixture
def folder(tmp_path: Path, clock: Now) -> Path:
    first = {"person": "TS", "initials": "TS", "role": "supervisor"}
    with (
        create_site(tmp_path / "site", "QM", clock=clock) as site,
        site.record.writing("TS", "desk") as writing,
    ):
        writing.append("authorised", [], first)
    path = tmp_path / "site" / "site.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("play_mm = 13.0", "play_mm = 9.0"))
    return tmp_path / "site"


def test_a_backup_brings_the_settings_back(folder: Path, tmp_path: Path, clock: Now) -> None:
    with open_site(folder, clock) as site:
        done = back_up(site, tmp_path / "monday.tagkit")
    assert done.events == 2
    back = restore_site(tmp_path / "monday.tagkit", tmp_path / "again")
    assert back.settings == "backup"
    with open_site(tmp_path / "again") as site:
        assert site.settings.fit.play_mm == 9.0
        assert site.record.person("TS") is not None
    assert check_record(tmp_path / "again", []).findings == ()
    # The text stands in the backup only.
    with open_site(tmp_path / "again") as site:
        assert "settings" not in site.record._meta()


def test_settings_that_are_there_already_are_kept(folder: Path, tmp_path: Path, clock: Now) -> None:
    with open_site(folder, clock) as site:
        back_up(site, tmp_path / "monday.tagkit")
    (tmp_path / "again").mkdir()
    text = (folder / "site.toml").read_text(encoding="utf-8").replace("9.0", "8.0")
    (tmp_path / "again" / "site.toml").write_text(text, encoding="utf-8")
    assert restore_site(tmp_path / "monday.tagkit", tmp_path / "again").settings == "folder"
    with open_site(tmp_path / "again") as site:
        assert site.settings.fit.play_mm == 8.0


def test_a_restore_cut_off_can_be_done_again(
    folder: Path, tmp_path: Path, clock: Now, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_site(folder, clock) as site:
        back_up(site, tmp_path / "monday.tagkit")

    class Killed(BaseException):
        pass

    def take_place(_unfinished: Path, _path: Path) -> None:
        raise Killed

    with monkeypatch.context() as patch, pytest.raises(Killed):
        patch.setattr("tagkit.record.backup.take_place", take_place)
        restore_site(tmp_path / "monday.tagkit", tmp_path / "again")
    assert not (tmp_path / "again" / "record.db").exists()
    assert (tmp_path / "again" / "site.toml").exists()
    restore_site(tmp_path / "monday.tagkit", tmp_path / "again")
    with open_site(tmp_path / "again") as site:
        assert site.settings.fit.play_mm == 9.0


def test_a_site_whose_making_was_cut_off_can_be_made_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Killed(BaseException):
        pass

    def create(*_: object, **__: object) -> None:
        raise Killed

    with monkeypatch.context() as patch, pytest.raises(Killed):
        patch.setattr("tagkit.record.record.Record.create", create)
        create_site(tmp_path / "site", "QM")
    create_site(tmp_path / "site", "QM").record.close()
    with pytest.raises(WrongInput, match="not empty"):
        create_site(tmp_path / "site", "QM")


def test_settings_of_another_site_are_refused(folder: Path) -> None:
    path = folder / "site.toml"
    path.write_text(path.read_text(encoding="utf-8").replace('code = "QM"', 'code = "QN"'))
    with pytest.raises(WrongInput, match="settings are of site QN, the record is of QM"):
        open_site(folder)


def test_keep_leaves_so_many_and_touches_nothing_else(
    folder: Path, tmp_path: Path, clock: Now
) -> None:
    others = [tmp_path / "night-old.tagkit", tmp_path / "night.tagkit", tmp_path / "x.txt"]
    for other in others:
        other.write_text("mine")
    for _ in range(6):
        clock.now += timedelta(days=1)
        with open_site(folder, clock) as site:
            done = back_up(site, tmp_path / "night.tagkit", keep=3)
        assert done.file.exists()
    kept = sorted(one.name for one in tmp_path.glob("night-2*"))
    assert kept == [f"night-2026030{day}-060000.tagkit" for day in (6, 7, 8)]
    assert all(other.read_text() == "mine" for other in others)


def test_an_old_one_stays_when_the_new_one_fails(
    folder: Path, tmp_path: Path, clock: Now, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_site(folder, clock) as site:
        first = back_up(site, tmp_path / "night.tagkit", keep=1).file

        def fail(*_: object, **__: object) -> None:
            raise OSError("the disk is gone")

        clock.now += timedelta(days=1)
        monkeypatch.setattr("tagkit.record.backup._check", fail)
        with pytest.raises(OSError):
            back_up(site, tmp_path / "night.tagkit", keep=1)
    assert [one.name for one in tmp_path.glob("night*")] == [first.name]


def test_health_says_how_the_site_is_doing(folder: Path, tmp_path: Path, clock: Now) -> None:
    with open_site(folder, clock) as site:
        new = health(site)
        assert (new.record_open, new.backup_age, new.stations) == (True, None, 1)
        assert (new.troubles, new.notices) == ((), ("no backup was made yet",))
        assert "tagkit_backup_age_seconds +Inf\n" in open_metrics(new)
        back_up(site, tmp_path / "b.tagkit")
        clock.now += timedelta(hours=2)
        found = health(site)
        assert found.backup_age == 7200
        assert (found.troubles, found.notices) == ((), ())
        text = open_metrics(found)
        assert "tagkit_backup_age_seconds 7200.0\n" in text
        assert text.endswith("# EOF\n")
        assert json.loads(json.dumps(found.to_json()))["ok"] is True
        clock.now += timedelta(days=2)
        assert health(site).troubles == ("the last backup was made 2.1 days ago",)
        low = replace(found, disk_free_bytes=80_000_000)
        assert low.troubles == ("only 80 MB are free on the disk",)
        clock.now -= timedelta(days=3)
        assert "clock is behind" in health(site).troubles[0]


def test_events_wait_for_an_exchange_only_where_there_is_one(
    folder: Path, clock: Now, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("TAGKIT_EXCHANGE", raising=False)
    with open_site(folder, clock) as site:
        alone = health(site)
        assert (alone.exchange_configured, alone.events_behind, alone.troubles) == (False, 0, ())
        text = open_metrics(alone)
        assert "tagkit_exchange_configured 0\n" in text
        assert "tagkit_exchange_events_behind 0\n" in text
        assert "tagkit_exchange_age_seconds" not in text
        monkeypatch.setenv("TAGKIT_EXCHANGE", "postgresql://db.example/company")
        never = health(site)
        assert never.troubles == ("nothing was exchanged yet: 2 events wait to be sent",)
        text = open_metrics(never)
        assert "tagkit_exchange_configured 1\n" in text
        assert "tagkit_exchange_events_behind 2\n" in text
        assert "tagkit_exchange_age_seconds +Inf\n" in text


def test_an_exchange_that_fails_is_told_until_one_is_done(
    folder: Path, clock: Now, monkeypatch: pytest.MonkeyPatch
) -> None:
    address = "postgresql://db.example/company"
    monkeypatch.setenv("TAGKIT_EXCHANGE", address)
    monkeypatch.setattr("tagkit.exchange.address.connect", lambda _: MagicMock(broken=False))
    monkeypatch.setattr("tagkit.exchange.address.spoken_to", lambda _: nullcontext())
    monkeypatch.setattr("tagkit.exchange.round.exchange", lambda *_: Exchanged(nothing_new=True))
    with open_site(folder, clock) as site:
        exchange_now(site, address)
    stop, told = Flag(), []

    def tell(said: object) -> None:
        told.append(said)
        if len(told) == 2:
            stop.set()

    def fail(*_: object) -> Exchanged:
        clock.now += timedelta(hours=1)
        raise Busy("the exchange can't be reached")

    def in_the_background() -> None:
        stop.clear(), told.clear()
        keep_exchanging(folder, address, 0.01, stop, tell)

    monkeypatch.setattr("tagkit.jobs.exchange.open_site", lambda there: open_site(there, clock))
    monkeypatch.setattr("tagkit.exchange.round.exchange", fail)
    in_the_background()
    with open_site(folder, clock) as site:
        found = health(site)
        assert found.exchange_failing == 3600
        assert found.troubles == (
            "the last exchange was 2.0 h ago, it fails and the log says why: 2 events wait to be sent",
        )
        assert "tagkit_exchange_failing_seconds 3600.0\n" in open_metrics(found)
    monkeypatch.setattr("tagkit.exchange.round.exchange", lambda *_: Exchanged(nothing_new=True))
    in_the_background()
    with open_site(folder, clock) as site:
        assert (health(site).troubles, health(site).exchange_failing) == ((), None)
        assert "failing" not in open_metrics(health(site))


def test_refused_events_are_told_for_a_day_though_nothing_new_came(
    folder: Path, clock: Now, monkeypatch: pytest.MonkeyPatch
) -> None:
    """They are refused once; whoever watches asks every few minutes."""
    done = iter([Exchanged(refused=("no event",), refusals=2), Exchanged(nothing_new=True)])
    monkeypatch.setattr("tagkit.exchange.round.exchange", lambda *_: next(done))
    for name in ("connect", "spoken_to"):
        monkeypatch.setattr(f"tagkit.exchange.address.{name}", lambda _: nullcontext())
    with open_site(folder, clock) as site:
        exchange_now(site, "postgresql://db.example/company")
        clock.now += timedelta(minutes=1)
        exchange_now(site, "postgresql://db.example/company")
        clock.now += timedelta(hours=23)
        assert health(site).events_refused == 2
        assert any("2 events of other sites" in one for one in health(site).troubles)
        clock.now += timedelta(hours=1)
        assert health(site).events_refused == 0


def test_health_of_a_broken_record_says_so(folder: Path, clock: Now) -> None:
    with open_site(folder, clock) as site:
        site.record.close()
        found = health(site)
    assert not found.record_open
    assert found.to_json()["ok"] is False


def test_rebuilding_says_what_it_did(folder: Path) -> None:
    report = rebuild_record(folder)
    assert (report.events, report.assets, report.differences) == (2, 0, ())


def test_logs_are_one_json_object_a_line() -> None:
    stream, logger = StringIO(), logging.getLogger("tagkit.exchange")
    try:
        log_to(stream, as_json=True)
        logger.info("exchanged", extra={"sent": 3})
        try:
            raise ValueError("two\nlines")
        except ValueError:
            logger.exception("failed")
        first, second = (json.loads(line) for line in stream.getvalue().splitlines())
        assert (first["message"], first["sent"], first["level"]) == ("exchanged", 3, "info")
        assert "two\nlines" in second["error"]
        stream.truncate(0)
        log_to(stream)
        logger.info("exchanged", extra={"sent": 4})
        assert stream.getvalue().strip("\0").rstrip().endswith("tagkit.exchange: exchanged sent=4")
    finally:
        logging.getLogger("tagkit").handlers.clear()
        logging.getLogger("tagkit").propagate = True
