"""Assets with one plate are judged once, and the room's rotation goes by plates."""

from __future__ import annotations

from battery_room import BatteryRoom
from tagkit.assets.tag import Kind
from tagkit.jobs.correct import amend
from tagkit.jobs.hold import hold
from tagkit.jobs.judging import catch_up
from tagkit.jobs.matches import matches_of
from tagkit.jobs.plates import plate_groups
from tagkit.jobs.truck_groups import TruckGroup, truck_groups


def the_groups(room: BatteryRoom) -> list[TruckGroup]:
    with room.open() as site:
        catch_up(site)
        return truck_groups(site)


def test_trucks_of_one_plate_are_one_group_until_a_figure_is_amended(room: BatteryRoom) -> None:
    room.staff()
    with room.open() as site:
        (group,) = plate_groups(site, Kind.TRUCK)
        assert group.names == ("T1", "T2")
        amend(site, room["T2"], {"weight_max": "1250 kg"}, "plate read again", "SW",
              by="JT", station="desk")  # fmt: skip
        assert [one.names for one in plate_groups(site, Kind.TRUCK)] == [("T1",), ("T2",)]


def test_what_a_rule_does_not_ask_for_tells_groups_apart_only_on_request(
    room: BatteryRoom,
) -> None:
    room.take_in(
        "Fleet number,Maker's serial,Model,Voltage (V),Battery weight min,Battery weight max,"
        "Allowed chemistries\nT3,TS-3,reach,48,1000 kg,1200 kg,vented lead-acid\n"
    )
    with room.open() as site:
        assert len(plate_groups(site, Kind.TRUCK)) == 1
        assert len(plate_groups(site, Kind.TRUCK, "model")) == 2


def test_a_retired_truck_is_in_no_group(room: BatteryRoom) -> None:
    room.staff()
    room.run("retire", "T2", "--reason", "sold", "--by", "SW")
    with room.open() as site:
        (group,) = plate_groups(site, Kind.TRUCK)
    assert group.names == ("T1",)


def test_a_battery_goes_with_the_trucks_and_chargers_that_the_full_check_says(
    room: BatteryRoom,
) -> None:
    with room.open() as site:
        for name, truck, chargers in (
            ("B1", "fit", ["fit", "no_fit"]),
            ("LIGHT", "no_fit", ["fit", "no_fit"]),
            ("SMALL", "no_fit", ["fit", "no_fit"]),
        ):
            state = site.record.state(room[name])
            assert state is not None
            assert [one.result for one in matches_of(site, state, Kind.TRUCK)] == [truck], name
            found = matches_of(site, state, Kind.CHARGER)
            assert [one.result for one in found] == chargers, name
            assert all(one.deciding for one in found if one.result != "fit")


def test_the_longest_rested_ready_battery_that_fits_goes_next(room: BatteryRoom) -> None:
    room.charge("B1", "LIGHT", began=40, ended=30)
    room.charge("B2", began=60, ended=50)
    room.charge("B3", began=4, ended=1)
    (group,) = the_groups(room)
    assert [place.tag for place in group.takes] == [room["B2"], room["B1"]]


def test_what_is_ready_soon_is_told_when_there_is_nothing_to_take(room: BatteryRoom) -> None:
    room.charge("B3", began=4, ended=1)
    (group,) = the_groups(room)
    assert group.takes == ()
    assert [place.tag for place in group.soon] == [room["B3"]]


def test_a_held_truck_does_not_keep_its_sisters_from_a_battery(room: BatteryRoom) -> None:
    room.charge("B1")
    with room.open() as site:
        hold(site, room["T1"], "retainer bent", safety=True, by="KM", station="bay-1")
    (group,) = the_groups(room)
    assert [place.tag for place in group.takes] == [room["B1"]]


def test_trucks_that_nobody_has_compared_with_their_plates_confirm_nothing(
    empty_room: BatteryRoom,
) -> None:
    empty_room.take_in(
        "Fleet number,Maker's serial,Voltage (V),Battery weight min,Battery weight max\n"
        "T9,TS-9,48,1000 kg,1200 kg\n",
        as_stamped=False,
    )
    (group,) = the_groups(empty_room)
    assert group.takes == ()
    assert "nobody has compared" in group.trouble
