"""Lifting gear that passed its examination has a new date; the morning list heeds it."""

from __future__ import annotations

from datetime import timedelta

import pytest
from battery_room import BatteryRoom, ago

GEAR = """\
Kind,Maker's serial,Kind of gear,Rated load,Own weight,Insulated,Inspection due
lifting gear,BEAM,lifting beam,2500 kg,86 kg,yes,2020-03-31
lifting gear,HOIST,hoist,3200 kg,,,2020-03-31
"""


@pytest.fixture
def gear(room: BatteryRoom) -> BatteryRoom:
    room.staff()
    room.take_in(GEAR)
    return room


def told(room: BatteryRoom) -> set[str]:
    found = room.run("today", "--json").data
    return {one["asset"] for one in (*found["due"], *found["flags"])
            if one["code"] == "gear inspection"}  # fmt: skip


def test_its_date_moves_by_the_site_s_interval(gear: BatteryRoom) -> None:
    assert told(gear) == {gear["BEAM"], gear["HOIST"]}
    for name, days in (("BEAM", 182), ("HOIST", 365)):
        found = gear.run("inspect", name, "--by", "JT", "--json")
        assert found.code == 0, found
        due = (ago() + timedelta(days=days)).date()
        assert abs((due - type(due).fromisoformat(found.data["next_due"])).days) <= 1
    assert told(gear) == set()


def test_each_kind_is_inspected_by_its_own_points(gear: BatteryRoom) -> None:
    for name, point in (("HOIST", "hooks"), ("T1", "compartment"), ("A1", "air way")):
        assert gear.run("inspect", name, "--by", "JT").code == 0
        assert point in gear.events("inspected")[-1].body["what"]


def test_the_date_on_its_new_plate_is_taken(gear: BatteryRoom) -> None:
    due = (ago() + timedelta(days=90)).date().isoformat()
    found = gear.run("check", "BEAM", "--next-due", due, "--by", "JT")
    assert found.code == 0 and due in found.out
    assert gear.state("BEAM").nameplate["inspection_due"]["value"] == due


@pytest.mark.parametrize(
    "words",
    [("BEAM", "--next-due", "2020-01-01"), ("BEAM", "--next-due", "soon"),
     ("BEAM", "--next-due", "2999-01-01", "--finding", "hook bent"),
     ("BEAM", "--next-due", "2999-01-01", "--sort", "change"), ("B1", "--next-due", "2999-01-01")],
)  # fmt: skip
def test_a_date_that_cannot_be_is_refused(gear: BatteryRoom, words: tuple[str, ...]) -> None:
    found = gear.run("inspect", *words, "--by", "JT")
    assert found.code == 2 and "--next-due" in found.err
    assert gear.state("BEAM").nameplate["inspection_due"]["value"] == "2020-03-31"


def test_an_attendant_s_look_is_no_examination(gear: BatteryRoom) -> None:
    assert gear.run("check", "BEAM", "--by", "KM").code == 0
    assert gear["BEAM"] in told(gear)
    assert gear.run("check", "BEAM", "--by", "KM", "--next-due", "2999-01-01").code == 2
    assert gear.run("inspect", "HOIST", "--by", "JT", "--finding", "rope frayed").code == 0
    assert gear["HOIST"] in told(gear)
