"""A charger's log becomes charges: columns said once, nothing recorded twice."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from battery_room import BatteryRoom, ago
from tagkit.errors import WrongInput
from tagkit.jobs.current_log import current_log

HEAD = "Batt;Where;From;To;Ah out;Hottest\n"
COLUMNS = (
    "--column", "battery=Batt", "--column", "charger=Where", "--column", "started=From",
    "--column", "ended=To", "--column", "ah=Ah out", "--column", "highest_temperature=Hottest",
    "--as", "row-a",
)  # fmt: skip


def log(room: BatteryRoom, *rows: str, name: str = "log.csv") -> Path:
    return room.sheet(HEAD + "".join(f"{row}\n" for row in rows), name)


def row(battery: str, hours_ago: float, hours: float, charger: str = "A1", ah: str = "500") -> str:
    start = ago(hours=hours_ago).replace(second=0)
    end = start + timedelta(hours=hours)
    return f"{battery};{charger};{start:%Y-%m-%d %H:%M};{end:%Y-%m-%d %H:%M};{ah};46"


def test_a_row_becomes_a_charge_with_its_figures(room: BatteryRoom) -> None:
    file = log(room, row("B1", 20, 8))
    found = room.run("charge", "import", file, *COLUMNS, "--json")
    assert found.code == 0, found
    assert (found.data["logged"], found.data["remembered"]) == (1, True)
    state = room.state("B1")
    assert state.last_charge and state.last_charge["ah"] == 500
    assert state.last_charge["kind"] == "conventional"
    (ended,) = room.events("charge_ended")
    assert ended.body["highest_temperature"]["value"] == "46"
    assert ended.body["imported_from"] == "log.csv"
    assert '[logs."row-a"]' in (room.folder / "site.toml").read_text(encoding="utf-8")


def test_the_columns_need_to_be_said_only_once(room: BatteryRoom) -> None:
    assert room.run("charge", "import", log(room, row("B1", 40, 8)), *COLUMNS).code == 0
    found = room.run("charge", "import", log(room, row("B2", 20, 8), name="next.csv"), "--json")
    assert (found.code, found.data["kind_of_file"], found.data["logged"]) == (0, "row-a", 1)


def test_the_same_log_twice_records_nothing_twice(room: BatteryRoom) -> None:
    file = log(room, row("B1", 20, 8), row("B2", 19, 8, "A2"))
    assert room.run("charge", "import", file, *COLUMNS).code == 0
    before = room.count()
    found = room.run("charge", "import", file, "--json")
    assert (found.data["here_already"], found.data["logged"]) == (2, 0)
    assert room.count() == before


def test_what_the_log_knows_more_of_a_scanned_charge_is_added(room: BatteryRoom) -> None:
    room.charge("B1", began=20, ended=12)
    found = room.run("charge", "import", log(room, row("B1", 20, 8)), *COLUMNS, "--json")
    assert (found.data["completed"], found.data["logged"]) == (1, 0)
    first, second = room.events("charge_ended")
    assert first.voided and not second.voided
    assert second.body["ah"]["value"] == "500"
    assert len(room.events("charge_started")) == 1


def test_a_dry_run_changes_nothing(room: BatteryRoom) -> None:
    before = room.count()
    found = room.run(
        "charge", "import", log(room, row("B1", 20, 8)), *COLUMNS, "--dry-run", "--json"
    )
    assert found.data["logged"] == 1 and not found.data["remembered"]
    assert room.count() == before


def test_a_bad_row_stops_all_unless_the_good_ones_are_wanted(room: BatteryRoom) -> None:
    file = log(room, row("B1", 20, 8), row("NOBODY", 20, 8), row("B2", 12, -3))
    before = room.count()
    found = room.run("charge", "import", file, *COLUMNS)
    assert found.code == 2 and "row 3" in found.err and "NOBODY" in found.err
    assert room.count() == before
    found = room.run("charge", "import", file, *COLUMNS, "--keep-good", "--json")
    assert (found.code, found.data["logged"], found.data["refused"]) == (14, 1, 2)


def test_columns_that_are_not_known_are_asked_for(room: BatteryRoom) -> None:
    found = room.run("charge", "import", log(room, row("B1", 20, 8)))
    assert found.code == 2
    assert "battery" in found.err and "Hottest" in found.err and "--column" in found.err


@pytest.mark.parametrize(
    "wrong", [("--column", "colour=Batt"), ("--column", "battery=Nope"), ("--column", "battery")]
)
def test_columns_that_cannot_be_are_refused(room: BatteryRoom, wrong: tuple[str, str]) -> None:
    assert room.run("charge", "import", log(room, row("B1", 20, 8)), *wrong).code == 2


def test_a_charge_on_a_charger_that_does_not_fit_is_a_fact_and_told(room: BatteryRoom) -> None:
    found = room.run("charge", "import", log(room, row("B1", 20, 8, "A3")), *COLUMNS, "--json")
    assert found.data["logged"] == 1
    assert "no charger for it" in found.data["rows"][0]["note"]


def test_usual_headings_are_understood_unasked(room: BatteryRoom) -> None:
    text = "Battery,Charger,Start,End,Ah\n" + row("B1", 20, 8).replace(";", ",").rsplit(",", 1)[0]
    found = room.run("charge", "import", room.sheet(text + "\n"), "--json")
    assert (found.code, found.data["logged"]) == (0, 1)


@pytest.mark.parametrize(
    ("times", "problem"),
    [
        ("2025-10-26 02:10;2025-10-26 08:00", "twice or never"),  # clocks went back
        ("2025-03-30 02:30;2025-03-30 08:00", "twice or never"),  # clocks went ahead
        ("0001-01-01 00:00;2025-03-30 08:00", "no time of a charge"),
        ("2025-03-28 01:00;9999-12-31 23:59", "no time of a charge"),
    ],
)
def test_times_that_can_not_be_or_were_twice_are_refused(
    room: BatteryRoom, times: str, problem: str
) -> None:
    in_berlin(room)
    tag = room["B1"]
    found = room.run("charge", "import", log(room, f"{tag};A1;{times};500;40"), *COLUMNS)
    assert found.code == 2 and problem in found.err
    assert room.events("charge_ended") == []


def test_a_charge_of_minutes_over_the_change_of_clocks_does_not_count(room: BatteryRoom) -> None:
    in_berlin(room)
    rows = f"{room['B1']};A1;2025-03-30 01:58;2025-03-30 03:01;0;40"
    assert room.run("charge", "import", log(room, rows), *COLUMNS).code == 0
    (ended,) = room.events("charge_ended")
    assert not ended.body["counts"]


@pytest.mark.parametrize(("ah", "hottest"), [("-5", "40"), ("99999", "40"), ("500", "400")])
def test_figures_that_can_not_be_are_refused(room: BatteryRoom, ah: str, hottest: str) -> None:
    given = row("B1", 20, 8, ah=ah).rpartition(";")[0]
    found = room.run("charge", "import", log(room, f"{given};{hottest}"), *COLUMNS)
    assert found.code == 2 and "not plausible" in found.err


def in_berlin(room: BatteryRoom) -> None:
    path = room.folder / "site.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"Etc/UTC"', '"Europe/Berlin"'), encoding="utf-8")


def customary(room: BatteryRoom) -> None:
    path = room.folder / "site.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('units = "metric"', 'units = "us"', 1), encoding="utf-8")


def warm(room: BatteryRoom) -> list[tuple[str, str]]:
    found = [event.body["highest_temperature"] for event in room.events("charge_ended")]
    return [(one["value"], one["unit"]) for one in found]


def test_degrees_without_a_unit_are_asked_for_where_both_are_in_use(room: BatteryRoom) -> None:
    customary(room)
    file = log(room, row("B1", 20, 8).replace(";46", ";95"))
    asked = room.run("charge", "import", file, *COLUMNS)
    assert asked.code == 2 and "°C or °F" in asked.err and "--temperature-unit" in asked.err
    assert room.events("charge_ended") == []
    assert room.run("charge", "import", file, *COLUMNS, "--temperature-unit", "F").code == 0
    assert 'temperature_unit = "°F"' in (room.folder / "site.toml").read_text(encoding="utf-8")
    again = log(room, row("B2", 20, 8).replace(";46", ";104"), name="next.csv")
    assert room.run("charge", "import", again).code == 0
    assert warm(room) == [("95", "°F"), ("104", "°F")]
    other = room.run("charge", "import", again, "--temperature-unit", "C")
    assert other.code == 2 and "site.toml" in other.err


def test_a_heading_or_a_cell_that_says_its_degrees_is_not_asked_about(room: BatteryRoom) -> None:
    customary(room)
    file = log(room, row("B1", 20, 8).replace(";46", ";95"), row("B2", 19, 8, "A2"))
    text = file.read_text(encoding="utf-8").replace(";46", ";46 °C")
    file.write_text(text.replace("Hottest", "Hottest (°F)"), encoding="utf-8")
    columns = [word.replace("Hottest", "Hottest (°F)") for word in COLUMNS]
    assert room.run("charge", "import", file, *columns).code == 0
    assert warm(room) == [("95", "°F"), ("46", "°C")]


def test_a_site_with_metric_units_writes_its_degrees_down(room: BatteryRoom) -> None:
    assert room.run("charge", "import", log(room, row("B1", 20, 8)), *COLUMNS).code == 0
    assert 'temperature_unit = "°C"' in (room.folder / "site.toml").read_text(encoding="utf-8")
    assert warm(room) == [("46", "°C")]


@pytest.mark.parametrize(
    "last",
    ["1,nan", "inf,3", "1,1e999", "2031-05-04T08:00,3\n2031-05-04T09:00+00:00,2", "2,much", "2"],
)
def test_samples_of_a_current_that_are_no_figures_are_named(tmp_path: Path, last: str) -> None:
    path = tmp_path / "current.csv"
    first = "" if "T" in last else "0,100\n"
    path.write_text(f"h,A\n{first}{last}\n", encoding="utf-8")
    with pytest.raises(WrongInput, match="no time and current"):
        current_log(path)


def refused(room: BatteryRoom, *rows: str) -> dict[int, str]:
    """Row -> why it is not taken."""
    found = room.run("charge", "import", log(room, *rows), *COLUMNS, "--dry-run", "--json")
    return {one["row"]: one["note"] for one in found.data["rows"] if one["outcome"] == "refused"}


def test_what_no_charge_can_have_been_is_refused_with_its_row(room: BatteryRoom) -> None:
    told = refused(
        room,
        row("B1", 40, 8),
        row("B1", 20, 8, ah="4000"),  # B1 has 775 Ah
        row("B2", 20, 0.1, ah="600"),
        row("B3", 500, 200),
    )
    assert sorted(told) == [3, 4, 5]
    assert "4000 Ah are more than" in told[3] and "Ah at most" in told[3]
    assert "600 Ah in 6 min are 6000 A" in told[4]
    assert "a charge of 200 h is not plausible" in told[5]
    found = room.run("charge", "import", log(room, row("B1", 20, 8, ah="4000")), *COLUMNS)
    assert found.code == 2 and "row 2: 4000 Ah are more than" in found.err


def test_a_highest_temperature_below_another_is_refused(room: BatteryRoom) -> None:
    began, over = ago(hours=20), ago(hours=12)
    file = room.sheet(
        "battery;start;end;highest temperature;end temperature\n"
        f"B1;{began:%Y-%m-%d %H:%M};{over:%Y-%m-%d %H:%M};31;44\n"
    )
    found = room.run("charge", "import", file, "--column", "end_temperature=end temperature")
    assert found.code == 2
    assert "row 2: its highest temperature, 31 °C, is below another of it, 44 °C" in found.err


def test_two_rows_that_overlap_are_not_both_taken(room: BatteryRoom) -> None:
    told = refused(room, row("B1", 20, 8), row("B1", 15, 8), row("B2", 15, 8), row("B1", 20, 8))
    assert list(told) == [3]
    assert "it overlaps row 2" in told[3]


def test_a_row_that_overlaps_a_charge_on_record_is_refused(room: BatteryRoom) -> None:
    room.charge("B1", began=20, ended=12)
    told = refused(room, row("B1", 18, 8))
    assert "overlaps a charge of" in told[2] and "cancel it first" in told[2]


def test_an_end_scanned_hours_later_is_of_the_same_charge(room: BatteryRoom) -> None:
    room.charge("B1", began=20, ended=6)
    found = room.run("charge", "import", log(room, row("B1", 20, 8)), *COLUMNS, "--json")
    (done,) = found.data["rows"]
    assert done["outcome"] == "completed"
    assert "the log ends 360 min before" in done["note"] or "the log ends 359 min" in done["note"]
    assert [one.voided for one in room.events("charge_ended")] == [True, False]


def test_what_a_log_lacks_of_a_scanned_charge_is_kept(room: BatteryRoom) -> None:
    room.charge("B1", began=20, ended=None)
    current = room.sheet("hours;A\n0;80\n0.4;80\n0.8;40\n", "current.csv")
    ended = room.run(
        "charge", "end", "B1", "--current-log", current, "--charged", "--at",
        ago(hours=12).isoformat(), "--by", "KM",
    )  # fmt: skip
    assert ended.code == 0, ended.err
    head, line = HEAD.replace("Ah out;", ""), row("B1", 20, 8).replace(";500;", ";")
    file = room.sheet(f"{head}{line}\n")
    said = COLUMNS.index("ah=Ah out")
    words = COLUMNS[: said - 1] + COLUMNS[said + 1 :]
    assert room.run("charge", "import", file, *words, "--json").data["completed"] == 1
    last = room.events("charge_ended")[-1].body
    assert last["highest_temperature"]["value"] == "46"
    assert last["ah"]["value"] == "56.0" and len(last["current"]) == 3
