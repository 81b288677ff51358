"""Records of every release so far open in this one, with all that was in them."""

from __future__ import annotations

import json
import shutil
import sqlite3
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from threading import Barrier
from typing import Any

import pytest
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.record.backup import backup, restore
from tagkit.record.record import Record
from tagkit.record.schema import SCHEMA_VERSION
from tagkit.record.state import FOLD_VERSION
from tagkit.record.verify import read_heads, verify

STORED = sorted((Path(__file__).parent / "stored").glob("*.db"))


@pytest.fixture(params=STORED, ids=lambda path: path.stem)
def stored(request: pytest.FixtureRequest, tmp_path: Path) -> Any:
    """A folder with a stored record, and what must be found in it."""
    (tmp_path / "site").mkdir()
    shutil.copy(request.param, tmp_path / "site" / "record.db")
    found = json.loads(request.param.with_suffix(".json").read_text(encoding="utf-8"))
    return tmp_path / "site", found


def test_there_is_a_record_of_every_schema() -> None:
    """No program ever left a file with the first step alone: the second came along with it."""
    kept = {json.loads(one.with_suffix(".json").read_text("utf-8"))["schema"] for one in STORED}
    assert kept == set(range(2, SCHEMA_VERSION + 1))


def test_all_that_was_in_it_is_found(stored: Any) -> None:
    folder, found = stored
    with Record.open(folder) as record:
        assert [str(head) for head in record.heads()] == found["heads"]
        assert sorted(record.people()) == found["people"]
        assert {state.tag for state in record.states()} == set(found["assets"])
        for tag, facts in found["assets"].items():
            state = record.state(tag)
            assert state.fold_version == FOLD_VERSION
            assert (state.place["name"] if state.place else None) == facts["place"]
            assert state.maker_serial == facts["serial"]
            assert [hold["reason"] for hold in state.holds] == facts["holds"]
            assert (state.retired_at is not None) == facts["retired"]
            assert state.last_charged_at == facts["charged_at"]
            assert state.last_changed_at == facts["changed_at"]
            assert [event.id for event in record.timeline(tag)] == facts["timeline"]
            assert state.unknown_kinds == []
        assert record.rebuild() == []
        version = record._connection.execute("PRAGMA user_version").fetchone()[0]
    assert version == SCHEMA_VERSION
    heads = read_heads("\n".join(found["heads"]))
    assert {one.kind for one in verify(folder, heads) if one.grave} == {"copied"}


def test_it_goes_on_being_written_to_and_exchanged(stored: Any, tmp_path: Path) -> None:
    folder, found = stored
    with Record.open(folder) as record:
        with record.writing("TS", "desk") as writing:
            tag = writing.issue(Kind.BATTERY)
            writing.append("registered", [tag], {"nameplate": {}})
        assert str(tag) not in found["assets"]
        with Record.create(tmp_path / "peer", "QZ") as peer:
            assert peer.receive(record.export()).refused == []
            for one in record.states():
                assert peer.state(one.tag).to_json() == one.to_json()
    assert [str(one) for one in verify(folder) if one.grave] == []


def test_a_backup_of_it_is_restored(stored: Any, tmp_path: Path) -> None:
    folder, found = stored
    with restore(folder / "record.db", tmp_path / "old") as old:
        assert {state.tag for state in old.states()} == set(found["assets"])
    with Record.open(folder) as record:
        backup(record, tmp_path / "new.tagkit")
    with restore(tmp_path / "new.tagkit", tmp_path / "new") as new:
        assert {state.tag for state in new.states()} == set(found["assets"])


def test_programs_that_open_it_at_once_bring_it_up_to_date_once(stored: Any) -> None:
    """After an update the stations start again together."""
    folder, found = stored
    together = Barrier(4)

    def opened(_: int) -> set[str]:
        together.wait(60)
        with Record.open(folder) as record:
            return {state.tag for state in record.states()}

    with ThreadPoolExecutor(4) as programs:
        assert list(programs.map(opened, range(4))) == [set(found["assets"])] * 4


def test_an_upgrade_cut_off_in_the_middle_goes_on_at_the_next_opening(stored: Any) -> None:
    """The states were not all folded again when the power went."""
    folder, found = stored
    with Record.open(folder) as record:
        record._connection.execute("UPDATE meta SET value = '1' WHERE name = 'fold_version'")
        record._connection.execute("DELETE FROM assets WHERE kind = 'T'")
    with Record.open(folder) as record:
        assert {state.tag for state in record.states()} == set(found["assets"])


def test_a_record_or_backup_of_a_newer_release_is_refused_untouched(
    stored: Any, tmp_path: Path
) -> None:
    folder, _ = stored
    path = folder / "record.db"
    with closing(sqlite3.connect(path)) as raw:
        raw.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    before = path.read_bytes()
    for attempt in (lambda: Record.open(folder), lambda: restore(path, tmp_path / "again")):
        with pytest.raises(WrongInput, match=r"newer tagkit\. Update tagkit"):
            attempt()
    assert path.read_bytes() == before
    assert not (tmp_path / "again" / "record.db").exists()
