"""A release covers what the supervisor knew of, in the order in which it was recorded."""

from __future__ import annotations

import pytest
from battery_room import BatteryRoom, ago

RELEASE = ("release", "B1", "--once", "--reason", "needed for the last load", "--by", "SW")


@pytest.fixture
def released(room: BatteryRoom) -> BatteryRoom:
    """B1 is resting, and released for one use all the same."""
    room.staff()
    room.charge("B1", began=9, ended=1)
    assert room.run(*RELEASE).code == 0
    assert room.run("fit", "B1", "T1").code == 0
    return room


def codes(room: BatteryRoom) -> list[str]:
    found = room.run("fit", "B1", "T1", "--json")
    assert found.code == 12
    return [one["code"] for one in found.data["readiness"]["reasons"]]


def test_a_hold_entered_late_is_not_lifted(released: BatteryRoom) -> None:
    at = ago(minutes=30).isoformat()
    held = ("hold", "B1", "--reason", "terminal burnt", "--at", at)
    assert released.run(*held).code == 0
    assert "held" in codes(released)
    assert released.run("swap", "T1", "B1", "--by", "KM").code == 12


def test_a_use_entered_late_ends_it(released: BatteryRoom) -> None:
    at = ago(minutes=30).isoformat()
    assert released.run("seen", "B1", "T2", "--by", "KM", "--at", at).code == 0
    assert released.run("seen", "B1", "stand 1", "--by", "KM").code == 0
    assert codes(released) == ["not charged"]


def test_the_end_of_a_charge_that_nobody_began_ends_it(released: BatteryRoom) -> None:
    hot = ("charge", "end", "B1", "--answer", "as-shown", "--temperature", "58 °C", "--by", "KM")
    assert released.run(*hot).code == 0
    assert codes(released) == ["hot"]


def test_it_is_told_and_counted_as_what_it_is_and_goes_after_the_charged_ones(
    room: BatteryRoom,
) -> None:
    room.staff()
    room.charge("B2")
    assert room.run(*RELEASE).code == 0
    found = room.run("where", "B1", "--json").data
    assert found["state"] == "released for one use"
    assert found["reasons"][0] == "by SW, reason: needed for the last load"
    assert "although the record does not say" in found["reasons"][1]
    assert room.run("today", "--json").data["batteries"]["ready"] == 1
    places = room.run("next", "T1", "--json").data["rotation"]
    assert [one["battery"] for one in places if one["place"]] == [room["B2"], room["B1"]]
    assert places[1]["why"].startswith("fits, released for one use although the record")
