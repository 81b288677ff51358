"""``tagkit fit`` on sheets made here, taken in and married as on delivery day."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from battery_room import BatteryRoom, Outcome

PLATE = {
    "Fleet number": "T9",
    "Maker's serial": "TS-9",
    "Voltage": "48 V",
    "Battery weight min": "1000 kg",
    "Battery weight max": "1200 kg",
    "Allowed chemistries": "vented lead-acid",
}
CASE = {
    "Maker's serial": "26R 1",
    "Voltage": "48 V",
    "Service weight": "1100 kg",
    "Chemistry": "vented lead-acid",
}
LENGTHS = {"Length": "830 mm", "Width": "630 mm", "Height": "627 mm"}
COMPARTMENT = {
    "Compartment length": "835 mm",
    "Compartment width": "635 mm",
    "Compartment height": "700 mm",
}


def take_in(room: BatteryRoom, cells: dict[str, str], *options: str) -> str:
    """One asset by ``tagkit receive``; its number."""
    header, values = (",".join(f'"{cell}"' for cell in row) for row in (cells, cells.values()))
    sheet = room.sheet(f"{header}\n{values}\n")
    received = room.run("receive", sheet, "--json", *options)
    assert received.code == 0, received.out
    (taken,) = received.data["taken"]
    return str(taken["tag"])


def fit(
    room: BatteryRoom, case: dict[str, str], plate: dict[str, str], charged: bool = True
) -> Outcome:
    """The verdict on a battery and a truck that were taken in as stamped."""
    battery = take_in(room, CASE | case, "--as-stamped")
    truck = take_in(room, PLATE | plate, "--as-stamped")
    if charged:
        room.tags |= {"battery": battery}
        room.take_in(CHARGER)
        room.charge("battery", charger="C48")
    found = room.run("fit", battery, truck, "--json")
    assert room.run("fit", truck, battery, "--json").data == found.data
    return found


CHARGER = """\
Bay,Maker's serial,Output voltage (V),Chemistries
A1,C48,48,vented lead-acid
"""


def check(found: Outcome, name: str) -> dict[str, Any]:
    """The line of this name."""
    (line,) = [line for line in found.data["checks"] if line["name"] == name]
    return dict(line)


def test_a_battery_inside_the_window_fits(empty_room: BatteryRoom) -> None:
    case = {"Capacity C5 (Ah)": "775"}
    battery = take_in(empty_room, CASE | case, "--as-stamped")
    truck = take_in(empty_room, PLATE, "--as-stamped")
    empty_room.tags |= {"battery": battery}
    found = empty_room.run("fit", battery, truck, "--json")
    assert (found.code, found.data["verdict"]) == (12, "fit")
    assert [one["code"] for one in found.data["readiness"]["reasons"]] == ["charge unknown"]
    empty_room.take_in(
        "Bay,Maker's serial,Output voltage (V),Chemistries,Capacity min (Ah),Capacity max (Ah),"
        "Hours the capacity is stated at\nA1,C48,48,vented lead-acid,500,900,5\n"
    )
    empty_room.charge("battery", charger="C48")
    found = empty_room.run("fit", battery, truck, "--json")
    assert (found.code, found.data["verdict"]) == (0, "fit")
    assert found.data["readiness"]["ready"] is True
    assert found.data["battery"] == battery
    assert found.data["truck"] == truck
    weight = check(found, "weight")
    assert weight == {
        "name": "weight",
        "result": "fit",
        "required": "1000 kg to 1200 kg",
        "found": "1100 kg",
        "margin": {"value": 100, "unit": "kg"},
        "source": "battery stamped, truck nameplate",
        "note": "",
    }


@pytest.mark.parametrize("weight", ["1000 kg", "1200 kg"])
def test_a_battery_exactly_at_the_limit_fits(empty_room: BatteryRoom, weight: str) -> None:
    found = fit(empty_room, {"Service weight": weight}, {}, charged=False)
    assert found.code == 12  # fits, and nobody has charged it
    assert check(found, "weight")["margin"] == {"value": 0, "unit": "kg"}
    assert check(found, "weight")["note"] == ""


def test_at_the_limit_across_units_the_line_says_that_conversion_decides(
    empty_room: BatteryRoom,
) -> None:
    # 2204 lb are 999.7 kg: whoever converted 1000 kg rounded.
    found = fit(empty_room, {"Service weight": "2204 lb"}, {}, charged=False)
    assert found.code == 12
    assert "conversion decides" in check(found, "weight")["note"]
    assert check(found, "weight")["found"] == "2204 lb (1000 kg)"


def test_beyond_the_conversion_it_is_no_fit(empty_room: BatteryRoom) -> None:
    found = fit(empty_room, {"Service weight": "2202 lb"}, {}, charged=False)
    assert found.code == 10


def test_two_kilograms_under_is_no_fit(empty_room: BatteryRoom) -> None:
    found = fit(empty_room, {"Service weight": "998 kg"}, {}, charged=False)
    assert (found.code, found.data["verdict"]) == (10, "no_fit")
    line = check(found, "weight")
    assert line["result"] == "no_fit"
    assert line["margin"] == {"value": -2, "unit": "kg"}
    assert line["note"] == "too light by 2 kg"


def test_a_missing_weight_is_not_confirmed(empty_room: BatteryRoom) -> None:
    found = fit(empty_room, {"Service weight": ""}, {}, charged=False)
    assert (found.code, found.data["verdict"]) == (11, "not_confirmed")
    assert check(found, "weight")["result"] == "not_confirmed"
    assert check(found, "weight")["found"] is None


def test_an_unmarried_battery_is_not_confirmed_until_it_is_married(
    empty_room: BatteryRoom,
) -> None:
    battery = take_in(empty_room, CASE)
    truck = take_in(empty_room, PLATE, "--as-stamped")
    found = empty_room.run("fit", battery, truck, "--json")
    assert (found.code, found.data["verdict"]) == (11, "not_confirmed")
    assert check(found, "married")["found"] == "battery not married"
    married = empty_room.run(
        "marry", battery, "--serial", "26R 1", "--voltage", "48", "--weight", "1100 kg", "--json"
    )
    assert married.code == 0, married.err
    found = empty_room.run("fit", battery, truck, "--json")
    assert (found.code, found.data["verdict"]) == (12, "fit")


def test_an_unmarried_truck_is_not_confirmed_until_it_is_married(empty_room: BatteryRoom) -> None:
    battery = take_in(empty_room, CASE, "--as-stamped")
    truck = take_in(empty_room, PLATE)
    assert empty_room.run("fit", battery, truck).code == 11
    keyed = ("--serial", "TS-9", "--voltage", "48 V", "--weight-min", "1000 kg")
    assert empty_room.run("marry", truck, *keyed, "--weight-max", "1200 kg").code == 0
    assert empty_room.run("fit", battery, truck).code == 12


def test_a_connector_that_is_demanded_and_unknown_is_not_confirmed(
    empty_room: BatteryRoom,
) -> None:
    found = fit(empty_room, {}, {"Connector": "320 A grey"}, charged=False)
    assert found.code == 11
    line = check(found, "connector")
    assert line["result"] == "not_confirmed"
    assert (line["required"], line["found"]) == ("320 A grey", None)


def test_another_connector_is_no_fit(empty_room: BatteryRoom) -> None:
    found = fit(empty_room, {"Connector": "160 A red"}, {"Connector": "320 A grey"}, charged=False)
    assert found.code == 10


def test_lithium_in_a_truck_that_states_no_chemistry_is_not_confirmed(
    empty_room: BatteryRoom,
) -> None:
    found = fit(empty_room, {"Chemistry": "lithium-ion"}, {"Allowed chemistries": ""}, False)
    assert found.code == 11
    assert check(found, "chemistry")["result"] == "not_confirmed"


def test_vented_lead_acid_in_a_truck_that_states_no_chemistry_fits_and_says_assumed(
    empty_room: BatteryRoom,
) -> None:
    found = fit(empty_room, {}, {"Allowed chemistries": ""}, charged=False)
    assert found.code == 12
    line = check(found, "chemistry")
    assert "assumed" in f"{line['required']} {line['source']} {line['note']}"


def test_lithium_in_a_truck_for_lead_acid_is_no_fit(empty_room: BatteryRoom) -> None:
    assert fit(empty_room, {"Chemistry": "lithium-ion"}, {}, charged=False).code == 10


def test_36_volts_on_48_is_no_fit(empty_room: BatteryRoom) -> None:
    found = fit(empty_room, {"Voltage": "36 V"}, {}, charged=False)
    assert (found.code, found.data["verdict"]) == (10, "no_fit")
    line = check(found, "voltage")
    assert (line["result"], line["required"], line["found"]) == ("no_fit", "48 V", "36 V")


def test_an_unmarried_battery_of_the_wrong_voltage_is_a_plain_no_fit(
    empty_room: BatteryRoom,
) -> None:
    battery = take_in(empty_room, CASE | {"Voltage": "36 V"})
    truck = take_in(empty_room, PLATE, "--as-stamped")
    assert empty_room.run("fit", battery, truck).code == 10


def test_play_of_40_mm_in_the_compartment_is_no_fit(empty_room: BatteryRoom) -> None:
    loose = COMPARTMENT | {"Compartment length": "870 mm"}
    found = fit(empty_room, LENGTHS, loose, charged=False)
    assert found.code == 10
    line = check(found, "length")
    assert line["result"] == "no_fit"
    assert "play" in line["note"]


def test_play_within_the_limit_fits(empty_room: BatteryRoom) -> None:
    assert fit(empty_room, LENGTHS, COMPARTMENT, charged=False).code == 12


def test_the_answer_comes_first_and_the_lines_say_why(empty_room: BatteryRoom) -> None:
    battery = take_in(empty_room, CASE | {"Service weight": "998 kg"}, "--as-stamped")
    truck = take_in(empty_room, PLATE, "--as-stamped")
    found = empty_room.run("fit", battery, truck)
    lines = found.out.splitlines()
    assert lines[0].strip() == "NO FIT"
    assert lines[-1].startswith("STOP. Take another battery.")
    assert "too light by 2 kg" in found.out
    assert "\x1b" not in found.out


def test_charger_and_lifting_gear_are_judged_by_their_kind(
    room: BatteryRoom, tmp_path: Path
) -> None:
    right = room.run("fit", "B1", "C1", "--json")
    assert (right.code, right.data["verdict"]) == (0, "fit")
    assert (right.data["truck"], right.data["charger"]) == (None, room["C1"])
    wrong = room.run("fit", "C24", "B1", "--json")
    assert (wrong.code, wrong.data["verdict"]) == (10, "no_fit")
    room.take_in(
        "Kind,Maker's serial,Kind of gear,Rated load,Own weight,Weight of hooks and chains,"
        "Hoist it hangs from,Insulated,Inspection due\n"
        "lifting gear,L1,beam,2000 kg,90 kg,10 kg,L2,yes,2099-01-01\n"
        "lifting gear,L2,hoist,3000 kg,,,,,2099-01-01\n"
        "lifting gear,L3,beam,1000 kg,90 kg,10 kg,L2,yes,2099-01-01\n"
    )
    beam = room.run("fit", "B1", "L1", "--json")
    assert (beam.code, beam.data["lifting_gear"]) == (0, room["L1"]), beam.out
    weak = room.run("fit", "B1", "L3", "--json")
    assert weak.code == 10
    assert check(weak, "beam load")["result"] == "no_fit"


@pytest.mark.parametrize("pair", [("B1", "B2"), ("T1", "T2"), ("T1", "C1")])
def test_a_pair_that_makes_no_sense_is_wrong_input(
    room: BatteryRoom, pair: tuple[str, str]
) -> None:
    found = room.run("fit", *pair)
    assert found.code == 2
    assert "Give a battery and a truck, a charger or lifting gear" in found.err


def test_a_name_that_only_one_bears_is_taken_and_said(room: BatteryRoom) -> None:
    found = room.run("fit", "t1", " b 1")
    assert f"“t1” is taken for truck {room['T1']}." in found.out
    assert f"“b 1” is taken for battery {room['B1']}." in found.out
    assert room.run("where", "a1", "--json").data["tag"] == room["C1"]
    asked = room.run("next", "t1", "--json")
    assert asked.data["truck"] == room["T1"] and room["T1"] in asked.err
    room.charge("B1")
    logged = room.run("swap", "t1", "b1", "--by", "MK")
    assert logged.code == 0, logged
    assert logged.out.index(f"taken for battery {room['B1']}") < logged.out.index("Logged:")
    assert room.run("seen", "b1", "t2", "--json").err.count("taken for") == 2
    assert room.place("B1") == "T2"


def test_a_name_is_taken_and_said_wherever_one_asset_is_typed(room: BatteryRoom) -> None:
    battery, by = f"“b1” is taken for battery {room['B1']}.", ("--by", "KM")
    for words in (
        ("charge", "start", "b1", "a1", *by),
        ("charge", "end", "b1", *by, "--charged"),
        ("water", "b1", "--litres", "2", *by),
        ("hold", "b1", "--reason", "pin burnt", "--no-card", *by),
        ("inspect", "b1", "--sort", "hold", *by),
        ("clean", "b1", "--with", "soda solution", *by),
        ("round", "enter", "b1", "--cells", "1280 1281", "--pilot", *by),
    ):
        found = room.run(*words)
        assert (found.code, found.out.count(battery)) == (0, 1), (words, found)
    assert room.events("charge_started")[0].body["charger"] == room["C1"]
    lost = room.run("hold", "C99", "--reason", "lid bent", *by)
    assert lost.code == 2 and "nothing here is called “C99”" in lost.err


def test_a_name_that_several_bear_or_none_is_not_taken(room: BatteryRoom) -> None:
    room.take_in(
        "Fleet number,Maker's serial,Voltage (V),Battery weight min,Battery weight max\n"
        "X7,B2,48,1000 kg,1200 kg\n"
    )
    found = room.run("where", "b2")
    assert found.code == 2
    assert room["B2"] in found.err and "(truck)" in found.err
    before = room.count()
    assert room.run("swap", "t1", "x7", "--by", "MK").code == 2
    assert room.run("swap", "t1", "nobody", "--by", "MK").code == 2
    mistyped = room["B1"][:-1] + ("2" if room["B1"][-1] != "2" else "3")
    assert "check character" in room.run("swap", "t1", mistyped, "--by", "MK").err
    assert "is what people call" in room.run("next", "b1").err
    assert room.count() == before
