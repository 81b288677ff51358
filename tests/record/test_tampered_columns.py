"""Whatever is changed in the file's columns: verify tells, and no number is given out twice."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from typing import Any

import pytest
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.record.record import Record
from tagkit.record.verify import verify


def tamper(depot: Any, statement: str) -> None:
    depot.record.close()
    with closing(sqlite3.connect(depot.record.path)) as connection, connection:
        connection.execute("PRAGMA foreign_keys = OFF")
        assert connection.execute(statement).rowcount > 0


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE events SET raw = replace(CAST(raw AS TEXT), 'recorded_at', 'recorded_bt') "
        "WHERE sequence = 3",
        "UPDATE events SET raw = x'00' WHERE sequence = 3",
        "UPDATE events SET raw = 5 WHERE sequence = 3",
        "UPDATE events SET effective = 'abc' WHERE sequence = 3",
        "UPDATE chains SET head_sequence = 'abc'",
        "UPDATE event_tags SET tag = x'ff00' WHERE n = 3",
        "UPDATE assets SET tag = x'ff00' WHERE kind = 'B' AND tag = (SELECT max(tag) FROM assets "
        "WHERE kind = 'B')",
        "UPDATE assets SET state = replace(state, '\"events\"', '\"evfnts\"') WHERE kind = 'B'",
        "UPDATE assets SET kind = 'C' WHERE kind = 'B'",
        "UPDATE serials SET last = 0",
        "DELETE FROM serials",
        "UPDATE chains SET head_hash = CAST(x'ff41' AS TEXT)",
    ],
)
def test_verify_tells_instead_of_giving_up(depot: Any, statement: str) -> None:
    assert verify(depot.folder) == []
    tamper(depot, statement)
    assert any(finding.grave for finding in verify(depot.folder))


def test_an_unreadable_event_is_named_among_sound_ones(depot: Any) -> None:
    tamper(depot, "UPDATE events SET raw = x'7b7d' WHERE sequence = 3")
    found = verify(depot.folder)
    assert [one.kind for one in found if "-3," in one.where] == ["changed"]
    assert not any(one.kind == "damaged" for one in found)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE assets SET state = '{'",
        "UPDATE assets SET state = replace(state, '\"events\"', '\"evfnts\"')",
        "UPDATE assets SET state = CAST(x'7bff7d' AS TEXT)",
        "UPDATE events SET raw = x'7b7d'",
    ],
)
def test_looking_up_what_cannot_be_read_says_so(depot: Any, statement: str) -> None:
    tamper(depot, statement)
    battery = depot.batteries[0]
    with (
        Record.open(depot.folder, clock=depot.clock) as record,
        pytest.raises(WrongInput, match="damaged"),
    ):
        record.timeline(battery) if "events SET" in statement else record.state(battery)


def test_a_counter_that_was_set_back_gives_out_no_number_again(depot: Any) -> None:
    tamper(depot, "UPDATE serials SET last = 0")
    with (
        Record.open(depot.folder, clock=depot.clock) as record,
        record.writing("TS", "desk") as writing,
    ):
        issued = writing.issue(Kind.BATTERY)
        assert issued.serial > max(tag.serial for tag in depot.batteries)


def test_a_table_that_is_not_as_it_was_made_is_damage(depot: Any) -> None:
    depot.record.close()
    with closing(sqlite3.connect(depot.record.path)) as connection, connection:
        connection.execute("ALTER TABLE events RENAME COLUMN signature TO signaturf")
    assert [one.kind for one in verify(depot.folder)] == ["damaged"]
    with (
        Record.open(depot.folder, clock=depot.clock) as record,
        pytest.raises(WrongInput, match="damaged"),
    ):
        record.timeline(depot.batteries[0])
