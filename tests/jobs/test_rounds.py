"""Rounds: keyed in, judged at once, on paper and back."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest
from battery_room import BatteryRoom, ago
from tagkit.assets.tag import parse_tag
from tagkit.errors import NeedsAnswer, WrongInput
from tagkit.jobs.cell_chart import cell_chart
from tagkit.jobs.cell_layout import cell_rows
from tagkit.jobs.facts import RecordFacts
from tagkit.jobs.report_file import words_of
from tagkit.jobs.round_sheet import read_filled, read_line
from tagkit.jobs.rounds import CellWords, look_at_round, record_round

WHO = {"by": "PV", "station": "desk"}
GOOD = {"after_charge": True, "hours_rested": 9.0}


def line(low: dict[int, str] | None = None, cells: int = 24) -> str:
    return " ".join((low or {}).get(cell, "1280/25") for cell in range(1, cells + 1))


def enter(room: BatteryRoom, cells: str, *words: object) -> Any:
    return room.run(
        "round", "enter", "B1", "--cells", cells, "--charged", "--rested", "9", *words, "--json"
    )


def test_a_line_is_read_cell_by_cell() -> None:
    assert read_line("1280/21/2.12 1275 - 12: 1281///at_mark") == (
        CellWords(1, "1280", "21", "2.12"),
        CellWords(2, "1275"),
        CellWords(12, "1281", "", "", "at mark"),
    )
    with pytest.raises(WrongInput, match="too many parts"):
        read_line("1/2/3/4/5")


def test_cells_lie_to_and_fro_from_the_positive_post() -> None:
    assert cell_rows("2 rows of 3", 6) == [[1, 2, 3], [6, 5, 4]]
    assert cell_rows(None, 18)[1] == [12, 11, 10, 9, 8, 7]
    assert sorted(cell for row in cell_rows(None, 7) for cell in row) == list(range(1, 8))
    assert cell_rows("somewhere", 12) == cell_rows("3 rows of 7", 12)


def test_voltages_at_rest_of_what_is_on_charge_are_remarked_on(room: BatteryRoom) -> None:
    assert room.run("charge", "start", "B1", "C1", "--by", "KM").code == 0
    cells = line({3: "1290/25/2.20"})
    said = room.run("round", "enter", "B1", "--cells", cells, "--by", "PV").out
    assert "on charge, so these voltages are not at rest" in said
    assert enter(room, cells).data["on_charge"] is True
    assert enter(room, cells, "--voltage-taken", "on charge").data["on_charge"] is False
    assert enter(room, line()).data["on_charge"] is False


def test_a_round_is_judged_at_once(room: BatteryRoom) -> None:
    room.charge("B1")
    found = enter(room, line({11: "1220/25"}))
    assert found.code == 0, found
    assert found.data["median"] == 1.28 and found.data["spread"] == 0.06
    assert found.data["state_of_charge"] == {"value": 100.0, "unit": "%"}
    assert found.data["balance"] == "equalize"
    assert [(one["code"], one["cell"]) for one in found.data["flags"]] == [("suspect cell", 11)]
    assert found.data["layout"][0][0] == 1
    # Said with the answer at once, also before the list has judged it anew; it stays a fit.
    sentence = "flagged: cell 11 is 0.060 below the median"
    for judged_anew in (False, True):
        if judged_anew:
            listed = room.run("today", "--json").data["flags"]
            assert [one["code"] for one in listed] == ["suspect cell"]
        answer = room.run("fit", "B1", "T1", "--json")
        assert (answer.code, answer.data["verdict"]) == (0, "fit")
        assert answer.data["readiness"]["cautions"] == [sentence]
    assert sentence in room.run("fit", "B1", "T1").out
    with room.open() as site:
        shown = RecordFacts(site, site.record, "bay-1").asset(parse_tag(room["B1"]))
        assert shown is not None
        assert [f"flagged: {one}" for one in shown.readiness.flagged] == [sentence]
        assert words_of(site, "es")(sentence).startswith("con aviso: el elemento 11 está ")
    answer = room.run("next", "T1", "--json").data
    assert answer["next"] == room["B1"] and answer["why"].endswith(f"; {sentence}")


def test_levels_of_many_cells_are_one_line_of_the_list(room: BatteryRoom) -> None:
    assert enter(room, " ".join(["1280/25//bare"] * 24)).code == 0
    found = room.run("today", "--json").data["flags"]
    assert [(one["code"], one["cell"]) for one in found] == [("plates bare", None)]
    assert "24 cells" in found[0]["sentence"]


def test_temperature_brings_gravities_to_the_reference(room: BatteryRoom) -> None:
    found = room.run("round", "enter", "B1", "--cells", line().replace("/25", "/95"), "--fahrenheit",
                     "--json")  # fmt: skip
    # 95 °F = 35 °C: 10 x 0.0007 above the reference
    assert found.data["median"] == pytest.approx(1.287)


def test_without_a_temperature_nothing_is_said_of_charge(room: BatteryRoom) -> None:
    found = enter(room, " ".join(["1280"] * 24))
    assert found.data["state_of_charge"] is None and found.data["corrected"] is False


def test_a_reversed_cell_is_asked_for_twice_and_then_holds_the_battery(room: BatteryRoom) -> None:
    reading = line({7: "1190/25/-0.4"})
    found = enter(room, reading)
    assert found.code == 13 and "cell 7 is reversed" in found.err and "--confirm 7" in found.err
    assert room.events("cells_read") == []
    found = enter(room, reading, "--confirm", "7")
    assert found.code == 0 and found.data["held"]
    assert room.state("B1").safety_held
    assert found.data["flags"][0]["severity"] == "stop"


def test_a_cell_without_voltage_at_rest_holds_the_battery_too(room: BatteryRoom) -> None:
    """Its flag says to use it no more: the verdict must not say otherwise."""
    room.charge("B1")
    assert room.run("fit", "B1", "T1").code == 0
    found = enter(room, line({7: "1190/25/1.2"}), "--confirm", "7")
    assert found.code == 0 and found.data["held"]
    assert found.data["flags"][0]["severity"] == "stop"
    assert room.state("B1").safety_held
    told = room.run("fit", "B1", "T1", "--json")
    assert told.code == 12
    assert [one["code"] for one in told.data["readiness"]["reasons"]] == ["safety hold"]


def test_impossible_readings_name_the_cell(room: BatteryRoom) -> None:
    for reading in ("1280 12800", "1280/25 1280/95", "1280//2 1280//7", "1280 1280///full_up"):
        found = enter(room, reading)
        assert found.code == 2 and "cell 2" in found.err, reading
    assert enter(room, line(cells=25)).code == 2
    assert enter(room, "- - -").code == 2
    assert room.events("cells_read") == []


def test_a_round_says_why_it_is_not_compared(room: BatteryRoom) -> None:
    found = room.run("round", "enter", "B1", "--cells", line(), "--not-charged", "--json")
    assert "it was not charged before" in found.data["not_comparable"]
    assert found.data["trends"] == []


def test_circumstances_come_from_the_record(room: BatteryRoom) -> None:
    room.charge("B1", began=20, ended=12)
    found = room.run("round", "enter", "B1", "--cells", line(), "--json")
    assert found.data["not_comparable"] == []
    (event,) = room.events("cells_read")
    assert event.body["after_charge"] is True and event.body["hours_rested"] == 12.0


def rounds(room: BatteryRoom, behind: list[float], days: float = 28) -> Any:
    """A round every so many days, cell 11 behind by these."""
    told = None
    with room.open() as site:
        for place, gap in enumerate(behind):
            words = [
                CellWords(cell, f"{1.28 - (gap if cell == 11 else 0) + cell % 3 * 0.001:.3f}", "25")
                for cell in range(1, 25)
            ]
            at = ago(days=days * (len(behind) - place))
            told = record_round(site, room["B1"], words, at=at, **GOOD, **WHO)
    return told


def test_a_dying_cell_is_named_with_the_date_when_it_passes_the_limit(room: BatteryRoom) -> None:
    told = rounds(room, [0.0, 0.0, 0.003, 0.008, 0.016, 0.028])
    flag = next(flag for flag in told.flags if flag.code == "failing cell")
    assert flag.cell == 11
    trend = next(one for one in told.trends if one.cell == 11)
    assert trend.passes_at and trend.earliest and trend.earliest <= trend.passes_at
    assert "failing cell" in {one["code"] for one in room.run("today", "--json").data["flags"]}
    assert "Trend of cell 11" in room.run("round", "show", "B1").out


def test_a_repair_begins_a_new_baseline(room: BatteryRoom) -> None:
    room.staff()
    rounds(room, [0.0, 0.0, 0.003, 0.008, 0.016, 0.028])
    assert room.run("repair", "B1", "cell replaced", "--cell", "11", "--by", "JT").code == 0
    found = room.run("round", "show", "B1", "--json")
    assert [one["cell"] for one in found.data["trends"] if one["cell"] == 11] == []
    assert "failing cell" not in {one["code"] for one in room.run("today", "--json").data["flags"]}


def test_what_is_keyed_in_is_judged_before_it_is_recorded(room: BatteryRoom) -> None:
    before = room.count()
    with room.open() as site:
        words = read_line(line({3: "1210/25/1.2"}))
        looked, critical = look_at_round(site, room["B1"], words, **GOOD)
        assert [flag.cell for flag in critical] == [3]
        assert looked.judgement.cells[2].flags[0].code == "low voltage"
        with pytest.raises(NeedsAnswer):
            record_round(site, room["B1"], words, **GOOD, **WHO)
    assert room.count() == before


def test_the_freezing_warning_uses_the_trucks_own_cold(room: BatteryRoom) -> None:
    room.take_in("Fleet number,Maker's serial,Voltage (V),Battery weight min,Battery weight max,"
                 "Coldest temperature at work\nCOLD,TS-9,48,1000 kg,1200 kg,-28 °C\n")  # fmt: skip
    room.charge("B1", began=30, ended=20)
    assert room.run("swap", "COLD", "B1", "--by", "KM").code == 0
    found = room.run("round", "enter", "B1", "--cells", line(), "--json")
    assert [one["code"] for one in found.data["flags"]] == ["will freeze"]
    assert found.data["flags"][0]["severity"] == "stop"


def test_a_pilot_round_is_no_full_round(room: BatteryRoom) -> None:
    assert enter(room, "1275/25", "--pilot").data["extent"] == "pilot"
    assert room.run("round", "show", "B1").code == 3
    assert room.state("B1").done["pilot"]


def flagged(room: BatteryRoom) -> set[tuple[str, int | None]]:
    found = room.run("today", "--json").data["flags"]
    return {(one["code"], one["cell"]) for one in found if one["asset"] == room["B1"]}


def test_a_round_of_a_few_cells_clears_nothing_of_the_others(room: BatteryRoom) -> None:
    room.staff()
    enter(room, line({11: "1200/25", 12: "1280/25//low", 13: "1280/25//bare"}))
    found = {("suspect cell", 11), ("low level", 12), ("plates bare", 13)}
    assert found <= flagged(room)
    short = enter(room, "1280/21/2.12 1278 1281").data
    assert found <= flagged(room)
    assert (short["unread"], short["full"]) == (21, False)
    assert found <= {(one["code"], one["cell"]) for one in short["flags"]}
    said = room.run("round", "show", "B1").out
    assert "21 cells not read: what was found in them before stands. This does not count" in said
    with room.open() as site:
        assert "cell 11" in cell_chart(site, room["B1"], words_of(site))
    # One gravity beside no median tells nothing either.
    enter(room, "11: 1279/25")
    assert ("suspect cell", 11) in flagged(room)
    assert room.run("water", "B1", "--litres", "4", "--by", "JT").code == 0
    assert flagged(room) & found == {("suspect cell", 11)}
    watering = room.events("watered")[-1].id
    assert room.run("void", watering, "--reason", "another one", "--by", "SW").code == 0
    assert found <= flagged(room)
    assert room.run("water", "B1", "--litres", "4", "--by", "JT").code == 0
    enter(room, line())
    assert not flagged(room) & found


def test_a_repair_ends_what_was_found_before_a_short_round(room: BatteryRoom) -> None:
    room.staff()
    enter(room, line({11: "1200/25"}))
    enter(room, "1280/25 1278 1281")
    assert ("suspect cell", 11) in flagged(room)
    assert room.run("repair", "B1", "cell replaced", "--cell", "11", "--by", "JT").code == 0
    assert ("suspect cell", 11) not in flagged(room)


def test_a_round_of_a_few_cells_is_no_full_round(room: BatteryRoom) -> None:
    def due() -> dict[str, str]:
        found = room.run("today", "--json").data["due"]
        return {one["code"]: one["at"] for one in found if one["asset"] == room["B1"]}

    with room.open() as site:
        words = [CellWords(cell, "1280", "25") for cell in range(1, 25)]
        record_round(site, room["B1"], words, at=ago(days=400), **GOOD, **WHO)
    before = due()["round"]
    assert enter(room, "1280/25 1278 1281").data["full"] is False
    assert due()["round"] == before
    assert enter(room, line({24: "-"})).data["full"] is True
    assert due().get("round") != before


@pytest.mark.parametrize("suffix", ["xlsx", "csv"])
def test_a_blank_sheet_comes_back_filled(room: BatteryRoom, suffix: str) -> None:
    path = room.folder.parent / f"round.{suffix}"
    assert room.run("round", "blank", "B1", "--out", path).code == 0
    if suffix == "csv":
        text = path.read_text(encoding="utf-8-sig").replace("\n1,,,,", "\n1,1280,21,,low")
        path.write_text(text.replace("\n7,,,,", "\n7,1.262,21.5,2.1,"), encoding="utf-8")
    else:
        from openpyxl import load_workbook

        book = load_workbook(path)
        sheet = book.worksheets[-1]
        for row in sheet.iter_rows(min_row=3):
            if row[0].value in (1, 7):
                values = (1280, 21, None, "low") if row[0].value == 1 else (1.262, 21.5, 2.1, None)
                for cell, value in zip(row[1:], values, strict=False):
                    cell.value = value
        book.save(path)
    sheet = read_filled(path)
    assert sheet.battery == room["B1"]
    assert [(one.cell, one.gravity, one.level) for one in sheet.cells] == [
        (1, "1280", "low"), (7, "1.262", "")
    ]  # fmt: skip
    assert room.run("round", "import", path).code == 0
    assert len(room.events("cells_read")[0].body["cells"]) == 2


def test_the_sheet_on_paper_has_every_cell_and_a_code_that_reads(room: BatteryRoom) -> None:
    from tagkit.labels.raster import render_pages
    from tagkit.reader.decoders import decode_all

    path = room.folder.parent / "round.pdf"
    found = room.run("round", "blank", "B1", "--out", path, "--json")
    assert found.data["cells"] == 24
    (page,) = render_pages(path, 150)
    assert decode_all(page) == [room["B1"]]
    assert room.run("round", "blank", "B1", "--out", path).code == 2


def test_a_sheet_that_does_not_say_its_battery_is_asked(room: BatteryRoom) -> None:
    path = room.sheet("cell,SG\n1,1280\n")
    assert "--battery" in room.run("round", "import", path).err
    assert room.run("round", "import", path, "--battery", "B1").code == 0
    assert room.run("round", "import", room.sheet("a,b\n1,2\n"), "--battery", "B1").code == 2
    assert room.run("round", "import", room.sheet("cell,SG\nx,1280\n"), "--battery", "B1").code == 2


def test_rounds_entered_late_stand_in_their_order(room: BatteryRoom) -> None:
    with room.open() as site:
        for days in (5, 30, 60):
            at = datetime.now().astimezone() - timedelta(days=days)
            record_round(site, room["B1"], read_line(line()), at=at, **GOOD, **WHO)
    moments = [at for at, _ in room.state("B1").rounds]
    assert moments == sorted(moments)


def test_cells_that_do_not_go_with_the_rounds_before_are_told(room: BatteryRoom) -> None:
    """Labels swapped between two cases: every cell has its own place above or below the median."""

    def pattern(shift: int) -> list[CellWords]:
        return [
            CellWords(cell, f"{1.280 + ((cell * 7 + shift * 5) % 9 - 4) * 0.002:.3f}", "25")
            for cell in range(1, 25)
        ]

    with room.open() as site:
        for days in (150, 120, 90, 60):
            told = record_round(site, room["B1"], pattern(0), at=ago(days=days), **GOOD, **WHO)
            assert "cells of another battery" not in {flag.code for flag in told.flags}
        told = record_round(site, room["B1"], pattern(1), at=ago(days=30), **GOOD, **WHO)
        assert "cells of another battery" in {flag.code for flag in told.flags}
        record_round(site, room["B1"], pattern(1), at=ago(days=2), **GOOD, **WHO)
    flags = {one["code"] for one in room.run("today", "--json").data["flags"]}
    assert "cells of another battery" in flags


@pytest.mark.parametrize("hours", [float("nan"), float("inf"), -1.0, 1e99])
def test_hours_of_rest_that_cannot_be_are_refused(room: BatteryRoom, hours: float) -> None:
    words = [CellWords(1, "1280", "25")]
    with room.open() as site:
        for take in (record_round, look_at_round):
            who = WHO if take is record_round else {}
            with pytest.raises(WrongInput, match="no time of rest"):
                take(site, room["B1"], words, hours_rested=hours, **who)  # type: ignore[operator]
    assert room.events("cells_read") == []


def test_degrees_are_the_sites_unless_somebody_says_otherwise(room: BatteryRoom) -> None:
    def kept(*words: str) -> float:
        assert room.run("round", "enter", "B1", "--cells", "1280/68", *words, "--json").code == 0
        return float(room.events("cells_read")[-1].body["cells"][0]["temperature"])

    assert kept() == 68
    path = room.folder / "site.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('units = "metric"', 'units = "us"', 1), encoding="utf-8")
    assert kept() == 20
    assert kept("--celsius") == 68
    with room.open() as site, pytest.raises(WrongInput, match="°C, °F"):
        record_round(site, room["B1"], [CellWords(1, "1280", "300")], temperature_unit="K", **WHO)
