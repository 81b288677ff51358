"""The current of a charge, sample by sample: found in the record by its time, or new."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from unittest.mock import patch

import pytest
from battery_room import BatteryRoom, ago

COLUMNS = ("--column", "time=Clock", "--column", "current=I", "--as", "row-a-current")
CURVE = (
    (0, 0.0), *((at, 100.0) for at in range(60, 301, 30)), (330, 60.0), (360, 20.0), (480, 0.0),
    (500, 0.0),
)  # fmt: skip
"""Minutes, A."""
AH = 50 + 400 + 60 + 20  # trapezium rule over the curve, by hand


def by_the_clock(room: BatteryRoom, began: datetime, name: str = "current.csv") -> Path:
    rows = (f"{began + timedelta(minutes=at):%Y-%m-%d %H:%M};{a}" for at, a in CURVE)
    return room.sheet("Clock;I\n" + "\n".join(rows) + "\n", name)


def ended(room: BatteryRoom) -> list[tuple[float | None, bool, bool]]:
    """Ah, curve there, cancelled: of every end, oldest first."""
    return [
        (float(one.body["ah"]["value"]) if one.body["ah"] else None, bool(one.body["current"]),
         one.voided)
        for one in room.events("charge_ended")
    ]  # fmt: skip


def test_samples_complete_the_charge_that_was_scanned_and_voiding_brings_the_scan_back(
    room: BatteryRoom,
) -> None:
    room.charge("B1", began=20, ended=11)
    file = by_the_clock(room, ago(hours=20) + timedelta(minutes=8))
    before = room.count()
    looked = room.run("charge", "current", file, "--battery", "B1", *COLUMNS, "--dry-run", "--json")
    assert looked.data["charges"][0]["outcome"] == "completed" and room.count() == before
    done = room.run("charge", "current", file, "--battery", "B1", *COLUMNS, "--json")
    (charge,) = done.data["charges"]
    assert charge["ah"]["value"] == pytest.approx(AH) and done.data["remembered"]
    assert ended(room) == [(None, False, True), (AH, True, False)]
    scanned, completed = room.events("charge_ended")
    assert completed.happened_at == scanned.happened_at  # who scanned it saw it
    assert any("ends 52 min before" in note for note in charge["notes"])  # 8 h of 9
    again = room.run("charge", "current", file, "--battery", "B1", "--json")
    assert again.data["kind_of_file"] == "row-a-current"  # its columns were said once
    assert again.data["charges"][0]["outcome"] == "here already"
    assert room.run("void", charge["event"], "--reason", "another battery").code == 0
    assert [one[:2] for one in ended(room) if not one[2]] == [(None, False)]
    assert not room.state("B1").charging


def test_a_charge_that_nobody_scanned_is_new_and_goes_as_a_whole(room: BatteryRoom) -> None:
    file = by_the_clock(room, ago(hours=20))
    given = ("--battery", "B1", "--charger", "A1", *COLUMNS)
    (charge,) = room.run("charge", "current", file, *given, "--json").data["charges"]
    assert charge["outcome"] == "logged" and charge["charger"] == room["C1"]
    state = room.state("B1")
    assert state.last_charge and state.last_charge["ah"] == AH
    # What the charger wrote after the current ceased is no charging.
    assert charge["samples"] == len(CURVE) - 1
    assert room.run("void", charge["event"], "--reason", "another battery").code == 0
    assert not room.state("B1").charging and room.state("B1").last_charged_at is None


def test_a_charge_under_way_ends_where_its_samples_end_and_hours_need_no_clock(
    room: BatteryRoom,
) -> None:
    room.charge("B1", began=9, ended=None)
    rows = "".join(f"B1,{minutes},{a},{20 + minutes // 20}\n" for minutes, a in CURVE)
    file = room.sheet("Serial,Elapsed (min),Amps,Temp (°C)\n" + rows)
    given = ("--column", "time=Elapsed (min)", "--column", "battery=Serial")
    (charge,) = room.run("charge", "current", file, *given, "--json").data["charges"]
    assert (charge["outcome"], charge["ah"]["value"]) == ("ended", AH)
    (event,) = room.events("charge_ended")
    assert event.body["highest_temperature"]["value"] == "45"
    assert not room.state("B1").charging
    assert 'time_unit = "minutes"' in (room.folder / "site.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("Clock,I\n0,100\n1,many\n", "row 3: “many” is not a current"),
        ("Clock,I\n0,100\n2026-01-05 10:00,90\n", "row 3: some samples have a time of day"),
        ("Clock,I\n0,0\n1,0\n", "no current flows"),
        ("Clock,I\n2,100\n1,100\n", "out of order"),
        ("Clock,I\n0,100\n0.5,100\n", "the record has no charge of"),
        ("Clock,I\n0,300\n0.4,300\n7.9,300\n", "no sample for 450 min between row 3 and row 4"),
        ("When,I\n0,100\n1,100\n", "no column “Clock”"),
    ],
)
def test_a_log_that_can_not_be_taken_says_where(room: BatteryRoom, text: str, problem: str) -> None:
    found = room.run("charge", "current", room.sheet(text), "--battery", "B1", *COLUMNS)
    assert found.code == 2 and problem in found.err
    assert room.events("charge_ended") == []


def test_more_than_the_battery_can_take_is_refused_where_its_capacity_is_known(
    room: BatteryRoom,
) -> None:
    rows = "".join(f"{half / 2};300\n" for half in range(9))  # 1200 Ah
    file = room.sheet(f"Clock;I\n{rows}")
    given = ("--battery", "B1", "--began", f"{ago(hours=20):%Y-%m-%d %H:%M}", *COLUMNS)
    found = room.run("charge", "current", file, *given)
    assert found.code == 2 and "1200 Ah" in found.err and "1085 Ah at most" in found.err
    assert room.events("charge_started") == room.events("charge_ended") == []
    with patch("tagkit.jobs.charge.battery_facts") as facts:
        facts.return_value.capacity_ah = None
        assert room.run("charge", "current", file, *given, "--dry-run").code == 0


def test_a_new_charge_that_overlaps_one_on_record_is_refused(room: BatteryRoom) -> None:
    room.charge("B1", began=14, ended=5)
    file = by_the_clock(room, ago(hours=20))  # 8 h from then on: 2 h of them twice
    found = room.run("charge", "current", file, "--battery", "B1", *COLUMNS)
    entry = room.events("charge_ended")[0].id
    assert found.code == 2 and "overlaps a charge" in found.err and entry in found.err
    assert ended(room) == [(None, False, False)]
    assert room.run("void", entry, "--reason", "another battery", "--by", "KM").code == 0
    (start,) = (one.id for one in room.events("charge_started") if not one.voided)
    assert room.run("void", start, "--reason", "another battery", "--by", "KM").code == 0
    assert room.run("charge", "current", file, "--battery", "B1", *COLUMNS).code == 0


def test_a_log_off_the_scanned_times_is_told_and_the_scan_stays_its_persons(
    room: BatteryRoom,
) -> None:
    room.charge("B1", began=18, ended=11)
    file = by_the_clock(room, ago(hours=20) + timedelta(minutes=51))
    given = ("--battery", "B1", *COLUMNS, "--json")
    (charge,) = room.run("charge", "current", file, *given).data["charges"]
    assert [note.split(" on record")[0] for note in charge["notes"][:1]] == [
        "the log begins 69 min before the charge"
    ]
    scanned, completed = room.events("charge_ended")
    assert completed.by == scanned.by == "KM"  # TS brought the log, and may take it back
    assert room.run("void", charge["event"], "--reason", "another battery").code == 0
    assert room.events("charge_ended")[-1].by == "KM"
