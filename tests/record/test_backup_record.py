"""Backups while the room goes on working, and beginning again from one."""

from __future__ import annotations

import os
import threading
from pathlib import Path
from typing import Any

import pytest
from tagkit.assets.tag import Kind
from tagkit.errors import NotFound, WrongInput
from tagkit.record.backup import backup, restore
from tagkit.record.record import Record
from tagkit.record.verify import verify


def test_a_backup_taken_while_others_write_is_whole(depot: Any, tmp_path: Path) -> None:
    stop, written = threading.Event(), []

    def keep_writing() -> None:
        with Record.open(depot.folder) as record:
            while not stop.is_set():
                with record.writing("KM", "bay 1") as writing:
                    event = writing.append("watered", [depot.batteries[0]], {})
                written.append(event.id)

    worker = threading.Thread(target=keep_writing)
    worker.start()
    try:
        for number in range(5):
            before = len(written)
            backup(depot.record, tmp_path / f"backup{number}.db")
            again = restore(tmp_path / f"backup{number}.db", tmp_path / f"again{number}")
            with again:
                assert all(again.event(identity) for identity in written[:before])
            assert not any(finding.grave for finding in verify(tmp_path / f"again{number}"))
    finally:
        stop.set()
        worker.join()
    assert verify(depot.folder) == []
    assert sorted(path.name for path in tmp_path.iterdir() if "part" in path.name) == []


def test_nothing_is_overwritten(depot: Any, tmp_path: Path) -> None:
    file = tmp_path / "backup.db"
    backup(depot.record, file)
    content = file.read_bytes()
    with pytest.raises(WrongInput, match="file of that name"):
        backup(depot.record, file)
    assert file.read_bytes() == content
    backup(depot.record, file, force=True)
    before = depot.record.path.read_bytes()
    with pytest.raises(WrongInput, match="a record here already"):
        restore(file, depot.folder)
    assert depot.record.path.read_bytes() == before


def test_a_restored_record_begins_new_epochs_that_cite_the_old_ends(
    depot: Any, tmp_path: Path
) -> None:
    depot.change(depot.trucks[0], depot.batteries[0], station="bay 1")
    old = depot.record.heads()
    states = [state.to_json() for state in depot.record.states()]
    backup(depot.record, tmp_path / "backup.db")
    depot.change(depot.trucks[0], depot.batteries[1], out=depot.batteries[0])
    lost = depot.record.heads()
    with restore(tmp_path / "backup.db", tmp_path / "again", by="KM", clock=depot.clock) as again:
        assert [state.to_json() for state in again.states()] == states
        new = [head for head in again.heads() if head not in old]
        assert sorted(head.station for head in new) == ["bay 1", "desk"]
        for head in new:
            start = again.event(f"{head.epoch}-1")
            assert start.body["reason"] == "restored"
            assert {cite["hash"] for cite in start.body["cites"]} >= {one.hash for one in old}
        with again.writing("KM", "desk") as writing:
            assert writing.issue(Kind.BATTERY).serial > 1000
        assert again.notices == []
        assert [finding.kind for finding in verify(tmp_path / "again")] == ["new epoch"] * 2
        # What a peer still has of the lost record is known to be missing, and can come back.
        assert "cut off" in {finding.kind for finding in verify(tmp_path / "again", lost)}
        have = {head.epoch: head.sequence for head in again.heads()}
        assert again.receive(depot.record.export(have)).refused == []
        assert again.state(depot.batteries[1]).place["name"] == str(depot.trucks[0])
    assert not any(finding.grave for finding in verify(tmp_path / "again", lost))


def test_what_is_no_backup_is_refused(depot: Any, tmp_path: Path) -> None:
    with pytest.raises(NotFound):
        restore(tmp_path / "none.db", tmp_path / "again")
    words = tmp_path / "words.db"
    words.write_text("just some words, long enough to be looked at\n" * 50, encoding="utf-8")
    with pytest.raises(WrongInput):
        restore(words, tmp_path / "again")
    backup(depot.record, tmp_path / "backup.db")
    content = bytearray((tmp_path / "backup.db").read_bytes())
    content[4096:30000] = bytes(30000 - 4096)
    (tmp_path / "bad.db").write_bytes(content)
    with pytest.raises(WrongInput, match="damaged"):
        restore(tmp_path / "bad.db", tmp_path / "again")
    assert not (tmp_path / "again" / "record.db").exists()


def test_of_a_damaged_record_no_backup_is_made_and_older_ones_stay(
    depot: Any, tmp_path: Path
) -> None:
    older = tmp_path / "backup.db"
    backup(depot.record, older)
    before = older.read_bytes()
    for _ in range(40):
        depot.log("watered", {"remarks": "x" * 900}, tags=[depot.batteries[0]])
    depot.record.close()
    with depot.record.path.open("r+b") as file:  # the page with the first of these rows
        at = depot.record.path.read_bytes().index(b"x" * 900) // 4096 * 4096
        file.seek(at)
        file.write(bytes(range(1, 101)))
    with (
        Record.open(depot.folder) as record,
        pytest.raises(WrongInput, match=r"this record is damaged \([^\n*]+\)\. .*older backups"),
    ):
        backup(record, older, force=True)
    assert older.read_bytes() == before
    assert not list(tmp_path.glob("*.part*"))


@pytest.mark.parametrize("links", [True, False])
def test_a_record_made_in_the_same_moment_is_not_replaced(
    depot: Any, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, links: bool
) -> None:
    """Two programs restore into one folder: the second must not throw away the first's record."""
    backup(depot.record, tmp_path / "backup.db")
    again = tmp_path / "again"
    if not links:  # there it takes its place as before
        monkeypatch.setattr(os, "link", lambda *_: (_ for _ in ()).throw(OSError(1, "no links")))
        restore(tmp_path / "backup.db", again).close()
        assert verify(again) == [one for one in verify(again) if not one.grave]
        return

    def faster(_site: str, _settings: str | None) -> None:
        Record.create(again, "QM").close()

    with pytest.raises(WrongInput, match="a record here already"):
        restore(tmp_path / "backup.db", again, prepare=faster)
    with Record.open(again) as record:
        assert list(record.states()) == []
    assert not list(again.glob("*.part*"))
