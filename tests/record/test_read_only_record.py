"""A record that this user can't write to, as others left it or while they write to it."""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from small_disk import fill, make_room, no_page_left, small_disk
from tagkit.errors import Busy, WrongInput
from tagkit.record import read_only
from tagkit.record.outlook import Outlook
from tagkit.record.read_only import cannot_change
from tagkit.record.record import Record
from tagkit.record.verify import verify
from tagkit.record.watch import Watch


@pytest.fixture
def barred(monkeypatch: pytest.MonkeyPatch, depot: Any) -> Any:
    """The depot after its own record was closed; asking whether it may be written says no."""
    depot.record.close()

    def access(path: Path, mode: int, *, really: Any = os.access) -> bool:
        return really(path, mode) and not (mode == os.W_OK and depot.folder in (path, path.parent))

    monkeypatch.setattr(read_only.os, "access", access)
    return depot


def left_by_a_crash(depot: Any, target: Path, *ends: str) -> Path:
    """The files as a power cut leaves them, one event in the log; only these of them."""
    with closing(sqlite3.connect(depot.folder / "record.db")) as other:
        other.execute("PRAGMA journal_mode = WAL")
        other.execute("PRAGMA wal_autocheckpoint = 0")
        other.execute("INSERT INTO meta VALUES ('late', 'fact')")
        other.commit()
        target.mkdir()
        for end in ("", *ends):
            shutil.copyfile(depot.folder / f"record.db{end}", target / f"record.db{end}")
    return target


def inside(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


def copies() -> list[Path]:
    return [copy.folder for copy in read_only._COPIES.values()]


def test_closed_in_order_it_is_read_in_a_copy_that_goes_with_its_last_user(barred: Any) -> None:
    before = inside(barred.folder)
    with Record.open(barred.folder) as record, Record.open(barred.folder) as again:
        (folder,) = copies()
        assert folder.stat().st_mode & 0o077 == 0
        assert record.state(barred.batteries[0]) == again.state(barred.batteries[0]) is not None
        assert not record.outdated()
        for writes in (
            lambda: record.writing("TS", "desk").__enter__(),
            lambda: record.noting().__enter__(),
            lambda: record.receive([]),
            lambda: record.rebuild(),
        ):
            with pytest.raises(WrongInput, match="may not write to its file"):
                writes()
    assert not folder.exists() and copies() == []
    assert inside(barred.folder) == before and verify(barred.folder) == []


def test_beside_somebody_who_writes_it_shows_what_they_write(barred: Any, clock: Any) -> None:
    with pytest.MonkeyPatch.context() as allowed:
        allowed.setattr("tagkit.record.record.bar_of", lambda _path: None)
        record = Record.open(barred.folder, clock=clock)
    tag = str(barred.batteries[0])
    with record, Record.open(barred.folder) as looking, closing(Watch(barred.folder)) as watch:
        assert copies() == [] and not looking.outdated()
        mark = watch.mark()
        with looking.judging() as tables:
            tables.keep(tag, Outlook(tag, "B", "held"), [])
        assert looking.outlook().row(tag) and not record.outlook().row(tag)
        with record.writing("TS", "desk") as writing:
            writing.append("watered", [tag], {})
        assert looking.timeline(tag)[0].kind == "watered"
        assert looking.outdated() and watch.mark() > mark


@pytest.mark.parametrize("ends", [("-wal", "-shm"), ("-wal",)])
def test_after_a_crash_what_is_in_the_log_is_read(
    barred: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, ends: tuple[str, ...]
) -> None:
    folder = left_by_a_crash(barred, tmp_path / "left", *ends)
    monkeypatch.setattr(barred, "folder", folder)
    before = inside(folder)
    with Record.open(folder) as record:
        assert record.bar and len(copies()) == ("-shm" not in ends)
        assert record._meta()["late"] == "fact"
    assert "-shm" in ends or inside(folder) == before


def test_an_older_record_is_brought_up_to_date_in_a_copy(
    barred: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    stored = sorted((Path(__file__).parent / "stored").glob("*.db*"))[0]
    folder = tmp_path / "older"
    folder.mkdir()
    shutil.copyfile(stored, folder / "record.db")
    monkeypatch.setattr(barred, "folder", folder)
    before = inside(folder)
    with Record.open(folder) as record:
        assert list(record.states()) and len(copies()) == 1
    assert inside(folder) == before


def test_a_disk_without_room_for_a_copy_is_told(
    barred: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(read_only.shutil, "copyfile", full)
    with pytest.raises(Busy, match=r"copy.*No space left.*TMPDIR"):
        Record.open(barred.folder)


@pytest.mark.parametrize("copied_to", ["elsewhere", "the same disk"])
def test_on_a_disk_full_to_its_last_page_a_closed_record_is_looked_up(
    tmp_path: Path, make_depot: Any, monkeypatch: pytest.MonkeyPatch, copied_to: str
) -> None:
    with small_disk(tmp_path / "disk", 3000) as mounted:
        depot = make_depot(tmp_path / "disk" / "site")
        battery = depot.batteries[0]
        depot.record.close()
        if mounted:
            fill(tmp_path / "disk")
        else:
            monkeypatch.setattr(read_only.os, "statvfs", no_page_left)
        if copied_to == "the same disk" and read_only.MEMORY.exists():
            monkeypatch.setattr(read_only.tempfile, "tempdir", str(tmp_path / "disk"))
        with Record.open(depot.folder, clock=depot.clock) as record:
            assert record.state(battery) is not None
            assert record.bar and record.bar.why == "its disk is full"
            with (
                pytest.raises(WrongInput, match=r"its disk is full.*Free some space"),
                record.writing("TS", "desk") as writing,
            ):
                writing.append("watered", [battery], {})
            assert not record.outdated()
            with closing(Watch(depot.folder)) as watch:
                before = watch.mark()
                assert verify(depot.folder) == []
                if mounted:
                    make_room(tmp_path / "disk")
                else:
                    monkeypatch.undo()
                assert record.outdated()
                with Record.open(depot.folder, clock=depot.clock) as again:
                    with again.writing("TS", "desk") as writing:
                        writing.append("watered", [battery], {})
                    # Who has it open needs no room to open it beside.
                    if mounted:
                        fill(tmp_path / "disk")
                        with Record.open(depot.folder) as beside:
                            assert beside.bar is None and beside.state(battery) is not None
                assert watch.mark() > before
        assert not read_only._COPIES


@pytest.mark.parametrize(
    ("kind", "options", "cannot"),
    [("ext4", "ro,errors=remount-ro", True), ("ext4", "rw", False), ("nfs4", "ro", False)],
)
def test_only_a_disk_that_is_mounted_read_only_itself_cannot_change(
    tmp_path: Path, kind: str, options: str, cannot: bool
) -> None:
    device = tmp_path.stat().st_dev
    mounts = tmp_path / "mountinfo"
    mounts.write_text(
        f"36 35 {os.major(device)}:{os.minor(device)} / /mnt ro,relatime shared:1 - "
        f"{kind} /dev/sda1 {options}\n"
    )
    assert cannot_change(mounts, mounts) is cannot
