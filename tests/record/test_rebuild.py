"""What is kept beside the journal can be made again from it."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import Any

import pytest
from tagkit.errors import WrongInput
from tagkit.record.record import Record
from tagkit.record.verify import verify


def busy(depot: Any, clock: Any) -> None:
    """Some life, with a clock that stood in another year for a while."""
    truck, first, second = depot.trucks[0], *depot.batteries[:2]
    depot.change(truck, first, station="bay 1")
    clock.move(days=4000)
    change = depot.change(truck, second, out=first, to=depot.chargers[0], station="bay 1")
    clock.move(days=-4000)
    depot.log("held", {"asset": str(first), "reason": "leak"})
    depot.change(truck, first, out=second, station="bay 1")
    depot.log("voided", {"event": change.id, "reason": "wrong"})
    depot.log("authorised", {"person": "KM", "initials": "KM", "role": "technician"})


def test_a_sound_record_comes_out_as_it_went_in(depot: Any, clock: Any) -> None:
    busy(depot, clock)
    before = [state.to_json() for state in depot.record.states()]
    seen: list[tuple[int, int]] = []
    assert depot.record.rebuild(lambda done, total: seen.append((done, total))) == []
    assert [state.to_json() for state in depot.record.states()] == before
    assert depot.record.person("KM") is not None
    assert verify(depot.folder) == []
    assert seen and seen[-1][0] == seen[-1][1]


@pytest.mark.parametrize(
    "damage",
    [
        "UPDATE assets SET state = replace(state, 'leak', 'lean')",
        "UPDATE assets SET state = '{}' WHERE kind = 'B'",
        "UPDATE assets SET place = NULL",
        "DELETE FROM assets WHERE kind = 'T'",
        "INSERT INTO assets SELECT 'B-QM-09999-Z', kind, effective, clock, NULL, NULL, NULL, "
        "state FROM assets WHERE kind = 'B' LIMIT 1",
        "DELETE FROM event_tags WHERE n > 10",
        "DELETE FROM voids",
        "DELETE FROM checkpoints",
        "UPDATE events SET effective = effective + 5 WHERE n % 2",
        "UPDATE events SET kind = 'held', clock = 7 WHERE n = 12",
        "UPDATE chains SET head_hash = 'x'",
        "UPDATE serials SET last = 0",
    ],
)
def test_what_was_damaged_beside_the_journal_is_mended(depot: Any, clock: Any, damage: str) -> None:
    busy(depot, clock)
    before = [state.to_json() for state in depot.record.states()]
    depot.record.close()
    with closing(sqlite3.connect(depot.record.path)) as raw, raw:
        raw.execute("PRAGMA foreign_keys = OFF")
        raw.execute(damage)
    found = [finding for finding in verify(depot.folder) if finding.grave]
    with (
        Record.open(depot.folder, clock=clock) as record,
        Record.open(depot.folder, clock=clock) as other,
    ):

        def meanwhile(*_: Any) -> None:
            if "chains" not in damage:  # an end that is wrong goes on wrong
                with other.writing("KM", "bay 3") as writing:
                    writing.append("cleaned", [depot.chargers[1]], {})

        mended = record.rebuild(meanwhile)
        assert bool(mended) == bool(found) or "place = NULL" in damage
        states = [state.to_json() for state in record.states()]
        assert len(states) == len(before)
        assert [one for one in states if one not in before] == [
            record.state(depot.chargers[1]).to_json()
        ][: "chains" not in damage]
        assert record.rebuild() == []
    assert verify(depot.folder) == []
    assert not list(depot.folder.glob("rebuild*"))


def test_a_flipped_bit_in_a_state_is_told_and_how_to_mend_it(depot: Any) -> None:
    battery = depot.batteries[0]
    depot.change(depot.trucks[0], battery)
    (text,) = depot.record._connection.execute(
        "SELECT state FROM assets WHERE tag = ?", (str(battery),)
    ).fetchone()
    depot.record.close()
    for place in range(0, len(text), 7):
        flipped = text[:place] + chr(ord(text[place]) ^ 1) + text[place + 1 :]
        with closing(sqlite3.connect(depot.record.path)) as raw, raw:
            raw.execute("UPDATE assets SET state = ? WHERE tag = ?", (flipped, str(battery)))
        with (
            Record.open(depot.folder) as record,
            pytest.raises(WrongInput, match="record rebuild"),
        ):
            record.state(battery)
    with Record.open(depot.folder) as record:
        assert len(record.rebuild()) == 1
        assert record.state(battery).to_json() == text


def test_an_event_that_cannot_be_read_is_left_out_and_stays_named(depot: Any) -> None:
    depot.record.close()
    with closing(sqlite3.connect(depot.record.path)) as raw, raw:
        raw.execute("UPDATE events SET raw = x'7b7d' WHERE sequence = 5")
    with Record.open(depot.folder) as record:
        assert record.rebuild()
    assert "changed" in {finding.kind for finding in verify(depot.folder)}
