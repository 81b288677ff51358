"""Marrying a label to its case: only what is stamped there counts."""

from __future__ import annotations

import pytest
from battery_room import BATTERIES, CHARGERS, TRUCKS, BatteryRoom
from tagkit.record.words import deed


@pytest.fixture
def delivered(empty_room: BatteryRoom) -> BatteryRoom:
    """A delivery from suppliers' sheets."""
    for text in (TRUCKS, BATTERIES, CHARGERS):
        empty_room.take_in(text, as_stamped=False)
    return empty_room


STAMP = ("--serial", "b-1", "--voltage", "48 V", "--weight", "1100 kg")


def test_a_stamp_that_agrees_makes_the_figures_stamped(delivered: BatteryRoom) -> None:
    found = delivered.run("marry", "B1", *STAMP, "--json")
    assert found.code == 0, found.err
    assert (found.data["tag"], found.data["differences"]) == (delivered["B1"], [])
    state = delivered.state("B1")
    assert state.married_at
    assert state.nameplate["weight"] == {"value": "1100", "unit": "kg", "source": "stamped"}
    assert state.nameplate["chemistry"]["source"] == "catalogue"
    told = deed(delivered.events("married")[-1])
    assert told.endswith("read there: maker's serial: b-1; voltage: 48 V; service weight: 1100 kg")


def test_a_difference_is_settled_only_with_an_answer(delivered: BatteryRoom) -> None:
    stamp = ("--serial", "b-1", "--voltage", "48", "--weight", "1160 kg")
    found = delivered.run("marry", "B1", *stamp)
    assert found.code == 13
    assert "1100 kg" in found.err
    assert "1160 kg" in found.err
    assert delivered.state("B1").married_at is None
    refused = delivered.run("marry", "B1", *stamp, "--answer", "as-recorded")
    assert refused.code == 2
    assert delivered.state("B1").married_at is None
    settled = delivered.run("marry", "B1", *stamp, "--answer", "as-shown", "--json")
    assert settled.code == 0
    assert len(settled.data["differences"]) == 1
    assert delivered.state("B1").nameplate["weight"]["value"] == "1160"
    assert delivered.run("contradictions", "--json").data["contradictions"] == []


def test_the_serial_of_another_case_means_that_the_label_is_on_the_wrong_one(
    delivered: BatteryRoom,
) -> None:
    stamp = ("--serial", "b2", "--voltage", "48", "--weight", "1100 kg")
    for answer in ((), ("--answer", "as-shown")):
        found = delivered.run("marry", "B1", *stamp, *answer)
        assert found.code == 2
        assert delivered["B2"] in found.err
    assert delivered.state("B1").married_at is None


@pytest.mark.parametrize("left_out", ["--serial", "--voltage", "--weight"])
def test_what_must_be_keyed_in_is_named(delivered: BatteryRoom, left_out: str) -> None:
    at = STAMP.index(left_out)
    found = delivered.run("marry", "B1", *STAMP[:at], *STAMP[at + 2 :])
    assert found.code == 2
    assert left_out in found.err


@pytest.mark.parametrize(
    ("weight", "code"),
    [("2425 lb", 0), ("1.1 t", 0), ("1101 kg", 13), ("2430 lb", 13), ("1100", 2), ("1,100 lb", 13),
     ("heavy", 2), ("9000 kg", 2), ("1100 mm", 2)],
)  # fmt: skip
def test_units_of_a_weight_are_read_and_never_guessed(
    delivered: BatteryRoom, weight: str, code: int
) -> None:
    stamp = ("--serial", "b-1", "--voltage", "48", "--weight", weight)
    assert delivered.run("marry", "B1", *stamp).code == code


def test_a_truck_is_married_to_its_nameplate(delivered: BatteryRoom) -> None:
    plate = ("--serial", "TS-1", "--voltage", "48", "--weight-min", "1000 kg")
    assert delivered.run("marry", "T1", *plate).code == 2
    one_weight = delivered.run("marry", "T1", *plate, "--weight", "1100 kg")
    assert one_weight.code == 2
    assert "with --weight-min and --weight-max" in " ".join(one_weight.err.split())
    assert delivered.run("marry", "T1", *plate, "--weight-max", "1200 kg").code == 0
    fact = delivered.state("T1").nameplate["weight_max"]
    assert (fact["value"], fact["source"]) == ("1200", "nameplate")


def test_a_window_that_is_upside_down_is_read_again(delivered: BatteryRoom) -> None:
    plate = ("--serial", "TS-1", "--voltage", "48", "--weight-min", "1300 kg")
    found = delivered.run("marry", "T1", *plate, "--weight-max", "1200 kg", "--answer", "as-shown")
    assert found.code == 2
    assert "--weight-min" in found.err


def test_a_charger_is_married_by_serial_and_voltage(delivered: BatteryRoom) -> None:
    assert delivered.run("marry", "C1", "--serial", "c 1", "--voltage", "24").code == 13
    assert delivered.run("marry", "C1", "--serial", "c 1", "--voltage", "48").code == 0
    assert delivered.run("marry", "C1", "--serial", "c 1", "--weight", "10 kg").code == 2


def test_a_designation_that_contradicts_the_stamp_needs_an_answer(
    empty_room: BatteryRoom,
) -> None:
    sheet = empty_room.sheet(
        "Maker's serial,Designation,Voltage (V),Service weight\nD1,24 V 5 PzS 775,24,600 kg\n"
    )
    empty_room.learn(empty_room.run("receive", sheet, "--json").data["taken"])
    stamp = ("--serial", "D1", "--voltage", "48 V", "--weight", "600 kg")
    found = empty_room.run("marry", "D1", *stamp)
    assert found.code == 13
    assert "24 V" in found.err


def test_marrying_again_is_a_repeated_check(delivered: BatteryRoom) -> None:
    assert delivered.run("marry", "B1", *STAMP).code == 0
    again = delivered.run("marry", "B1", *STAMP, "--json")
    assert again.code == 0
    assert "married before" in again.data["notes"][0]


def test_what_has_left_is_not_married(delivered: BatteryRoom) -> None:
    assert delivered.run("retire", "B1", "--reason", "sent back").code == 0
    assert delivered.run("marry", "B1", *STAMP).code == 2


def test_an_unknown_number_is_not_found(delivered: BatteryRoom) -> None:
    from tagkit.assets.tag import Kind, tag_for

    assert delivered.run("marry", str(tag_for(Kind.BATTERY, "QM", 4711)), *STAMP).code == 3
