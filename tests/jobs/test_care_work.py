"""Tests, repairs, inspections, washing, equipment, incidents, leaving the fleet."""

from __future__ import annotations

import pytest
from battery_room import BatteryRoom, ago

ROOM = """\
Kind,Maker's serial,Equipment,Where it hangs or stands,What is checked,Days between checks
room equipment,EW1,eyewash,row A,activate,7
room equipment,SK1,spill kit,row B,full,30
"""


@pytest.fixture
def staffed(room: BatteryRoom) -> BatteryRoom:
    room.staff()
    return room


def flags(room: BatteryRoom) -> set[tuple[str, str]]:
    found = room.run("today", "--json").data
    return {(one["asset"], one["code"]) for one in found["flags"]}


# Tests


def test_a_capacity_test_at_the_rated_rate_decides_about_life(staffed: BatteryRoom) -> None:
    room = staffed
    room.take_in(
        "Maker's serial,Voltage (V),Service weight,Chemistry,Capacity (Ah),"
        "Hours the capacity is stated at\nC5,48,1100 kg,vented lead-acid,775,5\n"
    )
    test = ("test", "capacity", "C5", "--current", "155 A", "--temperature", "30 °C", "--by", "JT")
    found = room.run(*test, "--minutes", "300", "--json")
    assert found.code == 0, found
    assert found.data["percent_of_rated"] == pytest.approx(100.0)
    assert found.data["life_over"] is False
    found = room.run(*test, "--minutes", "210", "--json")
    assert (round(found.data["percent_of_rated"]), found.data["life_over"]) == (70, True)
    assert (room["C5"], "life over") in flags(room)


def test_a_test_at_another_rate_gives_no_result(staffed: BatteryRoom) -> None:
    found = staffed.run("test", "capacity", "B1", "--current", "100 A", "--minutes", "300",
                        "--temperature", "30 °C", "--by", "JT", "--json")  # fmt: skip
    assert found.data["percent_of_rated"] is None and found.data["reason"]


def test_an_attendant_does_not_test_or_repair(staffed: BatteryRoom) -> None:
    before = staffed.count()
    test = ("test", "capacity", "B1", "--current", "155 A", "--minutes", "300", "--by", "KM")
    assert staffed.run(*test).code == 2
    assert staffed.run("repair", "B1", "connectors", "--by", "KM").code == 2
    assert staffed.count() == before


def test_a_leaking_case_above_60_volts_is_held_and_gets_its_card(staffed: BatteryRoom) -> None:
    room = staffed
    room.take_in(
        "Maker's serial,Voltage (V),Service weight,Chemistry\nB80,80,2300 kg,vented lead-acid\n"
    )
    card = room.folder.parent / "card.pdf"
    found = room.run(
        "test", "leakage", "B80", "--ohm", "900", "--card", card, "--by", "JT", "--json"
    )
    assert found.code == 0, found
    assert (found.data["passes"], found.data["required_ohm"]) == (False, 4000)
    assert found.data["held"] and room.state("B80").safety_held
    assert card.stat().st_size > 1000


def test_a_leaking_case_below_60_volts_is_flagged(staffed: BatteryRoom) -> None:
    found = staffed.run("test", "leakage", "B1", "--ohm", "900 ohm", "--by", "JT", "--json")
    assert (found.data["passes"], found.data["held"]) == (False, None)
    assert (staffed["B1"], "case leakage") in flags(staffed)
    assert staffed.run("test", "leakage", "B1", "--ohm", "50 kohm", "--by", "JT").code == 0
    assert (staffed["B1"], "case leakage") not in flags(staffed)


# Repairs


def test_a_jumpered_cell_makes_it_no_fit_until_it_is_replaced(staffed: BatteryRoom) -> None:
    room = staffed
    assert room.run("fit", "B1", "T1").code == 12
    found = room.run("repair", "B1", "cell jumpered", "--cell", "3", "--by", "JT", "--json")
    assert found.data["changes"]["voltage"]["value"] == "46"
    assert room.run("fit", "B1", "T1").code == 10
    assert (room["B1"], "jumpered") in flags(room)
    found = room.run("repair", "B1", "cell-replaced", "--cell", "3", "--by", "JT", "--json")
    assert found.data["changes"]["voltage"]["value"] == "48"
    assert room.run("fit", "B1", "T1").code == 12
    assert (room["B1"], "jumpered") not in flags(room)


def test_a_battery_weighed_again_is_judged_by_stamp_and_scale(staffed: BatteryRoom) -> None:
    found = staffed.run("repair", "B1", "reweighed", "--weight", "1300 kg", "--by", "JT")
    assert found.code == 0, found
    assert staffed.run("fit", "B1", "T1", "--json").data["verdict"] != "fit"


@pytest.mark.parametrize(
    "words",
    [
        ("polished",), ("cell replaced",), ("cell replaced", "--cell", "99"), ("reweighed",),
        ("other",), ("connectors", "--weight", "3 kg"), ("other", "--what", "x", "--settles", "9"),
    ],
)  # fmt: skip
def test_repairs_that_cannot_be_are_refused(staffed: BatteryRoom, words: tuple[str, ...]) -> None:
    before = staffed.count()
    assert staffed.run("repair", "B1", *words, "--by", "JT").code == 2
    assert staffed.count() == before


# Inspections


def test_what_is_found_stays_to_be_done(room: BatteryRoom) -> None:
    found = room.run("inspect", "B1", "--finding", "cap of cell 4 cracked", "--passed", "--json")
    assert found.data["todos"] == ["cap of cell 4 cracked"]
    assert (room["B1"], "to do") in flags(room)
    (todo,) = room.state("B1").todos
    assert room.run("inspect", "B1", "--settles", todo["id"]).code == 0
    assert (room["B1"], "to do") not in flags(room)


def test_a_crack_holds_for_safety_and_only_an_inspection_that_passed_lifts_it(
    staffed: BatteryRoom,
) -> None:
    room = staffed
    found = room.run("inspect", "B1", "--sort", "arrival", "--finding", "case cracked", "--hold",
                     "safety", "--by", "JT", "--json")  # fmt: skip
    assert found.data["held"] and found.data["passed"] is False
    lift = ("inspect", "B1", "--sort", "hold", "--lift")
    assert room.run(*lift, "--by", "JT").code == 2
    assert room.run(*lift, "--finding", "still cracked", "--by", "SW").code == 2
    found = room.run(*lift, "--by", "SW", "--json")
    assert len(found.data["lifted"]) == 1
    assert not room.state("B1").holds


def test_chargers_are_inspected_and_held_too(room: BatteryRoom) -> None:
    found = room.run("inspect", "C1", "--finding", "cable bare", "--hold", "safety")
    assert found.code == 0, found
    assert room.run("charge", "start", "B1", "C1").code == 12


@pytest.mark.parametrize(
    "words",
    [("--sort", "nosy"), ("--hold", "safety"), ("--finding", "x", "--hold", "hard"), ("--lift",),
     ("--finding", "ok")],
)  # fmt: skip
def test_inspections_that_cannot_be_are_refused(room: BatteryRoom, words: tuple[str, ...]) -> None:
    before = room.count()
    assert room.run("inspect", "B1", *words).code == 2
    assert room.count() == before


def test_washing_is_logged_with_its_resistance(room: BatteryRoom) -> None:
    assert room.run("clean", "B1", "--with", "soda solution, rinsed", "--ohm", "3150").code == 0
    state = room.state("B1")
    assert state.done["cleaning"] and state.leakage_test and state.leakage_test["ohm"] == 3150


# Equipment


def test_equipment_tells_what_is_checked_and_when_again(room: BatteryRoom) -> None:
    room.take_in(ROOM)
    rows = room.run("equipment", "--json").data["equipment"]
    assert {row["state"] for row in rows} == {"never done"}
    assert room.run("check", "EW1", "--at", ago(days=9).isoformat()).code == 0
    assert room.run("check", "SK1", "--finding", "granulate missing", "--failed").code == 0
    states = {
        row["asset"]: row["state"] for row in room.run("equipment", "--json").data["equipment"]
    }
    assert states == {room["EW1"]: "overdue", room["SK1"]: "later"}
    found = room.run("today", "--json").data
    due = {(one["asset"], one["state"]) for one in found["due"] if one["code"] == "check"}
    assert due == {(room["EW1"], "overdue")}
    assert (room["SK1"], "check failed") in flags(room)


# Incidents and leaving


def test_an_incident_is_kept_apart_and_may_hold(room: BatteryRoom) -> None:
    found = room.run("incident", "report", "dropped-battery", "--what", "slipped off the rollers",
                     "--tag", "B1", "--nobody-hurt", "--hold", "--json")  # fmt: skip
    assert (found.data["sort"], found.data["hurt"]) == ("dropped battery", False)
    assert room.state("B1").safety_held
    listed = room.run("incident", "list", "--json").data["incidents"]
    assert [one["what"] for one in listed] == ["slipped off the rollers"]
    assert room.run("void", listed[0]["event"], "--reason", "entered twice", "--by", "TS").code == 0
    assert room.run("incident", "list", "--json").data["incidents"] == []
    assert room.run("incident", "report", "quarrel", "--what", "loud words").code == 2


def test_a_receipt_is_asked_for_until_it_is_there(room: BatteryRoom) -> None:
    assert "still to come" in room.run("retire", "B1", "--reason", "capacity 61 %").out
    assert (room["B1"], "no receipt") in flags(room)
    assert room.run("plan", "acid", "--json").data["waiting_for_receipt"] == [room["B1"]]
    assert room.run("retire", "B1", "--receipt", "2031/118", "--papers", "UN 2794").code == 0
    assert (room["B1"], "no receipt") not in flags(room)
    assert room.run("plan", "acid", "--json").data["waiting_for_receipt"] == []
    assert room.run("retire", "B1", "--receipt", "2031/119").code == 2


def test_somebody_elses_entry_is_cancelled_by_a_technician(staffed: BatteryRoom) -> None:
    room = staffed
    event = room.run("clean", "B1", "--with", "soda", "--by", "JT", "--json").data["event"]
    assert room.run("void", event, "--reason", "another battery", "--by", "KM").code == 2
    assert room.run("void", event, "--reason", "another battery", "--by", "SW").code == 0
    assert room.run("void", event, "--reason", "another battery", "--by", "SW").code == 13
    assert room.run("void", "nothing-1", "--reason", "another battery").code == 3
    registered = room.events("registered")[0].id
    assert room.run("void", registered, "--reason", "another battery").code == 2


def test_a_stamp_does_not_bring_back_the_volts_of_a_jumpered_cell(staffed: BatteryRoom) -> None:
    new = "Maker's serial,Voltage (V),Service weight,Chemistry\nN1,48,1100 kg,vented lead-acid\n"
    staffed.take_in(new, as_stamped=False)
    assert staffed.run("repair", "N1", "cell jumpered", "--cell", "3", "--by", "JT").code == 0
    stamp = ("--serial", "N1", "--voltage", "48", "--weight", "1100 kg", "--answer", "as-shown")
    found = staffed.run("marry", "N1", *stamp)
    assert found.code == 2 and "cell 3" in found.err
    assert staffed.state("N1").nameplate["voltage"]["value"] == "46"


def test_nobody_alone_cancels_a_repair_that_changed_what_fit_is_judged_by(
    staffed: BatteryRoom,
) -> None:
    staffed.run("repair", "B1", "cell jumpered", "--cell", "3", "--by", "JT")
    (entry,) = staffed.events("repaired")
    alone = staffed.run("void", entry.id, "--reason", "another battery", "--by", "JT")
    assert alone.code == 2
    assert staffed.state("B1").nameplate["voltage"]["value"] == "46"
    two = ("--reason", "another battery", "--by", "JT", "--second", "SW")
    assert staffed.run("void", entry.id, *two).code == 0
    assert staffed.state("B1").nameplate["voltage"]["value"] == "48"


def test_a_jumpered_battery_whose_volts_happen_to_match_is_still_no_fit(
    staffed: BatteryRoom,
) -> None:
    new = (
        "Maker's serial,Voltage (V),Service weight,Chemistry,Capacity C5 (Ah)\n"
        "N50,50,1100 kg,vented lead-acid,775\n"
    )
    staffed.take_in(new)
    assert staffed.run("repair", "N50", "cell jumpered", "--cell", "25", "--by", "JT").code == 0
    assert staffed.state("N50").nameplate["voltage"]["value"] == "48"
    for other in ("T1", "C1"):
        found = staffed.run("fit", "N50", other, "--json")
        assert found.code == 11
        lines = {one["name"]: one for one in found.data["checks"]}
        assert lines["voltage"]["result"] == "fit"
        assert lines["cells"]["result"] == "not_confirmed"
        assert lines["cells"]["found"] == "jumpered: 25"
        assert "temporary repair" in lines["cells"]["note"]
    refused = staffed.run("amend", "N50", "--set", "voltage=50", "--reason", "its stamp says so",
                          "--by", "JT", "--second", "SW")  # fmt: skip
    assert refused.code == 2 and "cell 25" in refused.err


def test_cells_of_a_jumpered_battery_keep_their_numbers(staffed: BatteryRoom) -> None:
    assert staffed.run("repair", "B1", "cell jumpered", "--cell", "3", "--by", "JT").code == 0
    last = staffed.run("round", "enter", "B1", "--cells", "24:1280", "--by", "JT")
    assert last.code == 0, last.err
    assert staffed.run("round", "enter", "B1", "--cells", "25:1280", "--by", "JT").code == 2


def test_what_is_for_other_chemistries_or_cells_is_refused(staffed: BatteryRoom) -> None:
    staffed.take_in(
        "Maker's serial,Voltage (V),Service weight,Chemistry,Capacity C5 (Ah)\n"
        "L9,48,1100 kg,lithium-ion,600\nG9,48,1100 kg,gel,700\n"
    )
    staffed.take_in(
        "Bay,Maker's serial,Output voltage (V),Chemistries,Capacity min (Ah),Capacity max (Ah),"
        'Capacity hours\nG1,CG,48,"gel, lithium-ion",500,900,5\n'
    )
    before = staffed.count()
    for command, said in (
        (("repair", "B1", "cell jumpered", "--cell", "25"), "has no cell 25"),
        (("repair", "B1", "cell replaced", "--cell", "25"), "has no cell 25"),
        (("repair", "L9", "cell jumpered", "--cell", "3"), "its cells are not bridged"),
        (("repair", "G9", "acid adjusted"), "it has no acid to adjust"),
        (("charge", "start", "G9", "CG", "--kind", "equalize"), "gel is never equalized"),
        (("charge", "start", "L9", "CG", "--kind", "equalize"), "is never equalized"),
        (("charge", "start", "G9", "CG", "--sg", "1280"), "its gravity can't be read"),
        (("charge", "start", "B1", "C1", "--temperature", "-20 °C", "--sg", "1,10"),
         "never charge a frozen battery"),
        (("water", "B1", "--litres", "1", "--cell", "7=2"), "more than the 1 l in all"),
    ):  # fmt: skip
        found = staffed.run(*command, "--by", "JT")
        assert found.code in (2, 12) and said in found.out + found.err, found
    assert staffed.count() == before
    flagged = staffed.run("water", "B1", "--litres", "1", "--quality", "tap water", "--by", "JT")
    assert "neither deionised nor distilled" in flagged.out
    pure = staffed.run("water", "B1", "--litres", "1", "--quality", "4 µS/cm", "--by", "JT")
    assert "neither deionised" not in pure.out


def test_a_sealed_battery_is_equalized_where_its_maker_allows_it_and_that_is_said(
    staffed: BatteryRoom,
) -> None:
    staffed.take_in(
        "Maker's serial,Voltage (V),Service weight,Chemistry,Capacity C5 (Ah),Equalizing allowed\n"
        "YES,48,1100 kg,gel,700,yes\nNO,48,1100 kg,AGM,700,no\nNOBODY,48,1100 kg,gel,700,\n"
    )
    staffed.take_in(
        "Bay,Maker's serial,Output voltage (V),Chemistries,Capacity min (Ah),Capacity max (Ah),"
        'Capacity hours\nG1,CG,48,"gel, AGM",500,900,5\nG2,CG2,48,"gel, AGM",500,900,5\n'
    )
    start = ("charge", "start")
    told = staffed.run(*start, "YES", "CG", "--kind", "equalize", "--by", "JT")
    assert told.code == 0 and "its maker allows equalizing" in told.out
    refused = staffed.run(*start, "NO", "CG2", "--kind", "equalize", "--by", "JT")
    assert refused.code == 2 and "its maker does not allow equalizing" in refused.err
    unknown = staffed.run(*start, "NOBODY", "CG2", "--kind", "equalize", "--by", "JT")
    assert unknown.code == 2 and "amend “equalizing” to yes" in unknown.err
    assert staffed.run("amend", "NOBODY", "--set", "equalizing=yes", "--reason", "the maker wrote",
                       "--by", "JT", "--second", "SW").code == 0  # fmt: skip
    assert staffed.run(*start, "NOBODY", "CG2", "--kind", "equalize", "--by", "JT").code == 0
