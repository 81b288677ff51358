"""The start and the end of a charge."""

from __future__ import annotations

import pytest
from battery_room import BatteryRoom, ago, ended
from tagkit.jobs.charge import ChargeReadings, ChargeRefused, end_charge, start_charge

BY = ("--by", "KM", "--station", "bay-1")


def start(room: BatteryRoom, *words: object):  # type: ignore[no-untyped-def]
    return room.run("charge", "start", *words, *BY)


def test_a_charge_starts_and_ends(room: BatteryRoom) -> None:
    found = room.run(
        "charge", "start", "B1", "C1", "--temperature", "88 °F", "--sg", "1150", *BY, "--json"
    )
    assert found.code == 0, found.err
    assert (found.data["battery"], found.data["charger"]) == (room["B1"], room["C1"])
    state = room.state("B1")
    assert state.charging and state.charging["charger"] == room["C1"]
    assert state.last_temperature and state.last_temperature["value"] == "88"
    assert state.last_sg and state.last_sg["value"] == "1.15"
    assert room.run("where", "B1", "--json").data["on_charger"] == room["C1"]
    over = room.run("charge", "end", "B1", "--sg", "1,285", "--charged", *BY, "--json")
    assert (over.code, over.data["battery"]) == (0, room["B1"])
    assert room.state("B1").charging is None
    assert room.state("B1").last_charged_at
    assert room.place("B1") == "C1"


def test_battery_and_charger_go_in_either_order(room: BatteryRoom) -> None:
    assert start(room, "C1", "B1").code == 0
    assert room.place("B1") == "C1"


def test_a_charger_of_the_wrong_voltage_is_refused(room: BatteryRoom) -> None:
    before = room.count()
    found = room.run("charge", "start", "B1", "C24", *BY, "--json")
    assert (found.code, found.data["verdict"]) == (10, "no_fit")
    assert "Nothing was logged." in start(room, "B1", "C24").out
    assert room.count() == before


def test_a_hot_battery_is_not_charged(room: BatteryRoom) -> None:
    found = room.run("charge", "start", "B1", "C1", "--temperature", "50 °C", *BY, "--json")
    assert (found.code, found.data["verdict"]) == (12, "fit")
    assert [one["code"] for one in found.data["readiness"]["reasons"]] == ["hot"]
    assert room.events("charge_started") == []
    assert start(room, "B1", "C1", "--temperature", "30 °C").code == 0


def test_a_second_start_is_told_who_started_it(room: BatteryRoom) -> None:
    assert start(room, "B1", "C1").code == 0
    found = room.run("charge", "start", "B1", "C2", "--by", "JT")
    assert found.code == 13
    assert f"KM started charging {room['B1']} on {room['C1']}" in found.err
    assert len(room.events("charge_started")) == 1
    assert (
        room.run("charge", "start", "B1", "C2", "--by", "JT", "--answer", "as-recorded").code == 2
    )
    assert len(room.events("charge_started")) == 1
    assert room.run("charge", "start", "B1", "C2", "--by", "JT", "--answer", "as-shown").code == 0
    assert room.place("B1") == "C2"


def test_an_occupied_charger_is_told_by_whom(room: BatteryRoom) -> None:
    assert start(room, "B1", "C1").code == 0
    found = room.run("charge", "start", "B2", "C1", "--by", "JT")
    assert found.code == 13
    assert f"KM started charging {room['B1']}" in found.err
    assert room.run("charge", "start", "B2", "C1", "--answer", "as-shown", "--by", "JT").code == 0


def test_a_charger_at_which_another_battery_stands_is_asked_about_once(room: BatteryRoom) -> None:
    room.charge("B1")
    asked = start(room, "B2", "C1")
    assert asked.code == 13
    assert f"{room['B1']} stands at {room['C1']}, recorded " in asked.err
    assert "--answer as-shown" in asked.err and "tagkit seen" in asked.err
    assert start(room, "B2", "C1", "--answer", "as-recorded").code == 2
    assert room.place("B2") is None
    found = start(room, "B2", "C1", "--answer", "as-shown")
    assert (found.code, room.place("B2")) == (0, "C1")
    assert f"By the record {room['B1']} is there too" in found.out


def in_truck(room: BatteryRoom) -> None:
    room.charge("B1")
    assert room.run("swap", "T1", "B1", *BY).code == 0


def test_a_battery_recorded_in_a_truck_is_asked_about_both_ways(room: BatteryRoom) -> None:
    in_truck(room)
    asked = start(room, "B1", "C2")
    assert asked.code == 13
    assert f"{room['B1']} is in truck {room['T1']}, recorded " in asked.err and "by KM" in asked.err
    for way in ("tagkit swap", "--answer as-shown", "--answer as-recorded"):
        assert way in asked.err
    assert room.events("charge_started")[-1].body["charger"] == room["C1"]  # nothing new
    assert start(room, "B1", "C24", "--answer", "as-recorded").code == 10


def test_a_battery_in_a_truck_and_a_charger_in_use_are_asked_about_at_once(
    room: BatteryRoom,
) -> None:
    in_truck(room)
    assert start(room, "B2", "C2").code == 0
    asked = start(room, "B1", "C2")
    assert asked.code == 13
    assert f"{room['B2']} is on charge at" in asked.err and "is in truck" in asked.err
    assert "end the other charge first" in asked.err
    assert start(room, "B1", "C2", "--answer", "as-recorded").code == 2
    assert room.run("charge", "end", "B2", "--charged", *BY).code == 0
    found = start(room, "B1", "C2", "--answer", "as-recorded", "--json").data
    assert (found["charger"], found["in_truck"]) == (None, room["T1"])


def test_a_battery_that_was_taken_out_unlogged_is_at_its_charger(room: BatteryRoom) -> None:
    in_truck(room)
    found = start(room, "B1", "C2", "--answer", "as-shown")
    assert (found.code, room.place("B1")) == (0, "C2")
    assert f"record what is in truck {room['T1']} now" in found.out


def test_a_battery_that_is_charged_in_its_truck_stays_there(room: BatteryRoom) -> None:
    in_truck(room)
    found = start(room, "B1", "C2", "--answer", "as-recorded")
    assert found.code == 0, found.err
    assert f"{room['B1']} is on charge at {room['T1']}" in found.out
    assert "brake set, key off, cover open" in found.out
    where = room.run("where", "B1", "--json").data
    assert (where["state"], where["in_truck"]) == ("on charge", room["T1"])
    again = start(room, "B1", "C1")
    assert again.code == 13 and f"is on charge at {room['T1']}" in again.err
    assert room.run("charge", "end", "B1", "--charged", *BY).code == 0
    where = room.run("where", "B1", "--json").data
    assert (where["state"], where["in_truck"]) == ("in use", room["T1"])
    assert room.is_sound()


def test_the_wrong_voltage_is_refused_even_with_an_answer(room: BatteryRoom) -> None:
    assert start(room, "B1", "C1").code == 0
    assert start(room, "B1", "C24", "--answer", "as-shown").code == 10
    assert start(room, "B1", "C2", "--answer", "as-shown", "--temperature", "55 °C").code == 12


def test_the_end_of_a_charge_that_never_began_is_asked_about(room: BatteryRoom) -> None:
    found = room.run("charge", "end", "B1", *BY)
    assert found.code == 13
    assert room.events("charge_ended") == []
    assert room.run("charge", "end", "B1", *BY, "--answer", "as-recorded").code == 2
    assert room.run("charge", "end", "B1", *BY, "--answer", "as-shown").code == 0


def test_whoever_ends_a_charge_second_is_told_who_did(room: BatteryRoom) -> None:
    assert start(room, "B1", "C1").code == 0
    both = [room.start("charge", "end", "B1", "--by", by) for by in ("KM", "JT")]
    outcomes = [ended(one) for one in both]
    assert sorted(one.code for one in outcomes) == [0, 13], outcomes
    winner = ("KM", "JT")[[one.code for one in outcomes].index(0)]
    (loser,) = [one for one in outcomes if one.code == 13]
    assert f"{winner} ended the charge of {room['B1']}" in loser.err
    assert len(room.events("charge_ended")) == 1


def test_a_charge_can_not_end_before_it_began(room: BatteryRoom) -> None:
    assert start(room, "B1", "C1", "--at", ago(hours=3).isoformat()).code == 0
    found = room.run("charge", "end", "B1", "--at", ago(hours=4).isoformat(), *BY)
    assert found.code == 2
    assert "began later" in found.err
    assert room.state("B1").charging
    assert room.run("charge", "end", "B1", "--at", ago(hours=1).isoformat(), *BY).code == 0


def test_a_charge_is_not_entered_behind_a_later_placing(room: BatteryRoom) -> None:
    assert room.run("seen", "B1", "roller stand", *BY).code == 0
    found = start(room, "B1", "C1", "--at", ago(hours=2).isoformat())
    assert found.code == 13
    assert "roller stand" in found.err
    assert room.place("B1") == "roller stand"


@pytest.mark.parametrize(
    ("option", "value"),
    [("--temperature", "31"), ("--temperature", "900 °C"), ("--temperature", "1 kg"),
     ("--sg", "2.5"), ("--sg", "full"), ("--sg", "nan"), ("--sg", "1e999999"), ("--kind", "quick"),
     ("--answer", "maybe")],
)  # fmt: skip
def test_a_reading_that_can_not_be_so_is_asked_for_again(
    room: BatteryRoom, option: str, value: str
) -> None:
    if option == "--answer":
        assert start(room, "B1", "C1").code == 0
        before = room.count()
        found = start(room, "B1", "C1", option, value)
        assert room.count() == before
    else:
        found = start(room, "B1", "C1", option, value)
        assert room.events("charge_started") == []
    assert found.code == 2
    assert option in found.err


def test_a_held_battery_is_not_charged(room: BatteryRoom) -> None:
    assert room.run("hold", "B1", "--reason", "cracked case", "--safety").code == 0
    assert start(room, "B1", "C1").code == 12
    with room.open() as site, pytest.raises(ChargeRefused) as refused:
        start_charge(site, room["B1"], room["C1"], ChargeReadings(), by="KM", station="bay-1")
    assert "inspected" in str(refused.value.remedy)
    assert room.events("charge_started") == []


@pytest.mark.parametrize("first_ended", [True, False])
def test_a_charge_begun_again_does_not_shorten_the_rest(
    room: BatteryRoom, first_ended: bool
) -> None:
    room.charge("B3", began=8.5, ended=0.4 if first_ended else None)
    with room.open() as site:
        start_charge(site, room["B3"], room["C1"], ChargeReadings(), by="KM", station="bay-1",
                     at=ago(minutes=18), answer=None if first_ended else "as-shown")  # fmt: skip
        end_charge(site, room["B3"], ChargeReadings(), by="KM", station="bay-1", at=ago(minutes=9))
    found = room.run("fit", "T1", "B3")
    assert found.code == 12 and "resting after its charge" in found.out


def test_a_charge_days_after_another_rests_as_long_as_it_took_itself(room: BatteryRoom) -> None:
    room.charge("B3", began=70, ended=62)
    room.charge("B3", began=3, ended=2)
    assert room.run("fit", "T1", "B3").code == 0


def test_an_opportunity_charge_right_behind_a_long_one_does_not_spare_its_rest(
    room: BatteryRoom,
) -> None:
    with room.open() as site:
        for kind, began, ended in (("conventional", 9.0, 1.0), ("opportunity", 0.9, 0.3)):
            start_charge(
                site, room["B1"], room["C1"], ChargeReadings(), by="KM", station="bay-1",
                at=ago(hours=began), charge_kind=kind,
            )  # fmt: skip
            end_charge(
                site, room["B1"], ChargeReadings(), by="KM", station="bay-1", at=ago(hours=ended)
            )
    assert room.run("fit", "T1", "B1").code == 12
