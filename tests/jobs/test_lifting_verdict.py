"""Nothing is lifted with gear that is held or did not pass, whichever of the two is asked about."""

from __future__ import annotations

import pytest
from battery_room import BatteryRoom

GEAR = """\
Kind,Maker's serial,Kind of gear,Rated load,Own weight,Weight of hooks and chains,\
Hoist it hangs from,Insulated,Inspection due
lifting gear,BEAM,beam,2000 kg,90 kg,10 kg,HOIST,yes,2099-01-01
lifting gear,HOIST,hoist,3000 kg,,,,,2099-01-01
"""
PAIRS = [("BEAM", "BEAM"), ("BEAM", "HOIST"), ("HOIST", "BEAM"), ("HOIST", "HOIST")]


@pytest.fixture
def gear(room: BatteryRoom) -> BatteryRoom:
    room.staff()
    room.take_in(GEAR)
    assert room.run("fit", "B1", "BEAM").code == room.run("fit", "B1", "HOIST").code == 0
    return room


def reasons(room: BatteryRoom, asked: str) -> list[str]:
    found = room.run("fit", "B1", asked, "--json")
    assert found.data["verdict"] == "fit"
    assert found.code == (12 if found.data["readiness"]["reasons"] else 0)
    return [one["code"] for one in found.data["readiness"]["reasons"]]


@pytest.mark.parametrize(("asked", "other"), PAIRS)
def test_a_hold_on_beam_or_hoist(gear: BatteryRoom, asked: str, other: str) -> None:
    assert gear.run("hold", other, "--reason", "hook bent", "--safety", "--by", "SW").code == 0
    assert reasons(gear, asked) == ["safety hold"]


@pytest.mark.parametrize(("asked", "other"), PAIRS)
def test_an_examination_that_was_not_passed_counts_whatever_its_plate_says(
    gear: BatteryRoom, asked: str, other: str
) -> None:
    assert gear.run("inspect", other, "--finding", "chain worn", "--by", "JT").code == 0
    assert reasons(gear, asked) == ["inspection failed"]
    assert "chain worn" in gear.run("fit", "B1", asked).out
    for look in (("--by", "KM"), ("--sort", "arrival", "--by", "JT")):
        assert gear.run("inspect", other, *look).code == 0
        assert reasons(gear, asked) == ["inspection failed"], "somebody's look is no examination"
    assert gear.run("inspect", other, "--by", "JT").code == 0
    assert reasons(gear, asked) == []


def test_what_is_found_on_a_truck_or_battery_stops_it_only_where_it_is_held(
    gear: BatteryRoom,
) -> None:
    gear.charge("B1")
    for name in ("B1", "T1"):
        assert gear.run("inspect", name, "--finding", "label scratched", "--by", "JT").code == 0
    assert gear.run("fit", "B1", "T1").code == 0


def test_what_may_hurt_is_said_of_a_battery_that_has_to_be_moved_all_the_same(
    gear: BatteryRoom,
) -> None:
    assert gear.run("hold", "B1", "--reason", "case cracked", "--safety", "--by", "SW").code == 0
    found = gear.run("fit", "B1", "BEAM", "--json")
    assert found.code == 0
    assert any("case cracked" in one for one in found.data["readiness"]["cautions"])
