"""A printed report is a witness: a record cut back or written anew afterwards is found out."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path

import pytest
from battery_room import BatteryRoom
from pypdfium2 import PdfDocument
from tagkit.record.envelope import from_bytes, hash_of, to_bytes
from tagkit.record.keys import load_key
from tagkit.record.printed_heads import PrintedHead, read_printed
from tagkit.record.record import Record
from tagkit.record.store import FILE_NAME


@pytest.fixture
def printed(room: BatteryRoom, tmp_path: Path) -> Path:
    """The list of authorised people, printed while the record was whole."""
    room.staff()
    assert room.run("report", "people", "--out", tmp_path / "people.pdf").code == 0
    return tmp_path / "people.pdf"


def cut_back(room: BatteryRoom, events: int) -> None:
    """Takes the last events away so that the record agrees with itself."""
    with closing(sqlite3.connect(room.folder / FILE_NAME)) as raw:
        (end,) = raw.execute("SELECT max(sequence) FROM events").fetchone()
        end -= events
        raw.execute("DELETE FROM event_tags WHERE n IN (SELECT n FROM events WHERE sequence > ?)",
                    (end,))  # fmt: skip
        raw.execute("DELETE FROM events WHERE sequence > ?", (end,))
        (last,) = raw.execute("SELECT raw FROM events WHERE sequence = ?", (end,)).fetchone()
        raw.execute("UPDATE chains SET head_sequence = ?, head_hash = ?",
                    (end, hash_of(bytes(last))))  # fmt: skip
        raw.execute("UPDATE meta SET value = '0' WHERE name = 'fold_version'")
        raw.commit()
    Record.open(room.folder).close()  # folds again


def write_anew(room: BatteryRoom) -> None:
    """Writes every event anew by another hand, signed with the station's own key."""
    with closing(sqlite3.connect(room.folder / FILE_NAME)) as raw:
        (epoch,) = raw.execute("SELECT epoch FROM chains").fetchone()
        key = load_key(room.folder / "keys", epoch)
        rows = raw.execute("SELECT raw FROM events ORDER BY sequence").fetchall()
        previous = from_bytes(bytes(rows[0][0])).previous
        for (content,) in rows:
            event = replace(from_bytes(bytes(content)), previous=previous, by="XX")
            written = to_bytes(event)
            raw.execute("UPDATE events SET raw = ?, signature = ? WHERE sequence = ?",
                        (written, key.sign(written), event.sequence))  # fmt: skip
            previous = hash_of(written)
        raw.execute("UPDATE chains SET head_hash = ?", (previous,))
        raw.commit()


def test_the_record_still_holds_what_a_report_was_made_from(
    room: BatteryRoom, printed: Path
) -> None:
    assert room.run("verify", "--head", printed).code == 0
    room.run("hold", "B1", "--reason", "connector loose", "--by", "SW", "--no-card")
    assert room.run("verify", "--head", printed).code == 0, "a record goes on"


def test_a_record_cut_back_after_printing_is_found_out(room: BatteryRoom, printed: Path) -> None:
    cut_back(room, 2)
    assert room.run("verify").code == 0, "by itself it is in order"
    found = room.run("verify", "--head", printed)
    assert found.code == 20
    assert "cut off: station" in found.out and "not in the record any more" in found.out


def test_a_record_written_anew_with_the_stations_own_key_is_found_out(
    room: BatteryRoom, printed: Path
) -> None:
    write_anew(room)
    assert room.run("verify").code == 0, "by itself it is in order"
    found = room.run("verify", "--head", printed)
    assert found.code == 20 and "rewritten: station" in found.out


@pytest.mark.parametrize("suffix", ["csv", "xlsx", "json"])
def test_tables_are_witnesses_too(room: BatteryRoom, suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"people.{suffix}"
    room.staff()
    room.run("report", "people", "--out", path)
    assert room.run("verify", "--head", path).code == 0
    cut_back(room, 1)
    assert room.run("verify", "--head", path).code == 20


def test_a_head_is_keyed_in_from_paper(room: BatteryRoom, printed: Path) -> None:
    text = "\n".join(page.get_textpage().get_text_range() for page in PdfDocument(printed))
    (head,) = read_printed(text)
    assert room.run("verify", "--head", str(head)).code == 0
    apart = f"{head.station} {head.sequence} {head.begins[:12].upper()}"
    assert room.run("verify", "--head", apart).code == 0
    other = PrintedHead(head.station, head.sequence, "0" * 16)
    assert room.run("verify", "--head", str(other)).code == 20
    stranger = PrintedHead("nowhere", 1, head.begins)
    assert room.run("verify", "--head", str(stranger)).code == 20


@pytest.mark.parametrize(
    "text",
    ["desk:417:7d35c9052c2", "12:30:45", "desk 417 x7d35c9052c23c1d5", "seen at desk 4 202611250001",
     "desk:417:7d35c9052c23c1d5-9"],
)  # fmt: skip
def test_what_is_no_head_is_not_taken_for_one(room: BatteryRoom, text: str) -> None:
    assert read_printed(text) == []
    assert room.run("verify", "--head", text).code == 2


def test_heads_are_found_in_a_line_of_words() -> None:
    text = "Record up to battery_room:37610:7d35c9052c23c1d5, bay-1:4:6513c8b48d8d74bd (checked"
    assert read_printed(text) == [
        PrintedHead("battery_room", 37610, "7d35c9052c23c1d5"),
        PrintedHead("bay-1", 4, "6513c8b48d8d74bd"),
    ]
