"""Nobody can quietly rewrite the record."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from tagkit.errors import NotFound
from tagkit.record.envelope import hash_of, to_bytes
from tagkit.record.keys import load_key
from tagkit.record.record import Record
from tagkit.record.verify import Finding, read_heads, verify


@contextmanager
def tampering(depot: Any) -> Iterator[sqlite3.Connection]:
    depot.record.close()
    connection = sqlite3.connect(depot.record.path)
    yield connection
    connection.commit()
    connection.close()


@pytest.fixture
def busy(depot: Any) -> Any:
    """A depot with some changes; ``ids`` are those of its chain, in order."""
    truck = depot.trucks[0]
    for number in range(6):
        into, out = depot.batteries[number % 2], depot.batteries[1 - number % 2]
        depot.change(truck, into, out=out, to=depot.chargers[0])
    (depot.head,) = depot.record.heads()
    return depot


def kinds(findings: list[Finding]) -> list[str]:
    return sorted({finding.kind for finding in findings if finding.grave})


def named(findings: list[Finding], kind: str) -> str:
    return " ".join(finding.where for finding in findings if finding.kind == kind)


def test_an_untouched_record_is_clean(busy: Any) -> None:
    seen: list[tuple[int, int]] = []
    heads = busy.record.heads()
    assert verify(busy.folder, heads, lambda done, total: seen.append((done, total))) == []
    assert seen[-1] == (busy.head.sequence, busy.head.sequence)


def test_a_changed_event_is_named(busy: Any) -> None:
    with tampering(busy) as raw:
        raw.execute(
            'UPDATE events SET raw = CAST(replace(CAST(raw AS TEXT), \'"by":"TS"\', '
            '\'"by":"KM"\') AS BLOB) WHERE sequence = 11'
        )
    findings = verify(busy.folder)
    assert "changed" in kinds(findings)
    assert f"{busy.head.epoch}-11" in named(findings, "changed")
    assert "inserted" not in kinds(findings)


def test_an_event_turned_into_rubbish_is_named(busy: Any) -> None:
    with tampering(busy) as raw:
        raw.execute("UPDATE events SET raw = x'00ff' WHERE sequence = 11")
        raw.execute("DELETE FROM event_tags WHERE n = 11")
    assert f"{busy.head.epoch}-11" in named(verify(busy.folder), "changed")


def test_a_removed_event_is_named(busy: Any) -> None:
    with tampering(busy) as raw:
        raw.execute("DELETE FROM events WHERE sequence = 11")
    findings = verify(busy.folder)
    assert f"{busy.head.epoch}-11" in named(findings, "removed")
    assert "changed" not in kinds(findings)


def test_removing_and_closing_the_gap_is_named_too(busy: Any) -> None:
    with tampering(busy) as raw:
        raw.execute("DELETE FROM events WHERE sequence = 11")
        raw.execute("UPDATE events SET sequence = -(sequence - 1) WHERE sequence > 11")
        raw.execute("UPDATE events SET sequence = -sequence WHERE sequence < 0")
        raw.execute("UPDATE chains SET head_sequence = head_sequence - 1")
    findings = verify(busy.folder)
    assert f"{busy.head.epoch}-11" in named(findings, "removed")


def forged(busy: Any, raw: sqlite3.Connection, sequence: int) -> bytes:
    (found,) = raw.execute("SELECT raw FROM events WHERE sequence = ?", (sequence,)).fetchone()
    return bytes(found).replace(b'"by":"TS"', b'"by":"XX"')


def test_an_inserted_event_is_named(busy: Any) -> None:
    with tampering(busy) as raw:
        content = forged(busy, raw, 11)
        raw.execute("UPDATE events SET sequence = -(sequence + 1) WHERE sequence >= 11")
        raw.execute("UPDATE events SET sequence = -sequence WHERE sequence < 0")
        raw.execute(
            "INSERT INTO events SELECT 999, chain, 11, kind, clock, effective, apart, ?, "
            "signature FROM events WHERE sequence = 12",
            (content,),
        )
        raw.execute("UPDATE chains SET head_sequence = head_sequence + 1")
    findings = verify(busy.folder)
    assert f"{busy.head.epoch}-11" in named(findings, "inserted")
    assert not {"changed", "removed"} & set(kinds(findings))


def test_an_event_added_at_the_end_is_named(busy: Any) -> None:
    end = busy.head.sequence
    with tampering(busy) as raw:
        content = forged(busy, raw, end)
        raw.execute(
            "INSERT INTO events SELECT 999, chain, ?, kind, clock, effective, apart, ?, "
            "signature FROM events WHERE sequence = ?",
            (end + 1, content, end),
        )
    assert f"{busy.head.epoch}-{end + 1}" in named(verify(busy.folder), "inserted")


def test_reordered_events_are_named(busy: Any) -> None:
    with tampering(busy) as raw:
        raw.execute("UPDATE events SET sequence = -10 WHERE sequence = 10")
        raw.execute("UPDATE events SET sequence = 10 WHERE sequence = 12")
        raw.execute("UPDATE events SET sequence = 12 WHERE sequence = -10")
    findings = verify(busy.folder)
    for sequence in (10, 12):
        assert f"{busy.head.epoch}-{sequence}" in named(findings, "reordered")


def cut(raw: sqlite3.Connection, end: int) -> None:
    """Cuts off the tail and makes everything kept beside it agree."""
    raw.execute("DELETE FROM event_tags WHERE n IN (SELECT n FROM events WHERE sequence > ?)",
                (end,))  # fmt: skip
    raw.execute("DELETE FROM events WHERE sequence > ?", (end,))
    (last,) = raw.execute("SELECT raw FROM events WHERE sequence = ?", (end,)).fetchone()
    raw.execute("UPDATE chains SET head_sequence = ?, head_hash = ?", (end, hash_of(bytes(last))))
    raw.execute("UPDATE meta SET value = '0' WHERE name = 'fold_version'")


def test_a_tail_cut_off_shows_against_a_known_head(busy: Any) -> None:
    printed = f"Record of QM on Monday\n  {busy.head}\n"
    with tampering(busy) as raw:
        cut(raw, 10)
    Record.open(busy.folder).close()  # folds again: by itself the rest is in order
    assert verify(busy.folder) == []
    findings = verify(busy.folder, read_heads(printed))
    assert kinds(findings) == ["cut off"]
    assert busy.head.epoch in named(findings, "cut off")
    assert f"{busy.head.sequence - 10} event(s)" in findings[0].text


def test_a_tail_cut_off_carelessly_shows_by_itself(busy: Any) -> None:
    with tampering(busy) as raw:
        raw.execute("DELETE FROM events WHERE sequence > 10")
    assert "cut off" in kinds(verify(busy.folder))


def test_a_cut_shows_when_another_station_knew_of_what_is_gone(busy: Any) -> None:
    battery = busy.batteries[0]
    seen = {str(battery): busy.record.state(battery).last_event}
    busy.log("watered", {}, tags=[battery], station="bay 1", seen=seen)
    with tampering(busy) as raw:
        raw.execute("DELETE FROM event_tags WHERE n IN (SELECT n FROM events "
                    "WHERE chain = 1 AND sequence > 10)")  # fmt: skip
        raw.execute("DELETE FROM events WHERE chain = 1 AND sequence > 10")
        raw.execute("UPDATE chains SET head_sequence = 10 WHERE chain = 1")
    findings = verify(busy.folder)
    assert busy.head.epoch in named(findings, "cut off")


def test_history_written_anew_with_the_stations_own_key_shows_against_a_known_head(
    busy: Any,
) -> None:
    heads = busy.record.heads()
    key = load_key(busy.folder / "keys", busy.head.epoch)
    events = [busy.record.event(f"{busy.head.epoch}-{n}") for n in range(1, 1 + heads[0].sequence)]
    with tampering(busy) as raw:
        previous = events[0].previous
        for event in events:
            new = replace(event, previous=previous, by="XX")
            content = to_bytes(new)
            raw.execute(
                "UPDATE events SET raw = ?, signature = ? WHERE sequence = ?",
                (content, key.sign(content), event.sequence),
            )
            previous = hash_of(content)
        raw.execute("UPDATE chains SET head_hash = ?", (previous,))
    assert verify(busy.folder) == []
    assert kinds(verify(busy.folder, heads)) == ["rewritten"]


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE assets SET state = replace(state, 'TS', 'KM')",
        "UPDATE assets SET state = replace(state, '\"events\":', '\"events\":1')",
        "UPDATE assets SET place = 'T-QM-00099-X' WHERE place IS NOT NULL",
        "DELETE FROM assets WHERE kind = 'T'",
        "INSERT INTO assets SELECT 'B-QM-09999-Z', kind, effective, clock, NULL, NULL, NULL, "
        "state FROM assets WHERE kind = 'B' LIMIT 1",
    ],
)
def test_a_changed_state_is_named(busy: Any, change: str) -> None:
    busy.log("held", {"asset": str(busy.batteries[0]), "reason": "leak"})
    with tampering(busy) as raw:
        raw.execute(change)
    assert kinds(verify(busy.folder)) == ["state differs"]


@pytest.mark.parametrize(
    "change",
    [
        "DELETE FROM event_tags WHERE n = 12",
        "UPDATE events SET effective = effective - 1 WHERE sequence = 12",
        "UPDATE events SET kind = 'held' WHERE sequence = 12",
        "INSERT INTO voids SELECT epoch, 12, 13 FROM chains",
        "DELETE FROM chains",
    ],
)
def test_a_changed_index_is_named(busy: Any, change: str) -> None:
    with tampering(busy) as raw:
        raw.execute(change)
    assert {"index differs", "removed"} & set(kinds(verify(busy.folder)))


def test_what_would_act_by_itself_is_named(busy: Any) -> None:
    with tampering(busy) as raw:
        raw.execute("CREATE TRIGGER t AFTER INSERT ON events BEGIN DELETE FROM events; END")
    assert kinds(verify(busy.folder)) == ["put in"]


def test_a_damaged_file_is_a_finding(busy: Any) -> None:
    busy.record.close()
    content = bytearray(busy.record.path.read_bytes())
    content[8192:40960] = bytes(32768)
    with busy.record.path.open("r+b") as file:
        file.write(content)
    assert "damaged" in kinds(verify(busy.folder))


def test_there_must_be_a_record(tmp_path: Path) -> None:
    with pytest.raises(NotFound):
        verify(tmp_path)
