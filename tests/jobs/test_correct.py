"""Correcting the record: two persons, a reason, nothing deleted."""

from __future__ import annotations

import pytest
from battery_room import BatteryRoom


@pytest.fixture
def staffed(room: BatteryRoom) -> BatteryRoom:
    room.staff()
    return room


WHY = ("--reason", "stamp misread", "--second", "JT", "--by", "SW")


def test_an_amended_figure_counts_and_the_old_one_stays_in_the_history(
    staffed: BatteryRoom,
) -> None:
    assert staffed.run("fit", "LIGHT", "T1").code == 10
    amending = ("amend", "LIGHT", "--set", "weight=1180 kg", *WHY)
    asked = staffed.run(*amending)
    assert asked.code == 13
    assert "weight would change by 34 %, from 880 kg (" in asked.err
    assert staffed.events("amended") == []
    found = staffed.run(*amending, "--answer", "as-shown", "--json")
    assert found.code == 0, found.err
    assert found.data["asset"] == staffed["LIGHT"]
    assert found.data["second"] == "JT"
    assert staffed.run("fit", "LIGHT", "T1").code == 12
    state = staffed.state("LIGHT")
    assert state.nameplate["weight"] == {"value": "1180", "unit": "kg", "source": "stamped"}
    assert "service weight: 880 kg (" in staffed.run("history", "LIGHT").out
    registered = staffed.run("history", "LIGHT", "--json").data["events"][-1]
    assert registered["body"]["nameplate"]["weight"]["value"] == "880"


def test_a_figure_can_be_made_unknown_again(staffed: BatteryRoom) -> None:
    assert staffed.run("amend", "B1", "--unset", "weight", *WHY).code == 0
    assert "weight" not in staffed.state("B1").nameplate
    assert staffed.run("fit", "B1", "T1").code == 11


def test_fields_go_by_their_names_or_their_labels(staffed: BatteryRoom) -> None:
    changes = ("--set", "Service weight=1150 kg", "--set", "cable-side=left")
    said = staffed.run("amend", "B1", *changes, *WHY)
    assert said.code == 0
    assert "service weight: 1100 kg (stamped) → 1150 kg (stamped); cable side: " in said.out
    plate = staffed.state("B1").nameplate
    assert (plate["weight"]["value"], plate["cable_side"]["value"]) == ("1150", "left")


def test_the_weight_on_a_scale_is_weighed(staffed: BatteryRoom) -> None:
    assert staffed.run("amend", "B1", "--set", "weighed=1095 kg", *WHY).code == 0
    assert staffed.state("B1").nameplate["weighed"]["source"] == "weighed"


@pytest.mark.parametrize(
    ("second", "by"),
    [("SW", "SW"), ("sw", "SW"), ("KM", "SW"), ("XX", "SW"), ("JT", "jt"), ("", "SW")],
)
def test_the_second_person_is_another_one_and_authorised(
    staffed: BatteryRoom, second: str, by: str
) -> None:
    found = staffed.run(
        "amend", "B1", "--set", "weight=1 t", "--reason", "why", "--second", second, "--by", by
    )
    assert found.code == 2
    assert "--second" in found.err
    assert staffed.events("amended") == []


def test_a_second_person_whose_authorisation_ran_out_does_not_count(staffed: BatteryRoom) -> None:
    ran_out = ("authorise", "OLD", "--role", "technician", "--until", "2020-01-31", "--by", "SW")
    assert staffed.run(*ran_out).code == 0
    found = staffed.run(
        "amend", "B1", "--set", "weight=1 t", "--reason", "why", "--second", "OLD", "--by", "SW"
    )
    assert found.code == 2
    assert "2020-01-31" in found.err


@pytest.mark.parametrize(
    ("change", "named"),
    [(("--set", "weight"), "FIELD=VALUE"), (("--set", "colour=red"), "colour"),
     (("--set", "weight=heavy"), "heavy"), (("--set", "weight=9 kg"), "9 kg"),
     (("--set", "voltage_max=3"), "voltage_max"), ((), "--set"),
     (("--set", "weight=1 t", "--source", "guessed"), "guessed")],
)  # fmt: skip
def test_a_change_that_can_not_be_is_named(
    staffed: BatteryRoom, change: tuple[str, ...], named: str
) -> None:
    found = staffed.run("amend", "B1", *change, *WHY)
    assert found.code == 2
    assert named in found.err
    assert staffed.events("amended") == []


def test_what_leaves_the_fleet_keeps_its_number_for_ever(staffed: BatteryRoom) -> None:
    found = staffed.run(
        "retire", "B3", "--reason", "below 80 %", "--receipt", "R 77", "--by", "SW", "--json"
    )
    assert (found.code, found.data["asset"], found.data["receipt"]) == (0, staffed["B3"], "R 77")
    assert staffed.run("where", "B3", "--json").data["state"] == "retired"
    again = staffed.run("retire", "B3", "--reason", "below 80 %", "--by", "SW")
    assert (again.code, "retired already" in again.err) == (2, True)
    before = set(staffed.tags.values())
    staffed.take_in("Maker's serial,Voltage (V)\nNEXT,48\n")
    assert staffed["NEXT"] not in before


# Who may do what


def test_the_first_person_is_a_supervisor_and_only_supervisors_authorise(
    room: BatteryRoom,
) -> None:
    assert room.run("authorise", "KM", "--role", "attendant", "--by", "KM").code == 2
    first = room.run("authorise", "sw", "--role", "supervisor", "--by", "SW", "--json")
    assert (first.code, first.data["person"]) == (0, "SW")
    assert room.run("authorise", "KM", "--role", "attendant", "--by", "SW").code == 0
    found = room.run("authorise", "XX", "--role", "supervisor", "--by", "KM")
    assert found.code == 2
    assert "KM is not recorded as a supervisor" in found.err
    with room.open() as site:
        assert set(site.record.people()) == {"SW", "KM"}


@pytest.mark.parametrize(
    "given",
    [("KM", "--role", "chief"), ("KM", "--role", "attendant", "--until", "soon"),
     ("KM", "--role", "attendant", "--until", "2031-02-30"), ("K M", "--role", "attendant"),
     ("", "--role", "attendant"), ("K" * 17, "--role", "attendant")],
)  # fmt: skip
def test_a_person_is_a_code_a_role_and_a_date(staffed: BatteryRoom, given: tuple[str, ...]) -> None:
    assert staffed.run("authorise", *given, "--by", "SW").code == 2
    with staffed.open() as site:
        assert set(site.record.people()) == {"SW", "JT", "KM"}


def test_a_date_without_leading_zeros_means_the_same(staffed: BatteryRoom) -> None:
    given = ("authorise", "N1", "--role", "supervisor", "--until", "2099-1-5", "--by", "SW")
    assert staffed.run(*given, "--json").data["until"] == "2099-01-05"


def test_who_is_not_recorded_is_said_where_nobody_is_refused(staffed: BatteryRoom) -> None:
    stamp = ("--serial", "b1", "--voltage", "48 V", "--weight", "1100 kg")
    for command in (
        ("marry", "B1", *stamp), ("hold", "B1", "--reason", "cable bare"),
        ("water", "B2", "--litres", "3"), ("clean", "B2", "--with", "soda solution"),
        ("inspect", "B2"), ("round", "enter", "B2", "--cells", "1280 1279", "--pilot"),
        ("charge", "end", "B2", "--answer", "as-shown"), ("seen", "B2", "stand 4"),
        ("incident", "report", "spill", "--what", "a litre"), ("charge", "start", "B3", "C1"),
    ):  # fmt: skip
        found = staffed.run(*command, "--by", "GHOST")
        assert found.code == 0, found
        assert found.out.count("! GHOST is not recorded as authorised") == 1
    told = staffed.run("water", "B2", "--litres", "3", "--by", "GHOST", "--json")
    assert told.data["by_note"].startswith("GHOST is not recorded")
    assert "!" not in staffed.run("hold", "B2", "--reason", "cable bare", "--by", "KM").out


def test_whose_authorisation_ran_out_is_refused_or_warned_in_care_too(staffed: BatteryRoom) -> None:
    given = ("authorise", "OLD", "--role", "technician", "--until", "2020-01-05", "--by", "SW")
    assert staffed.run(*given).code == 0
    care = ("water", "B2", "--litres", "3"), ("inspect", "B2"), ("clean", "B2", "--with", "soda")
    for command in care:
        found = staffed.run(*command, "--by", "OLD")
        assert found.code == 2 and "ran out on 2020-01-05" in found.err and found.out == ""
    held = staffed.run("hold", "B2", "--reason", "leak", "--by", "OLD")
    assert held.code == 0 and "! the authorisation of OLD ran out" in held.out
    path = staffed.folder / "site.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('run_out = "refuse"', 'run_out = "warn"'), encoding="utf-8")
    for command in care:
        found = staffed.run(*command, "--by", "OLD")
        assert found.code == 0 and "! the authorisation of OLD ran out" in found.out


def test_an_amendment_against_the_designation_is_asked_about(staffed: BatteryRoom) -> None:
    staffed.take_in(
        "Serial,Designation,Voltage,Weight,Chemistry\nD1,24 V 5 PzS 775,24 V,560 kg,vented\n",
        name="designated.csv",
    )
    amending = ("amend", "D1", "--set", "voltage=48 V", "--reason", "plate misread",
                "--second", "JT", "--by", "SW")  # fmt: skip
    asked = staffed.run(*amending)
    assert asked.code == 13
    assert "24 V 5 PzS 775" in asked.err
    assert staffed.run(*amending, "--answer", "as-shown").code == 0


def test_the_first_person_is_recorded_by_himself(empty_room: BatteryRoom) -> None:
    by_another = empty_room.run("authorise", "SW", "--role", "supervisor", "--by", "MK")
    assert by_another.code == 2
    assert "--by SW" in by_another.err
    assert empty_room.run("authorise", "SW", "--role", "supervisor", "--by", "SW").code == 0


def test_the_last_supervisor_stays_one(empty_room: BatteryRoom) -> None:
    assert empty_room.run("authorise", "SW", "--role", "supervisor", "--by", "SW").code == 0
    alone = empty_room.run("authorise", "SW", "--role", "attendant", "--by", "SW")
    assert alone.code == 2
    assert "last supervisor" in alone.err
    assert empty_room.run("authorise", "DC", "--role", "supervisor", "--by", "SW").code == 0
    assert empty_room.run("authorise", "SW", "--role", "attendant", "--by", "DC").code == 0


def test_what_is_still_to_be_handed_in_is_said_with_the_number_of_what_left(
    room: BatteryRoom,
) -> None:
    gone = room.run("retire", "B2", "--reason", "capacity 61 %", "--by", "SW")
    assert gone.code == 0, gone.err
    assert f"tagkit retire {room['B2']} --receipt NUMBER" in " ".join(gone.out.split())
