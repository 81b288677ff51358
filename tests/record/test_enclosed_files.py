"""Photos and other files that people made come back with a backup, whole or not at all."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from tagkit.errors import WrongInput
from tagkit.record import sealed
from tagkit.record.backup import backup, restore
from tagkit.record.verify import verify

WORDS = "seven green forks lift"
MADE = {
    "photos/" + "a1" * 32 + ".jpg": b"\xff\xd8 a cracked case",
    "photos/" + "b2" * 32 + ".jpg": bytes(200_000),
    "steps.toml": b'["changing"]\n',
    "deliveries/d-1/rows.json": b"[]",
    "templates/our own.toml": b"width = 90\n",
}
LEFT_OUT = ("prints/card.pdf", "tls/key.pem", "access.db", "photos/x.part", "notes.txt")


@pytest.fixture(autouse=True)
def cheap_guesses(monkeypatch: pytest.MonkeyPatch) -> None:
    """What makes guessing dear makes tests slow."""
    monkeypatch.setattr(sealed, "COST", 1 << 10)


@pytest.fixture
def lived_in(depot: Any) -> Any:
    for name, content in {**MADE, **dict.fromkeys(LEFT_OUT, b"not this")}.items():
        path = depot.folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return depot


def files_of(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and not path.name.startswith("record.db") and path.suffix != ".pem"
    }


@pytest.mark.parametrize("password", [None, WORDS])
def test_the_drill_after_a_lost_computer(
    lived_in: Any, tmp_path: Path, password: str | None
) -> None:
    file = tmp_path / "monday.tagkit"
    states = [state.to_json() for state in lived_in.record.states()]
    backup(lived_in.record, file, password=password)
    if password:
        assert b"cracked case" not in file.read_bytes()
    with restore(file, tmp_path / "again", password=password) as again:
        assert [state.to_json() for state in again.states()] == states
    assert files_of(tmp_path / "again") == MADE
    assert not any(finding.grave for finding in verify(tmp_path / "again"))
    # The record itself does not carry the files on.
    assert b"cracked case" not in (tmp_path / "again" / "record.db").read_bytes()


def test_a_file_that_is_there_already_stays(lived_in: Any, tmp_path: Path) -> None:
    backup(lived_in.record, tmp_path / "monday.tagkit")
    (tmp_path / "again").mkdir()
    (tmp_path / "again" / "steps.toml").write_bytes(b"newer")
    restore(tmp_path / "monday.tagkit", tmp_path / "again").close()
    assert (tmp_path / "again" / "steps.toml").read_bytes() == b"newer"


@pytest.mark.parametrize(
    ("damage", "told"),
    [
        ("UPDATE enclosed SET content = x'00' WHERE name LIKE 'photos/a1%'", "is damaged"),
        ("UPDATE enclosed SET name = '../outside.toml' WHERE name = 'steps.toml'", "no file of"),
        ("UPDATE enclosed SET name = 'photos/../../x' WHERE name = 'steps.toml'", "no file of"),
        ("UPDATE enclosed SET name = '/etc/x.toml' WHERE name = 'steps.toml'", "no file of"),
        ("UPDATE enclosed SET name = 'record.db' WHERE name = 'steps.toml'", "no file of"),
        ("UPDATE enclosed SET name = 'keys/x.pem' WHERE name = 'steps.toml'", "no file of"),
        ("UPDATE enclosed SET name = 'site.toml' WHERE name = 'steps.toml'", "no file of"),
        # Of this number no buffer of that size is made.
        ("UPDATE enclosed SET content = 100000000000 WHERE name = 'steps.toml'", "is damaged"),
        ("UPDATE enclosed SET content = 'words' WHERE name = 'steps.toml'", "is damaged"),
        ("ALTER TABLE enclosed RENAME content TO contents", "damaged .*no such column"),
        ("CREATE TRIGGER t AFTER INSERT ON events BEGIN DELETE FROM events; END", "trigger 't'"),
        ("CREATE VIEW v AS SELECT 1", "view 'v'"),
        ("DELETE FROM meta WHERE name = 'site'", "of which site"),
        ("UPDATE meta SET value = '../x' WHERE name = 'site'", "of which site"),
        ("ALTER TABLE events RENAME TO happenings", "damaged .*no such table"),
    ],
)
def test_a_damaged_or_foreign_file_is_refused_before_anything_is_written(
    lived_in: Any, tmp_path: Path, damage: str, told: str
) -> None:
    file = tmp_path / "monday.tagkit"
    backup(lived_in.record, file)
    with closing(sqlite3.connect(file)) as raw, raw:
        assert raw.execute(damage).rowcount in (1, -1)
    with pytest.raises(WrongInput, match=told):
        restore(file, tmp_path / "again")
    assert not (tmp_path / "again").exists() or files_of(tmp_path / "again") == {}
    assert not (tmp_path / "outside.toml").exists()
