"""Care on a screen: charge, water, rounds, tests, repairs, inspections, incidents, the morning."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from known_browsers import known_browser
from station_room import BatteryRoom, station_room  # type: ignore[import-not-found]
from tagkit.web.access.pins import choose_pin
from tagkit.web.app import create_app
from tagkit.web.options import ServeOptions


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    return station_room(tmp_path_factory.mktemp("care") / "site")


@pytest.fixture
def room(kept: BatteryRoom, tmp_path: Path) -> BatteryRoom:
    return kept.moved_to(tmp_path / "site")


@pytest.fixture
def lead(room: BatteryRoom) -> Iterator[TestClient]:
    """Pages with the shift of the supervisor TS open."""
    app = create_app(ServeOptions(room.folder))
    with TestClient(app, base_url="http://127.0.0.1:8642") as asking:
        known_browser(app, asking)
        asking.post("/shift/open", data={"who": "TS"})
        yield asking


def press_for_the_card(page: str, tag: str) -> bool:
    """Whether one press prints the out-of-service card of ``tag``."""
    return bool(
        re.search(
            r'action="/labels/cards".*?name="what" value="out-of-service">'
            rf'<input type="hidden" name="number" value="{tag}">',
            page,
        )
    )


def test_care_finds_an_asset_by_any_of_its_names_and_offers_what_goes_with_it(
    lead: TestClient, room: BatteryRoom
) -> None:
    page = lead.get("/care", params={"number": "F1"})
    assert page.url.path == f"/care/{room['F1']}"
    assert "Capacity test" in page.text
    truck = lead.get(f"/care/{room['T1']}").text
    assert "Inspect" in truck
    assert "Capacity test" not in truck
    assert lead.get("/care", params={"number": "nobody"}).status_code == 404


def test_a_charge_begins_and_ends_with_its_flags_said_at_once(
    lead: TestClient, room: BatteryRoom
) -> None:
    tag = room["LIGHT"]
    begun = lead.post(f"/care/{tag}/charge", data={"charger": room["C2"], "gravity": "1.150"})
    assert "It is recorded" in begun.text
    assert room.place("LIGHT") == "C2"
    ended = lead.post(f"/care/{tag}/charged", data={"temperature": "35 °C"})
    assert "too short to count" in ended.text


def test_why_a_charge_is_refused_is_said_once(lead: TestClient, room: BatteryRoom) -> None:
    tag = room["LIGHT"]
    given = {"charger": room["C2"], "temperature": "52 °C"}
    hot = lead.post(f"/care/{tag}/charge", data=given).text.replace("\N{NO-BREAK SPACE}", " ")
    assert "FIT, DO NOT USE: the charge was not logged" in hot
    assert hot.count("Hot 52 °C") == 1
    assert "a charger that fits" not in hot  # it does fit


@pytest.mark.parametrize(
    ("act", "given", "field"),
    [
        ("charge", {"charger": "nobody"}, "charger"),
        ("charge", {"charger": "C1", "gravity": "7"}, "gravity"),
        ("charge", {"charger": "C1", "gauge": "120"}, "gauge"),
        ("charged", {"highest": "400 °C"}, "highest"),
        ("charged", {"at": "25:90"}, "at"),
        ("water", {"litres": "much"}, "litres"),
        ("water", {"cells": "7: much"}, "cells"),
        ("water", {"cells": "99: 0.2"}, "cells"),
        ("water", {"litres": "1 l", "cells": "7: 3"}, "litres"),
        ("inspect", {"sort": "periodic", "hold": "safety"}, "findings"),
        ("inspect", {"sort": "periodic", "lift": "yes"}, "lift"),
        ("wash", {"using": ""}, "using"),
        ("wash", {"using": "soda", "resistance": "much"}, "resistance"),
        ("leakage", {"resistance": "much"}, "resistance"),
        ("capacity", {"current": "155 A", "minutes": "many"}, "minutes"),
        ("capacity", {"current": "much", "minutes": "290"}, "current"),
        ("repair", {"sort": "reweighed"}, "weighed"),
        ("repair", {"sort": "reweighed", "weighed": "heavy"}, "weighed"),
        ("repair", {"sort": "cell replaced"}, "cells"),
        ("repair", {"sort": "acid adjusted", "cable_length": "900 mm"}, "cable_length"),
        ("leave", {"reason": ""}, "reason"),
    ],
)
def test_the_field_that_a_refusal_is_about_is_marked_and_typed_into(
    lead: TestClient, room: BatteryRoom, act: str, given: dict[str, str], field: str
) -> None:
    if "lift" in given:
        lead.post(f"/A/{room['F1']}/report", data={"words": "loose cable", "stop": "yes"})
        given = given | {"findings": "loose cable"}
    answer = lead.post(f"/care/{room['F1']}/{act}", data=given)
    assert answer.status_code == 422, answer.text
    assert 'id="refused"' in answer.text
    (marked,) = re.findall(r"<(?:input|select|textarea) [^>]*aria-invalid[^>]*>", answer.text)
    assert f'name="{field}"' in marked
    assert " autofocus" in marked
    assert re.search(r'aria-describedby="refused\b', marked)
    # Once more below the field, on phones; a tick is as near as the press below it.
    assert answer.text.count('class="problem only-narrow"') == (field != "lift")


def test_a_charge_of_a_battery_in_a_truck_asks_with_a_key_for_each_answer(
    lead: TestClient, room: BatteryRoom
) -> None:
    assert room.run("swap", "T1", "F1", "--by", "TS").code == 0
    tag, charger = room["F1"], room["C2"]
    asked = lead.post(f"/care/{tag}/charge", data={"charger": charger})
    assert asked.status_code == 422
    for answer in ("as-shown", "as-recorded"):
        assert f'name="answer" value="{answer}"' in asked.text
    assert "It is charged in its truck" in asked.text and "record nothing" in asked.text
    assert "in truck" in lead.get(f"/care/{tag}").text
    told = lead.post(f"/care/{tag}/charge", data={"charger": charger, "answer": "as-recorded"})
    assert "brake set, key off, cover open" in told.text
    assert room.place("F1") == "T1" and room.state("F1").charging


def test_a_charger_at_which_another_stands_asks_and_says_what_is_left_to_do(
    lead: TestClient, room: BatteryRoom
) -> None:
    tag, charger = room["LIGHT"], room["C1"]  # where F1 to F18 were charged, one after the other
    asked = lead.post(f"/care/{tag}/charge", data={"charger": charger}).text
    assert "The other was taken away: begin this charge" in asked
    assert 'value="as-recorded"' not in asked
    told = lead.post(f"/care/{tag}/charge", data={"charger": charger, "answer": "as-shown"}).text
    assert "is at this charger, too: record where it is" in told


CURRENT = "hours;A\n0;80\n0.5;80\n1;70\n1.5;20\n2;4\n"


def current_taken_in(lead: TestClient, battery: str, **more: str) -> str:
    """The page after its log was looked at and recorded."""
    given = {"battery": battery, "column-time": "hours", "column-current": "A", **more}
    file = ("current.csv", CURRENT.encode(), "text/csv")
    looked = lead.post("/current-log", data={**given, "do": "look"}, files={"log": file}).text
    kept = re.search(r'name="kept" value="([^"]+)"', looked)
    assert kept, looked
    again = {**given, "kept": kept[1], "name": "current.csv", "do": "take"}
    return lead.post("/current-log", data=again).text


def test_the_curve_of_a_charge_stays_on_the_page_of_its_battery(
    lead: TestClient, room: BatteryRoom
) -> None:
    address = f"/A/{room['F1']}"
    assert "Current of its last charge" not in lead.get(address).text
    taken = current_taken_in(lead, room["F1"])
    assert "It is recorded" in taken
    points = re.findall(r'<polyline points="([^"]+)"', taken)
    shown = lead.get(address).text
    assert "Current of its last charge<" in shown
    assert re.findall(r'<polyline points="([^"]+)"', shown) == points
    assert "80 A</text>" in shown and "106 Ah</figcaption>" in shown
    entry = re.search(r"/corrections/void\?entry=([^\"]+)", taken)
    assert entry
    lead.post("/corrections/void", data={"entry": entry[1], "reason": "of another battery"})
    assert "Current of its last charge" not in lead.get(address).text


@pytest.mark.parametrize(
    ("address", "text", "given", "field"),
    [
        ("/current-log", "when;strength\n0;80\n1;80\n", {"battery": "F1"}, "column-time"),
        ("/current-log", CURRENT, {}, "battery"),
        ("/current-log", CURRENT, {"battery": "F1", "charger": "nobody"}, "charger"),
        ("/current-log", "hours;A\n0;much\n1;80\n", {"battery": "F1"}, "column-current"),
        ("/current-log", "hours;A\n0;80\n", {"battery": "F1"}, "log"),
        ("/charger-log", "when;what\n1;2\n", {}, "column-battery"),
        ("/charger-log", "", {}, "log"),
    ],
)
def test_the_field_that_a_refused_log_is_about_is_marked(
    lead: TestClient, room: BatteryRoom, address: str, text: str, given: dict[str, str], field: str
) -> None:
    given = {name: room.tags.get(word, word) for name, word in given.items()}
    file = ("a.csv", text.encode(), "text/csv")
    told = lead.post(address, data={**given, "do": "look"}, files={"log": file})
    assert told.status_code == 422, told.text
    (marked,) = re.findall(r"<(?:input|select|textarea) [^>]*aria-invalid[^>]*>", told.text)
    assert f'name="{field}"' in marked and " autofocus" in marked


def test_a_question_marks_no_field(lead: TestClient, room: BatteryRoom) -> None:
    asked = lead.post(f"/care/{room['F1']}/charged", data={})
    assert asked.status_code == 422
    assert "aria-invalid" not in asked.text


def test_the_number_that_is_no_part_of_an_incident_is_marked(lead: TestClient) -> None:
    told = lead.post(
        "/incidents", data={"sort": "spill", "what": "acid on the floor", "assets": "X"}
    )
    (marked,) = re.findall(r"<(?:input|select|textarea) [^>]*aria-invalid[^>]*>", told.text)
    assert 'name="assets"' in marked


def test_a_charger_of_the_wrong_voltage_is_refused_and_nothing_is_recorded(
    lead: TestClient, room: BatteryRoom
) -> None:
    before = room.count
    refused = lead.post(f"/care/{room['F2']}/charge", data={"charger": room["C24"]})
    assert refused.status_code == 422
    assert "not logged" in refused.text
    assert "on a charger for 24" in refused.text  # and why
    assert room.count == before


def test_water_is_recorded_and_what_it_means_is_said(lead: TestClient, room: BatteryRoom) -> None:
    told = lead.post(f"/care/{room['F3']}/water", data={"litres": "4.5 l", "before": "low"})
    assert "Ah of overcharge" in told.text
    wrong = lead.post(f"/care/{room['F3']}/water", data={"litres": "much"})
    assert wrong.status_code == 422
    assert 'value="much"' in wrong.text
    assert len(room.events("watered")) == 1


def test_findings_hold_a_battery_and_a_passed_inspection_lifts_the_hold(
    lead: TestClient, room: BatteryRoom
) -> None:
    tag = room["F4"]
    found = {"sort": "periodic", "findings": "case cracked at the left", "hold": "safety"}
    held = lead.post(f"/care/{tag}/inspect", data=found).text
    assert "It is held" in held
    assert press_for_the_card(held, tag)
    assert press_for_the_card(lead.get(f"/A/{tag}").text, tag)
    assert room.state("F4").holds
    assert (
        "The hold is lifted"
        in lead.post(f"/care/{tag}/inspect", data={"sort": "hold", "lift": "yes"}).text
    )
    assert not room.state("F4").holds


def test_a_test_a_repair_and_a_wash_are_recorded(lead: TestClient, room: BatteryRoom) -> None:
    tag = room["F5"]
    for key, given, said in (
        (
            "capacity",
            {"current": "155 A", "minutes": "200", "temperature": "30 °C"},
            "end of its life",
        ),
        ("leakage", {"resistance": "400 kohm"}, "It passes"),
        ("repair", {"sort": "cell replaced", "cells": "7"}, "same make"),
        ("wash", {"using": "soda solution", "neutralised": "yes"}, "It is recorded"),
    ):
        told = lead.post(f"/care/{tag}/{key}", data=given)
        assert said in told.text, told.text


def test_an_attendant_is_not_offered_a_technicians_work(
    lead: TestClient, room: BatteryRoom
) -> None:
    lead.post("/shift/open", data={"who": "KM"})
    done = lead.post(f"/care/{room['F5']}/leakage", data={"resistance": "400 kohm"})
    assert "needs a technician" in done.text
    assert room.events("leakage_tested") == []


def readings(**others: str) -> dict[str, str]:
    keyed = {f"gravity-{cell}": "1275" for cell in range(1, 25)}
    return {**keyed, "temperature": "25", **others}


def test_a_round_is_judged_while_it_is_keyed_in_and_then_recorded(
    lead: TestClient, room: BatteryRoom
) -> None:
    tag = room["F6"]
    look = lead.post(
        f"/rounds/{tag}/look", data=readings(**{"gravity-7": "1190", "gravity-8": "12"})
    )
    told = look.json()
    assert set(told["says"]) == {"7", "8"}
    assert room.events("cells_read") == []
    page = lead.post(f"/rounds/{tag}", data=readings(**{"gravity-7": "1190"}))
    assert "The round is recorded" in page.text
    assert "suspect cell" in page.text
    (event,) = room.events("cells_read")
    assert len(event.body["cells"]) == 24


def test_a_reversed_cell_is_asked_for_twice_then_taken_and_holds_the_battery(
    lead: TestClient, room: BatteryRoom
) -> None:
    tag = room["F7"]
    asked = lead.post(f"/rounds/{tag}", data=readings(**{"volts-3": "-0.40"}))
    assert asked.status_code == 422
    assert 'name="confirm-3"' in asked.text
    assert room.events("cells_read") == []
    taken = lead.post(f"/rounds/{tag}", data=readings(**{"volts-3": "-0.40", "confirm-3": "yes"}))
    assert room.state("F7").safety_held
    assert press_for_the_card(taken.text, tag)


def test_a_wrong_cell_is_named_and_what_was_keyed_in_stays_on_the_form(
    lead: TestClient, room: BatteryRoom
) -> None:
    page = lead.post(f"/rounds/{room['F6']}", data=readings(**{"gravity-9": "9"}))
    assert page.status_code == 422
    assert "cell 9" in page.text
    assert page.text.count('value="1275"') == 23


@pytest.mark.parametrize("ending", ["pdf", "xlsx", "csv"])
def test_a_blank_sheet_comes_as_pdf_xlsx_and_csv(
    lead: TestClient, room: BatteryRoom, ending: str
) -> None:
    sheet = lead.get(f"/rounds/{room['F6']}/sheet.{ending}")
    assert sheet.status_code == 200
    assert len(sheet.content) > 100


def test_a_filled_sheet_fills_the_form_and_records_nothing_yet(
    lead: TestClient, room: BatteryRoom
) -> None:
    tag = room["F8"]
    blank = lead.get(f"/rounds/{tag}/sheet.csv").content.decode("utf-8-sig").splitlines()
    row = next(place for place, line in enumerate(blank) if line.split(",")[0].strip('"') == "1")
    blank[row] = "1,1280" + "," * (blank[row].count(",") - 1)
    page = lead.post(
        f"/rounds/{tag}/filled", files={"sheet": ("r.csv", "\n".join(blank).encode(), "text/csv")}
    )
    assert 'name="gravity-1"' in page.text
    assert 'value="1280"' in page.text
    assert room.events("cells_read") == []


def test_the_rounds_are_drawn_as_a_chart(lead: TestClient, room: BatteryRoom) -> None:
    tag = room["F9"]
    for _ in range(2):
        lead.post(f"/rounds/{tag}", data=readings())
    assert f"/rounds/{tag}/chart.svg" in lead.get(f"/rounds/{tag}").text
    assert "<svg" in lead.get(f"/rounds/{tag}/chart.svg").text


def test_an_incident_is_kept_apart_and_holds_what_was_part_of_it(
    lead: TestClient, room: BatteryRoom
) -> None:
    told = lead.post(
        "/incidents",
        data={"sort": "spill", "what": "acid on the floor at bay 3", "assets": room["F10"],
              "hurt": "no", "hold": "yes"},
    )  # fmt: skip
    assert "acid on the floor" in told.text
    assert room.state("F10").safety_held
    assert press_for_the_card(told.text, room["F10"])
    empty = lead.post("/incidents", data={"sort": "spill", "what": "x"})
    assert empty.status_code == 422


def test_the_morning_list_tells_what_is_flagged_due_and_done_and_comes_as_a_calendar(
    lead: TestClient, room: BatteryRoom
) -> None:
    lead.post(f"/care/{room['F3']}/water", data={"litres": "4.5 l"})
    page = lead.get("/today").text
    assert "Morning list" in page
    assert "waterings" in page
    calendar = lead.get("/today.ics")
    assert calendar.headers["content-type"].startswith("text/calendar")
    assert calendar.text.startswith("BEGIN:VCALENDAR")


def test_the_plans_are_computed_from_the_record(lead: TestClient, room: BatteryRoom) -> None:
    air = lead.get("/planning/ventilation", params={"room": "900", "opening": "12000"}).text
    assert "m³/h" in air
    assert "governs" in air
    pool = lead.get("/planning/pool", params={"shifts": "6-14", "use": "10"}).text
    assert "changes waited for a battery" in pool
    assert lead.get("/planning/pool", params={"shifts": "never"}).status_code == 400
    assert room["F1"] in lead.get("/planning/retirement").text
    assert "sulphuric acid" in lead.get("/planning/acid").text


def test_what_is_for_vented_batteries_alone_is_not_offered_to_others(
    lead: TestClient, room: BatteryRoom
) -> None:
    amended = room.run(
        "amend", "F4", "--set", "chemistry=gel", "--reason", "misread", "--second", "SW"
    )
    assert amended.code == 0, amended
    page = lead.get(f"/care/{room['F4']}").text
    assert f"/care/{room['F4']}/water" not in page and f"/care/{room['F4']}/charge" in page
    form = lead.get(f"/care/{room['F4']}/charge").text
    assert "Specific gravity" not in form and '"equalize"' not in form
    before = room.count()
    given = {"charger": room["C1"], "kind": "equalize"}
    told = lead.post(f"/care/{room['F4']}/charge", data=given)
    assert told.status_code == 422 and "gel is never equalized" in told.text
    given = {"charger": room["C1"], "temperature": "-20 °C", "gravity": "1,10"}
    told = lead.post(f"/care/{room['F5']}/charge", data=given)
    assert told.status_code == 422 and "never charge a frozen battery" in told.text
    assert room.count() == before
    allowed = ("--set", "equalizing=yes", "--reason", "the maker wrote", "--second", "SW")
    assert room.run("amend", "F4", *allowed).code == 0
    assert '"equalize"' in lead.get(f"/care/{room['F4']}/charge").text
    assert "maker allows equalizing" in lead.get(f"/A/{room['F4']}").text.lower()


def test_what_happened_before_is_entered_with_its_time(lead: TestClient, room: BatteryRoom) -> None:
    address = f"/care/{room['F5']}/water"
    for wrong in ("2099-01-01 10:00", "25:00", "yesterday"):
        told = lead.post(address, data={"litres": "4", "at": wrong})
        assert told.status_code == 422 and wrong in told.text
    told = lead.post(address, data={"litres": "4,5", "quality": "tap", "at": "2026-01-03 10:00"})
    assert "neither deionised nor distilled" in told.text
    (event,) = room.events("watered")
    assert event.happened_at.startswith("2026-01-03T") and event.body["litres"] == 4.5
    cells = {f"gravity-{cell}": "1280" for cell in range(1, 25)} | {"temperature": "25"}
    for address, given in (
        (f"/rounds/{room['F5']}", cells),
        ("/incidents", {"sort": "spill", "what": "two litres of acid", "assets": room["F5"]}),
    ):
        assert lead.post(address, data=given | {"at": "2099-01-01 10:00"}).status_code == 422
        assert lead.post(address, data=given | {"at": "2026-01-04 10:00"}).status_code == 200
    happened = [*room.events("cells_read"), *room.events("incident")]
    assert [one.happened_at[:10] for one in happened] == ["2026-01-04", "2026-01-04"]


def test_a_chargers_log_is_looked_at_then_taken_in_and_its_columns_kept(
    lead: TestClient, room: BatteryRoom
) -> None:
    log = (
        "Batt ID;Start;Stop;Ah out\n"
        "F7;2026-01-20 22:00;2026-01-21 06:00;612\n"
        "none;2026-01-20 22:00;2026-01-21 06:00;612\n"
    )
    sent = {"log": ("row-a.csv", log.encode())}
    asked = lead.post("/charger-log", files=sent, data={"do": "take"})
    assert asked.status_code == 422 and "Which column holds battery" in asked.text
    (kept,) = re.findall(r'name="kept" value="([^"]+)"', asked.text)
    given = {"kept": kept, "name": "row-a.csv", "as": "row-a", "column-battery": "Batt ID",
             "column-started": "Start", "column-ended": "Stop", "column-ah": "Ah out"}  # fmt: skip
    before = len(room.events("charge_ended"))
    looked = lead.post("/charger-log", data=given)
    assert "“none” is no battery of this site" in looked.text
    assert 'value="take-good">Record the good row' in looked.text
    assert lead.post("/charger-log", data=given | {"do": "take"}).status_code == 422
    assert not any(room["F7"] in one.tags for one in room.events("charge_ended")[before:])
    done = lead.post("/charger-log", data=given | {"do": "take-good"})
    assert "It is recorded." in done.text
    (event,) = room.events("charge_ended")[before:]
    assert room["F7"] in event.tags
    assert event.body["ah"]["value"] == "612" and event.body["imported_from"] == "row-a.csv"
    again = lead.post("/charger-log", files=sent)
    assert "columns are known" in again.text and "Here already" in again.text
    for wrong in ({}, {"kept": "!!"}, {"kept": "AAEC", "name": "x.csv"}):
        assert lead.post("/charger-log", data=wrong).status_code == 422


def test_the_current_of_a_charge_is_looked_at_then_taken_in_and_can_be_taken_back(
    lead: TestClient, room: BatteryRoom
) -> None:
    flowing = "".join(
        f"2026-01-2{half // 48} {half // 2 % 24:02}:{half % 2 * 30:02};80\n"
        for half in range(44, 53)
    )
    log = f"Clock;I\n{flowing}2026-01-21 04:00;0\n"
    sent = {"log": ("sunday.csv", log.encode())}
    asked = lead.post("/current-log", files=sent, data={"battery": "F7"})
    assert asked.status_code == 422 and "Which column holds time" in asked.text
    (kept,) = re.findall(r'name="kept" value="([^"]+)"', asked.text)
    given = {"kept": kept, "name": "sunday.csv", "battery": "F7", "as": "row-a-current",
             "column-time": "Clock", "column-current": "I"}  # fmt: skip
    before = len(room.events("charge_ended"))
    looked = lead.post("/current-log", data=given)
    assert (
        "400 Ah" in looked.text and '400.0,0.0 600.0,160.0"' in looked.text
        and "Not recorded yet." in looked.text and 'class="mark go"' not in looked.text
    )  # fmt: skip
    assert len(room.events("charge_ended")) == before
    done = lead.post("/current-log", data=given | {"do": "take"})
    assert "It is recorded." in done.text and "Not recorded yet." not in done.text
    (event,) = room.events("charge_ended")[before:]
    assert event.body["ah"]["value"] == "400.0" and event.body["imported_from"] == "sunday.csv"
    (back,) = re.findall(r'href="/corrections/void\?entry=([^"]+)"', done.text)
    lead.post("/corrections/void", data={"entry": back, "reason": "another battery"})
    assert room.events("charge_ended")[-1].voided and not room.state("F7").charging
    assert "columns are known" in lead.post("/current-log", files=sent, data={"battery": "F7"}).text


def test_a_battery_leaves_the_fleet_and_its_papers_follow(
    lead: TestClient, room: BatteryRoom
) -> None:
    told = lead.post(f"/care/{room['F6']}/leave", data={"reason": "capacity 61 %"})
    assert "receipt is still to come" in told.text
    assert room.state("F6").retired_at
    assert f"/care/{room['F6']}/water" not in lead.get(f"/care/{room['F6']}").text
    lead.post(f"/care/{room['F6']}/leave", data={"receipt": "2031/118", "papers": "UN 2794"})
    assert room.state("F6").receipt == "2031/118"
    for ending in ("pdf", "csv", "xlsx", "json"):
        assert lead.get(f"/reports/leaving/{room['F6']}.{ending}").status_code == 200
    assert lead.get(f"/reports/leaving/{room['F7']}.pdf").status_code == 400


@pytest.mark.parametrize("ending", ["pdf", "csv", "xlsx", "json"])
def test_a_plan_comes_as_a_file_of_what_its_page_shows(lead: TestClient, ending: str) -> None:
    for address in ("ventilation?room=30 ft³&opening=1.2 m²", "pool?shifts=6-14&use=10",
                    "retirement", "acid"):  # fmt: skip
        name = address.partition("?")[0]
        page = lead.get(f"/planning/{address}").text
        (link,) = re.findall(rf'href="(/planning/{name}\.{ending}[^"]*)"', page)
        made = lead.get(link.replace("&amp;", "&"))
        assert made.status_code == 200 and len(made.content) > 200
        assert made.headers["content-disposition"] == f'attachment; filename="{name}.{ending}"'
        if name == "ventilation" and ending == "json":
            assert made.json()["natural"] is False
    for wrong in (f"pool.{ending}", f"pool.{ending}?shifts=6-14&days=0",
                  f"pool.{ending}?shifts=6-14&batteries:none=2",
                  f"ventilation.{ending}?room=9 kg"):  # fmt: skip
        refused = lead.get(f"/planning/{wrong}")
        assert refused.status_code == 400 and "That did not work" in refused.text
    assert lead.get(f"/planning/elsewhere.{ending}").status_code == 404


def test_the_air_is_asked_and_answered_in_the_readers_units(lead: TestClient) -> None:
    asked = {"units": "us", "room": "31,800 ft³", "opening": "9"}
    metric = lead.get("/planning/ventilation", params=asked).text
    assert "in²" in metric and " cm²<" in metric  # the address says what bare numbers are in
    lead.post("/shift/reading", data={"language": "es", "units": "us", "back": "/shift"})
    page = lead.get("/planning/ventilation").text
    assert re.search(r">(al menos )?\d+ cfm</b> <span[^>]*>\(\d+ m³/h\)<", page)
    assert 'name="units" value="us"' in page
    assert "cubic" not in page and " in² (" in page
    sheet = lead.get("/planning/ventilation.csv").text
    assert "cfm" in sheet and "práctica" in sheet


def test_the_pool_is_played_through_with_other_counts(lead: TestClient) -> None:
    given = {"shifts": "6-14,14-22,22-30", "use": "10", "days": "10"}
    page = lead.get("/planning/pool", params=given).text
    (name,) = set(re.findall(r'name="(batteries:[^"]+)"', page))
    recorded = int(re.findall(r'placeholder="(\d+)"', page)[0])
    fewer = lead.get("/planning/pool.json", params=given | {name: str(recorded - 1)}).json()
    assert list(fewer["batteries"].values()) == [recorded - 1]
    assert lead.get("/planning/pool", params=given | {name: "1,5"}).status_code == 400


@pytest.mark.parametrize("ending", ["pdf", "csv", "xlsx", "json"])
def test_reports_come_in_every_form(lead: TestClient, room: BatteryRoom, ending: str) -> None:
    for address in (f"/reports/battery/{room['F1']}", "/reports/month", "/reports/people"):
        assert len(lead.get(f"{address}.{ending}").content) > 50
    lead.post("/shift/open", data={"who": "KM"})
    assert lead.get(f"/reports/people.{ending}").status_code == 403
    assert lead.get("/reports/month.exe").status_code == 404


def test_steps_are_confirmed_with_what_was_left_out_and_edited_by_a_supervisor(
    lead: TestClient, room: BatteryRoom
) -> None:
    lead.post("/steps/charging", data={"done": ["1", "2"], "assets": room["F1"]})
    (event,) = room.events("steps_confirmed")
    assert len(event.body["steps"]) == 2
    assert event.body["left_out"]
    own = 'Say "stop" out loud\nLook at the charger'
    page = lead.post("/steps/charging/edit", data={"steps": own}).text
    assert "Look at the charger" in page
    assert "Say &#34;stop&#34; out loud" in page
    again = lead.post("/steps/charging/edit", data={"steps": ""}).text
    assert "Look at the charger" not in again


def test_a_supervisor_authorises_people_and_nobody_else_does(
    lead: TestClient, room: BatteryRoom
) -> None:
    given = {"code": "nn", "role": "technician", "until": "2033-05-01", "reference": "HR-17"}
    page = lead.post("/people", data=given).text
    assert "HR-17" in page
    with room.open() as site:
        assert site.record.people()["NN"].role == "technician"
    wrong = lead.post("/people", data={"code": "not a code!", "role": "technician"})
    assert wrong.status_code == 422
    lead.post("/shift/open", data={"who": "KM"})
    assert lead.get("/people").status_code == 403
    assert lead.post("/people", data=given).status_code == 403


def test_a_supervisor_lifts_a_hold_only_after_the_pin(lead: TestClient, room: BatteryRoom) -> None:
    tag = room["F1"]
    lead.post(f"/care/{tag}/inspect", data={"sort": "periodic", "findings": "leaks",
                                            "hold": "safety"})  # fmt: skip
    choose_pin(lead.app.state.access, "TS", "482913", 0.0)  # type: ignore[attr-defined]
    lead.post("/shift/open", data={"who": "TS"})
    answer = lead.post(f"/care/{tag}/inspect", data={"sort": "hold", "lift": "yes"})
    assert "PIN" in answer.text
    assert room.state("F1").held


@pytest.mark.parametrize("gauge", ["nan", "inf", "-5", "140"])
def test_a_gauge_that_can_not_be_is_refused_with_a_sentence(
    lead: TestClient, room: BatteryRoom, gauge: str
) -> None:
    form = {"charger": room["C2"], "gauge": gauge}
    assert lead.post(f"/care/{room['LIGHT']}/charge", data=form).status_code == 422
    assert room.place("LIGHT") != "C2"
