"""Disks that fill up or can't be written, clocks that jump: told clearly, and nothing is lost."""

from __future__ import annotations

import contextlib
import sqlite3
import subprocess
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from small_disk import small_disk
from tagkit.errors import Busy, TagkitError, WrongInput
from tagkit.record.backup import backup, restore
from tagkit.record.record import Record
from tagkit.record.store import sqlite_connection
from tagkit.record.verify import verify


def full_after(pages: int) -> Callable[[Path], sqlite3.Connection]:
    """A connection to a file that may grow by so many pages only: then the disk is full."""

    def connect(path: Path) -> sqlite3.Connection:
        connection = sqlite_connection(path)
        (there,) = connection.execute("PRAGMA page_count").fetchone()
        connection.execute(f"PRAGMA max_page_count = {there + pages}")
        return connection

    return connect


def test_a_full_disk_is_told_and_what_was_acknowledged_stays(depot: Any) -> None:
    depot.record.close()
    acknowledged: list[str] = []
    for pages in range(0, 12, 2):
        with Record.open(depot.folder, clock=depot.clock, connect=full_after(pages)) as record:
            with pytest.raises(Busy, match="disk is full; nothing was recorded"):
                for _ in range(300):
                    with record.writing("TS", "desk") as writing:
                        body = {"asset": str(depot.batteries[0]), "reason": "x" * 900}
                        one = writing.append("held", [], body)
                        two = writing.append("moved", [], {
                            "battery": str(depot.batteries[1]),
                            "place": {"kind": "stand", "name": "s"}})  # fmt: skip
                    acknowledged += [one.id, two.id]
            # Looking things up goes on, and so does recording once there is room.
            assert record.state(depot.batteries[0]) is not None
    with Record.open(depot.folder, clock=depot.clock) as record:
        assert all(record.event(identity) for identity in acknowledged)
        counts = [record.state(tag).events for tag in depot.batteries[:2]]
        assert counts == [1 + len(acknowledged) // 2] * 2
        with record.writing("TS", "desk") as writing:
            writing.append("watered", [depot.batteries[2]], {})
    assert verify(depot.folder) == []


def test_a_small_disk_that_fills_up_loses_nothing_acknowledged(
    tmp_path: Path, make_depot: Any, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Where nothing can be mounted the file may not grow instead."""
    with small_disk(tmp_path, 1536) as mounted:
        depot = make_depot(tmp_path / "site")
        if not mounted:
            depot.record.close()
            depot.record = Record.open(depot.folder, clock=depot.clock, connect=full_after(120))
        acknowledged: list[str] = []
        with pytest.raises(TagkitError, match="disk"):
            for number in range(5000):
                body = {"asset": str(depot.batteries[number % 4]), "reason": "x" * 600}
                acknowledged.append(depot.log("held", body).id)
        if mounted:
            with pytest.raises(TagkitError):
                backup(depot.record, tmp_path / "backup.tagkit")
            assert [one.name for one in tmp_path.iterdir()] == ["site"]
            # It is the new site's disk that is full, not the backup's.
            elsewhere = tmp_path_factory.mktemp("elsewhere") / "backup.tagkit"
            backup(depot.record, elsewhere)
            with pytest.raises(Busy, match=r"again.*disk is full"):
                restore(elsewhere, tmp_path / "again")
            (tmp_path / "again").rmdir()
        depot.record.close()
        with Record.open(depot.folder) as record:
            assert all(record.event(identity) for identity in acknowledged)
            assert len(acknowledged) > 10
        assert [str(one) for one in verify(depot.folder) if one.grave] == []


def test_a_disk_that_may_not_be_written_is_told(depot: Any) -> None:
    depot.record.close()

    def read_only(path: Path) -> sqlite3.Connection:
        connection = sqlite_connection(path)
        connection.execute("PRAGMA journal_mode").fetchone()
        connection.execute("PRAGMA query_only = ON")
        return connection

    with Record.open(depot.folder, connect=read_only) as record:
        assert record.state(depot.batteries[0]) is not None
        with pytest.raises(WrongInput, match="can't be written"), record.writing("TS", "desk"):
            pass
    assert verify(depot.folder) == []


def test_a_disk_mounted_read_only_is_told_and_nothing_is_lost(
    tmp_path: Path, make_depot: Any
) -> None:
    """Where nothing can be mounted the test above stands for it."""
    with small_disk(tmp_path, 1536) as mounted:
        if not mounted:
            test_a_disk_that_may_not_be_written_is_told(make_depot(tmp_path / "site"))
            return
        depot = make_depot(tmp_path / "site")
        battery = depot.batteries[0]
        acknowledged = depot.log("watered", {}, tags=[battery])
        depot.record.close()
        before = depot.record.path.read_bytes()
        _remount(tmp_path, "ro")
        with Record.open(depot.folder) as record:
            with (
                pytest.raises(WrongInput, match="its disk is read-only"),
                record.writing("TS", "desk") as writing,
            ):
                writing.append("watered", [battery], {})
            # Looked up as it lies: there is no log, and nobody can change it.
            assert record.event(acknowledged.id) and not record.outdated()
            assert record._read_only and record._read_only.copy is None
        assert depot.record.path.read_bytes() == before
        _remount(tmp_path, "rw")
        with Record.open(depot.folder, clock=depot.clock) as record:
            with record.writing("TS", "desk") as writing:
                writing.append("watered", [battery], {})
            assert record.event(acknowledged.id) is not None
        assert verify(depot.folder) == []


def _remount(folder: Path, how: str) -> None:
    command = ["mount", "-o", f"remount,{how}", str(folder)]
    subprocess.run(command, capture_output=True, check=True)


def test_a_locked_record_is_busy_and_free_again_afterwards(
    depot: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tagkit.record.store.BUSY_TIMEOUT_MS", 30)
    with contextlib.closing(sqlite_connection(depot.record.path)) as other:
        other.execute("BEGIN IMMEDIATE")
        with Record.open(depot.folder) as record:
            with pytest.raises(Busy, match="in use"), record.writing("TS", "desk"):
                pass
            with pytest.raises(Busy, match="in use"):
                record.receive(list(depot.record.export()))
            assert record.state(depot.batteries[0]) is not None
            other.execute("ROLLBACK")
            with record.writing("TS", "desk") as writing:
                writing.append("watered", [depot.batteries[0]], {})
    assert verify(depot.folder) == []


def test_a_clock_that_jumps_to_and_fro_breaks_no_order(depot: Any, clock: Any) -> None:
    truck, batteries = depot.trucks[0], depot.batteries
    jumps = (5, -3, 48, -47.5, -24 * 400, 24 * 400, 24 * 3000, -24 * 3000, 0.2, -0.1)
    ids = []
    for number, hours in enumerate(jumps * 3):
        clock.move(hours=hours)
        into, out = batteries[number % 4], batteries[(number - 1) % 4]
        ids.append(depot.change(truck, into, out=out, station=("bay 1", "bay 2")[number % 2]).id)
    shown = [e.id for e in reversed(depot.record.timeline(truck)) if e.kind == "changed"]
    assert shown == ids
    assert [state.tag for state in depot.record.held_by(truck)] == [str(batteries[29 % 4])]
    assert verify(depot.folder) == []
    before = [state.to_json() for state in depot.record.states()]
    assert depot.record.rebuild() == []
    assert [state.to_json() for state in depot.record.states()] == before


@pytest.mark.parametrize("hours", [-11, 5.75, 14])
def test_another_time_zone_changes_nothing_but_how_times_are_written(
    tmp_path: Path, hours: float
) -> None:
    zone, now = timezone(timedelta(hours=hours)), [datetime(2026, 3, 2, 6, 0, tzinfo=UTC)]
    states = []
    for name, clock in (("utc", lambda: now[0]), ("local", lambda: now[0].astimezone(zone))):
        now[0] = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)
        with Record.create(tmp_path / name, "QM", clock=clock) as record:
            for minutes in (0, 30, 400, 1500):
                now[0] += timedelta(minutes=minutes)
                body = {"battery": "B-QM-00001-M", "place": {"kind": "stand", "name": str(minutes)}}
                at = now[0].astimezone(zone) - timedelta(minutes=5)
                with record.writing("TS", "desk") as writing:
                    event = writing.append("moved", [], body, at=at)
                assert event.happened == at
            state = record.state("B-QM-00001-M")
            states.append((state.place["since"], state.place["name"], state.last_event_at))
        assert verify(tmp_path / name) == []
    assert states[0] == states[1]
