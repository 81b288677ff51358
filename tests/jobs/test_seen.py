"""Batteries found somewhere: facts are always accepted, what is dangerous is held."""

from __future__ import annotations

import pytest
from battery_room import BatteryRoom, ago


def test_a_battery_is_recorded_where_it_was_found(room: BatteryRoom) -> None:
    for place in ("T1", "C1", "roller stand"):
        found = room.run("seen", "B1", place, "--json")
        assert found.code == 0, found.err
        assert found.data["battery"] == room["B1"]
        assert found.data["held"] is None
        assert room.place("B1") == place


def test_who_is_recorded_at_the_same_place_is_said(room: BatteryRoom) -> None:
    assert "there too" not in room.run("seen", "B1", "C1").out
    found = room.run("charge", "start", "B2", "C1", "--by", "KM", "--answer", "as-shown")
    assert found.code == 0, found.err
    assert f"By the record {room['B1']} is there too" in found.out
    assert room.run("seen", "B1", "C1", "--json").data["others"] == [room["B2"]]
    assert room.run("seen", "B1", "roller stand", "--json").data["others"] == []


def test_a_battery_in_a_truck_that_it_does_not_fit_is_recorded_and_the_truck_held(
    room: BatteryRoom,
) -> None:
    found = room.run("seen", "LIGHT", "T1", "--json")
    assert found.code == 10
    assert found.data["held"] == room["T1"]
    assert found.data["verdict"]["verdict"] == "no_fit"
    assert room.place("LIGHT") == "T1"
    (hold,) = room.state("T1").holds
    assert hold["kind"] == "safety"
    assert room["LIGHT"] in hold["reason"]
    assert "ALARM" in room.run("seen", "LIGHT", "T2").out
    room.charge("B1")
    assert room.run("swap", "T1", "B1", "--by", "KM").code == 12


def test_an_unmarried_battery_in_a_truck_is_recorded_without_a_hold(room: BatteryRoom) -> None:
    room.take_in(
        "Maker's serial,Voltage (V),Service weight,Chemistry\nNEW,48,1100 kg,vented lead-acid\n",
        as_stamped=False,
    )
    found = room.run("seen", "NEW", "T1", "--json")
    assert (found.code, found.data["held"]) == (11, None)
    assert room.place("NEW") == "T1"
    assert not room.state("T1").held


def test_a_battery_on_a_charger_of_the_wrong_voltage_is_an_alarm(room: BatteryRoom) -> None:
    found = room.run("seen", "B1", "C24", "--json")
    assert (found.code, found.data["verdict"]["verdict"]) == (10, "no_fit")
    assert room.place("B1") == "C24"


def test_being_seen_in_a_truck_counts_as_use(room: BatteryRoom) -> None:
    room.charge("B1")
    assert room.run("fit", "B1", "T1").code == 0
    assert room.run("seen", "B1", "T1").code == 0
    assert room.run("seen", "B1", "stand 2").code == 0
    assert room.run("fit", "B1", "T1").code == 12


def test_what_was_seen_earlier_does_not_move_a_battery_that_was_placed_since(
    room: BatteryRoom,
) -> None:
    assert room.run("seen", "B1", "stand 2", "--at", ago(hours=1).isoformat()).code == 0
    assert room.run("seen", "B1", "stand 1", "--at", ago(hours=2).isoformat()).code == 0
    assert room.place("B1") == "stand 2"
    history = room.run("history", "B1", "--json").data["events"]
    assert [one["kind"] for one in history].count("seen_at") == 2


@pytest.mark.parametrize("place", ["", "   ", "x" * 81, "T-QM-00001-9", "B2"])
def test_a_place_that_is_none_is_refused(room: BatteryRoom, place: str) -> None:
    found = room.run("seen", "B1", place)
    assert found.code == 2
    assert room.events("seen_at") == []


def test_only_a_battery_is_seen_somewhere(room: BatteryRoom) -> None:
    assert room.run("seen", "T1", "C1").code == 2


def test_a_charger_with_a_battery_it_does_not_suit_is_held_once(room: BatteryRoom) -> None:
    for _ in range(2):
        found = room.run("seen", "SMALL", "C1")
        assert found.code == 10
    with room.open() as site:
        holds = site.record.state(room["C1"]).holds  # type: ignore[union-attr]
    assert [hold["kind"] for hold in holds] == ["safety"]


def test_a_retired_battery_in_a_truck_holds_the_truck(room: BatteryRoom) -> None:
    assert room.run("retire", "B1", "--reason", "sold for scrap").code == 0
    found = room.run("seen", "B1", "T1")
    assert found.code == 12
    assert "ALARM" in found.out
    assert room.state("T1").safety_held
