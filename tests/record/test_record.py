"""Writing into the record and asking it."""

from __future__ import annotations

import shutil
import sqlite3
import subprocess
import sys
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from tagkit.assets.tag import Kind
from tagkit.errors import Busy, Exit, NotFound, WrongInput
from tagkit.record.clock import read_time
from tagkit.record.contradictions import change_against_record
from tagkit.record.record import Overtaken, Record
from tagkit.record.store import open_file
from tagkit.record.verify import verify


def test_everything_in_a_writing_is_kept_or_nothing(depot: Any) -> None:
    battery = depot.batteries[0]
    events = depot.record.state(battery).events
    with pytest.raises(RuntimeError), depot.record.writing("TS", "desk") as writing:
        writing.append("held", [battery], {"asset": str(battery), "reason": "leak"})
        assert writing.state(battery).held
        assert depot.record.state(battery).held  # its own queries see it meanwhile
        raise RuntimeError("the program fell over")
    assert depot.record.state(battery).events == events
    assert verify(depot.folder) == []


def test_numbers_are_given_out_once_and_skip_unprintable_ones(depot: Any) -> None:
    with depot.record.writing("TS", "desk") as writing:
        given = [writing.issue(Kind.BATTERY) for _ in range(100)]
    assert len(set(given) | set(depot.batteries)) == 104
    assert all(tag.check not in "OI" for tag in given)
    with depot.record.writing("KM", "bay 1") as writing:
        assert writing.issue(Kind.BATTERY) not in given


def test_whoever_looked_earlier_is_told_who_was_faster(depot: Any) -> None:
    truck, first, second = depot.trucks[0], *depot.batteries[:2]
    seen = {str(tag): depot.record.state(tag).last_event for tag in (truck, first, second)}
    depot.change(truck, first, by="KM", station="bay 2", seen=seen)
    with pytest.raises(Overtaken) as told, depot.record.writing("TS", "bay 1") as writing:
        writing.append("held", [second], {"asset": str(second), "reason": "mine, does not count"})
        writing.append("changed", [], {"truck": str(truck), "battery_in": str(second)}, seen)
    assert told.value.exit_code == Exit.NEEDS_ANSWER
    assert f"KM put {first} into {truck}" in str(told.value)
    assert "bay 2" in str(told.value)
    assert not depot.record.state(second).held


def test_what_the_same_writing_did_does_not_overtake_it(depot: Any) -> None:
    truck, battery = depot.trucks[0], depot.batteries[0]
    seen = {str(battery): depot.record.state(battery).last_event}
    with depot.record.writing("TS", "desk") as writing:
        writing.append("held", [battery], {"asset": str(battery), "reason": "x"}, seen)
        event = writing.append(
            "changed", [], {"truck": str(truck), "battery_in": str(battery)}, seen
        )
    assert depot.record.event(event.id).seen == seen


def test_the_future_is_refused_and_the_past_is_not(depot: Any, clock: Any) -> None:
    body = {"asset": str(depot.batteries[0]), "reason": "leak"}
    with pytest.raises(WrongInput, match="in the future"):
        depot.log("held", body, at=clock.now + timedelta(minutes=6))
    assert depot.log("held", body, at=clock.now + timedelta(minutes=4))
    assert depot.log("held", body, at=clock.now - timedelta(days=30))


@pytest.mark.parametrize(("by", "station"), [("", "desk"), ("TS", " "), ("T\nS", "desk")])
def test_who_and_where_must_be_said(depot: Any, by: str, station: str) -> None:
    with pytest.raises(WrongInput), depot.record.writing(by, station):
        pass


def test_a_mistake_of_the_caller_is_no_event(depot: Any) -> None:
    for kind, body in (
        ("polished", {}),
        ("changed", {"truck": "T"}),
        ("moved", {"battery": "B", "place": "stand"}),
        ("charge_started", {"battery": "B", "charge_kind": "quick"}),
        ("epoch_started", {"public_key": "", "reason": "new", "cites": []}),
    ):
        with pytest.raises(ValueError):
            depot.log(kind, body)


def test_assets_are_found_by_serial_and_fleet_number(depot: Any) -> None:
    assert depot.record.by_maker_serial(Kind.BATTERY, "sn2").tag == str(depot.batteries[0])
    assert depot.record.by_maker_serial(Kind.TRUCK, "SN 2") is None
    fleet = {"fleet_number": {"value": "R 7", "source": "nameplate"}}
    depot.log("amended", {"changes": fleet, "reason": "x"}, tags=[depot.trucks[1]])
    assert depot.record.by_fleet_number("r7").tag == str(depot.trucks[1])


def test_the_same_serial_twice_is_a_contradiction(depot: Any) -> None:
    first, second = depot.batteries[:2]
    facts = {"maker_serial": {"value": "sn 2", "source": "stamped"}}
    depot.log("married", {"facts": facts}, tags=[second])
    (found,) = depot.record.contradictions()
    assert found.kind == "same serial"
    assert set(found.tags) == {str(first), str(second)}


def test_people_are_what_they_were_last_authorised_as(depot: Any) -> None:
    body = {"person": "KM", "initials": "K.M.", "role": "attendant"}
    depot.log("authorised", body | {"until": "2026-12-31"})
    raised = depot.log("authorised", body | {"role": "supervisor"})
    assert depot.record.people()["KM"].role == "supervisor"
    depot.log("voided", {"event": raised.id, "reason": "not yet"})
    assert depot.record.person("KM").role == "attendant"
    assert depot.record.person("KM").until == "2026-12-31"
    assert depot.record.person("XX") is None


def test_two_batteries_in_one_truck_are_a_contradiction(depot: Any) -> None:
    truck = depot.trucks[0]
    depot.change(truck, depot.batteries[0])
    place = {"kind": "truck", "name": str(truck)}
    depot.log("seen_at", {"battery": str(depot.batteries[1]), "place": place})
    (found,) = depot.record.contradictions()
    assert found.kind == "several in one place"
    assert found.tags == (str(truck), *map(str, depot.batteries[:2]))


def test_contradictions_are_counted_without_reading_a_state(
    depot: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    (truck, other), (first, second, third, fourth) = depot.trucks, depot.batteries
    serial = {"maker_serial": {"value": "sn 2", "source": "stamped"}}
    for tag in (first, second, truck):  # a truck may have the serial of a battery
        differences = [{"field": "weight", "sheet": "700 kg", "stamped": "707 kg"}]
        depot.log("married", {"facts": serial, "differences": differences}, tags=[tag])
    for battery, place in ((first, truck), (second, truck), (third, other)):
        where = {"kind": "truck", "name": str(place)}
        depot.log("seen_at", {"battery": str(battery), "place": where})
    for battery in (third, fourth):  # a stand holds as many as are set there
        depot.log("retired", {"reason": "old"}, tags=[battery])
        where = {"kind": "stand", "name": "C-row, the long one"}
        depot.log("seen_at", {"battery": str(battery), "place": where})
    depot.log("seen_at", {"battery": str(third), "place": {"kind": "truck", "name": str(other)}})
    found = depot.record.contradictions()
    assert [one.kind for one in found] == [
        "several in one place", "same serial", "unsettled", "unsettled", "retired in use",
        "unsettled",
    ]  # fmt: skip
    assert depot.record.contradictions(2) == found[:2]
    with monkeypatch.context() as patch:
        patch.setattr("tagkit.record.state.AssetState.from_json", lambda _: 1 / 0)
        assert depot.record.count_contradictions() == len(found)
        with pytest.raises(ZeroDivisionError):
            depot.record.contradictions(1)
    depot.log("voided", {"event": found[0].events[0], "reason": "misread"})
    kinds = [one.kind for one in depot.record.contradictions()]
    assert "several in one place" not in kinds
    assert depot.record.count_contradictions() == len(kinds)


def test_a_change_that_the_record_contradicts_must_be_answered(depot: Any) -> None:
    first, second, third = depot.batteries[:3]
    truck, other = depot.trucks
    depot.change(truck, first)
    depot.change(other, second)
    state, held = depot.record.state(second), depot.record.held_by(truck)
    found = change_against_record(str(truck), state, None, held)
    assert [one.kind for one in found] == ["elsewhere", "occupied"]
    found = change_against_record(str(truck), depot.record.state(third), str(first), held)
    assert found == []
    found = change_against_record(str(truck), depot.record.state(third), str(second), held)
    assert [one.kind for one in found] == ["occupied", "elsewhere"]


def test_the_timeline_is_newest_first_and_long_ones_can_be_cut(depot: Any) -> None:
    battery = depot.batteries[0]
    with depot.record.writing("TS", "desk") as writing:
        for number in range(600):  # past two checkpoints
            writing.append("watered", [battery], {"litres": number})
    assert [event.body["litres"] for event in depot.record.timeline(battery, 3)] == [599, 598, 597]
    assert depot.record.state(battery).events == 601
    assert verify(depot.folder) == []


def test_states_folded_by_other_rules_are_folded_again_on_opening(depot: Any) -> None:
    depot.change(depot.trucks[0], depot.batteries[0])
    before = [state.to_json() for state in depot.record.states()]
    raw = sqlite3.connect(depot.record.path)
    raw.execute("UPDATE meta SET value = '0' WHERE name = 'fold_version'")
    raw.execute('UPDATE assets SET state = \'{"tag":"x","kind":"B"}\', place = NULL')
    raw.commit()
    raw.close()
    with Record.open(depot.folder, clock=depot.clock) as again:
        assert [state.to_json() for state in again.states()] == before
    assert verify(depot.folder) == []


def test_a_copy_goes_on_under_new_keys_and_says_so(depot: Any, tmp_path: Path) -> None:
    depot.change(depot.trucks[0], depot.batteries[0])
    depot.record.close()
    copied = tmp_path / "copy"
    shutil.copytree(depot.folder, copied)
    assert [finding.kind for finding in verify(copied)] == ["copied"]
    assert verify(depot.folder) == []
    with Record.open(copied, clock=depot.clock) as copy:
        old = copy.heads()
        with copy.writing("TS", "desk") as writing:
            battery = depot.batteries[0]
            writing.append("held", [battery], {"asset": str(battery), "reason": "leak"})
            new = writing.issue(Kind.BATTERY)
        assert any("copy" in notice for notice in copy.notices)
        start = copy.event(f"{next(h.epoch for h in copy.heads() if h not in old)}-1")
        assert start.body["reason"] == "copied"
        assert [cite["hash"] for cite in start.body["cites"]] == [head.hash for head in old]
        assert new.serial > 1000
    assert [(f.kind, f.grave) for f in verify(copied)] == [("new epoch", False)]


def test_a_station_whose_key_is_lost_begins_anew(depot: Any) -> None:
    depot.record.close()
    for key in (depot.folder / "keys").iterdir():
        key.unlink()
    with Record.open(depot.folder, clock=depot.clock) as record:
        with record.writing("TS", "desk") as writing:
            writing.append("watered", [depot.batteries[0]], {})
        assert len(record.heads()) == 2
        assert "key" in record.notices[0]
    assert not any(finding.grave for finding in verify(depot.folder))


def test_a_record_that_someone_else_is_writing_to_is_busy(
    depot: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tagkit.record.store.BUSY_TIMEOUT_MS", 50)
    with (
        Record.open(depot.folder) as other,
        depot.record.writing("TS", "desk") as first,
        pytest.raises(Busy) as told,
    ):
        first.certain()
        with other.writing("KM", "bay 1") as writing:
            writing.append("watered", [depot.batteries[0]], {})
    assert told.value.exit_code == Exit.BUSY


def test_reading_goes_on_while_someone_writes(depot: Any) -> None:
    with Record.open(depot.folder) as other, depot.record.writing("TS", "desk") as writing:
        battery = depot.batteries[0]
        writing.append("held", [battery], {"asset": str(battery), "reason": "leak"})
        writing.flush()
        assert not other.state(battery).held


def test_what_is_no_record_is_refused(tmp_path: Path) -> None:
    with pytest.raises(NotFound):
        Record.open(tmp_path)
    (tmp_path / "record.db").write_text("not a database, just some words", encoding="utf-8")
    with pytest.raises(WrongInput):
        Record.open(tmp_path)
    with pytest.raises(WrongInput):
        Record.create(tmp_path, "QM")
    (tmp_path / "record.db").write_bytes(b"")
    with pytest.raises(WrongInput, match="not a record"):
        Record.open(tmp_path)


def test_a_newer_file_is_refused(depot: Any) -> None:
    depot.record.close()
    raw = sqlite3.connect(depot.record.path)
    raw.execute("PRAGMA user_version = 99")
    raw.close()
    with pytest.raises(WrongInput, match="newer"):
        Record.open(depot.folder)


def test_every_connection_waits_for_the_disk(depot: Any) -> None:
    connection = open_file(depot.record.path)
    assert connection.execute("PRAGMA synchronous").fetchone() == (2,)
    assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)
    connection.close()


def test_times_in_the_state_are_the_ones_given(depot: Any, clock: Any) -> None:
    at = clock.now - timedelta(minutes=30)
    depot.change(depot.trucks[0], depot.batteries[0], at=at)
    assert read_time(depot.record.state(depot.batteries[0]).last_changed_at) == at


def test_looking_up_needs_no_cryptography_and_no_migrations(depot: Any) -> None:
    program = (
        "import sys\nfrom pathlib import Path\nfrom tagkit.record.record import Record\n"
        f"state = Record.open(Path({str(depot.folder)!r})).state({str(depot.batteries[0])!r})\n"
        "assert state is not None\n"
        "heavy = {'cryptography', 'sqlite_utils', 'numpy', 'cv2', 'reportlab'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    found = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert found.stdout.strip() == "[]"
