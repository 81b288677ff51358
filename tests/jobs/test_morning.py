"""Which battery next, and the morning list with its calendar."""

from __future__ import annotations

import re
from collections import Counter
from datetime import timedelta

import pytest
from battery_room import BatteryRoom, ago
from tagkit.jobs.calendar import calendar_text
from tagkit.jobs.judging import catch_up
from tagkit.jobs.rotation import next_for


def test_of_those_that_are_ready_the_one_rested_longest_goes_next(room: BatteryRoom) -> None:
    room.charge("B1", began=20, ended=12)
    room.charge("B2", began=60, ended=50, charger="C2")
    room.charge("B3", began=10, ended=1)
    found = room.run("next", "T1", "--json")
    assert found.code == 0, found
    assert found.data["next"] == room["B2"]
    by_tag = {one["battery"]: one for one in found.data["rotation"]}
    assert set(by_tag) == {room[name] for name in ("B1", "B2", "B3", "LIGHT")}
    assert [by_tag[room[name]]["place"] for name in ("B2", "B1", "B3", "LIGHT")] == [1, 2, 0, 0]
    assert "resting" in by_tag[room["B3"]]["why"] and by_tag[room["B3"]]["ready_at"]
    assert "weight" in by_tag[room["LIGHT"]]["why"]
    assert {"why": "another voltage", "count": 1} in found.data["passed_over"]


def test_each_one_passed_over_has_its_reason(room: BatteryRoom) -> None:
    room.charge("B1", "B2")
    assert room.run("swap", "T2", "B1", "--by", "KM").code == 0
    assert room.run("hold", "B2", "--reason", "connector loose").code == 0
    assert room.run("charge", "start", "B3", "C2").code == 0
    found = room.run("next", "T1", "--json")
    assert (found.code, found.data["next"]) == (12, None)
    why = {one["battery"]: one["why"] for one in found.data["rotation"]}
    assert why[room["B1"]] == f"in truck {room['T2']}"
    assert "connector loose" in why[room["B2"]]
    assert "on charge" in why[room["B3"]]
    assert "No battery is ready" in room.run("next", "T1").out


def test_a_held_truck_gets_none(room: BatteryRoom) -> None:
    room.charge("B1")
    room.run("hold", "T1", "--reason", "gate broken", "--safety")
    found = room.run("next", "T1", "--json")
    assert (found.code, found.data["next"]) == (12, None)
    assert "gate broken" in found.data["truck_against"][0]


def test_what_is_asked_must_be_a_truck(room: BatteryRoom) -> None:
    assert room.run("next", "B1").code == 2
    assert room.run("next", "T-QM-00099-9").code in (2, 3)


def test_a_change_is_in_the_rotation_at_once(room: BatteryRoom) -> None:
    room.charge("B1", "B2")
    with room.open() as site:
        first = next_for(site, room["T1"]).next
    assert room.run("swap", "T1", first, "--by", "KM").code == 0
    with room.open() as site:
        found = next_for(site, room["T2"])
    assert found.next not in (None, first)


def test_the_rotation_agrees_with_the_verdict_of_every_battery(room: BatteryRoom) -> None:
    room.charge("B1", began=20, ended=12)
    room.charge("SMALL", charger="C24")
    with room.open() as site:
        places = {place.tag: place.place for place in next_for(site, room["T1"]).places}
    for name in ("B1", "B2", "B3", "LIGHT"):
        code = room.run("fit", "T1", name).code
        assert (places[room[name]] > 0) == (code == 0), name


def test_the_list_of_a_new_site_says_what_was_never_done(room: BatteryRoom) -> None:
    found = room.run("today", "--json").data
    assert found["flags"] == []
    states = {one["state"] for one in found["due"]}
    assert states == {"never done"}
    assert {one["code"] for one in found["due"]} >= {"round", "inspection", "capacity test"}
    assert "Nothing is flagged." in room.run("today").out


def test_an_empty_site_has_an_empty_list(empty_room: BatteryRoom) -> None:
    found = empty_room.run("today")
    assert found.code == 0 and "Nothing is due." in found.out


def test_overdue_comes_before_due_and_soon(room: BatteryRoom) -> None:
    for name, days in (("B1", 200), ("B2", 90), ("B3", 88)):
        at = ("--at", ago(days=days).isoformat())
        assert room.run("inspect", name, "--sort", "periodic", *at).code == 0
    due = [one for one in room.run("today", "--json").data["due"] if one["code"] == "inspection"]
    assert [(one["asset"], one["state"]) for one in due][:3] == [
        (room["B1"], "overdue"), (room["B2"], "due"), (room["B3"], "soon")
    ]  # fmt: skip


def test_a_battery_that_stands_discharged_is_told_after_a_day(room: BatteryRoom) -> None:
    room.charge("B1", "B2", began=100, ended=90)
    for name, hours in (("B1", 60), ("B2", 40)):
        at = ("--at", ago(hours=hours).isoformat())
        change = ("swap", "T1", name, "--discharged", "75", "--by", "KM", *at)
        assert room.run(*change).code == 0, name
    found = room.run("today", "--json").data["flags"]
    assert [(one["asset"], one["code"]) for one in found] == [(room["B1"], "standing discharged")]


def test_the_settings_of_the_site_decide_and_are_heeded_at_once(room: BatteryRoom) -> None:
    room.run("inspect", "B1", "--at", ago(days=40).isoformat())
    path = room.folder / "site.toml"
    text = path.read_text(encoding="utf-8")

    def overdue() -> list[str]:
        found = room.run("today", "--json").data["due"]
        return [one["asset"] for one in found if one["state"] == "overdue"]

    assert overdue() == []
    path.write_text(text.replace("inspection_days = 90.0", "inspection_days = 30.0"), "utf-8")
    assert overdue() == [room["B1"]]


def test_what_was_recorded_since_yesterday_is_told(room: BatteryRoom) -> None:
    room.charge("B1")
    room.run("hold", "B2", "--reason", "connector loose")
    found = room.run("today", "--json").data["changed"]
    assert found["done"]["charges ended"] == 1
    assert any("connector loose" in one["what"] for one in found["events"])
    begun = found["done"]["charges begun"]
    assert begun == 1
    room.staff()
    ended = room.events("charge_ended")[-1].id
    assert room.run("void", ended, "--reason", "another battery", "--by", "SW").code == 0
    # What is cancelled is not counted any more, and one is one.
    assert "charges ended" not in room.run("today", "--json").data["changed"]["done"]
    said = room.run("today").out
    assert "1 charge begun" in said and "ended" not in said


def test_authorisations_that_run_out_are_on_the_list(room: BatteryRoom) -> None:
    room.staff()
    soon = (ago() + timedelta(days=10)).date().isoformat()
    room.run("authorise", "KM", "--role", "attendant", "--until", soon, "--by", "SW")
    people = room.run("today", "--json").data["people"]
    assert [(one["person"], one["until"], one["ran_out"]) for one in people] == [
        ("KM", soon, False)
    ]


def test_a_hold_that_is_cancelled_leaves_the_list(room: BatteryRoom) -> None:
    room.staff()
    event = room.run("hold", "B1", "--reason", "loose", "--by", "SW", "--json").data["event"]
    assert room.run("today", "--json").data["flags"][0]["code"] == "held"
    assert room.run("void", event, "--reason", "another battery", "--by", "SW").code == 0
    assert room.run("today", "--json").data["flags"] == []


def test_judging_twice_gives_the_same(room: BatteryRoom) -> None:
    room.charge("B1")
    room.run("inspect", "B1", "--finding", "cap cracked")

    def kept() -> list[object]:
        with room.open() as site:
            catch_up(site)
            tables = site.record.outlook()
            for until in (ago().isoformat(), ago(days=-60).isoformat(), "9999"):
                counted = Counter((one.rank, one.code) for one in tables.all_notices(until))
                assert {told[:2]: told[2] for told in tables.tally(until)} == counted
            return [(tables.row(tag), tables.notices_of(tag)) for tag in sorted(room.tags.values())]

    first = kept()
    with room.open() as site, site.record.judging() as tables:
        tables.judge_all(tables.judged_under() or "")
    assert kept() == first
    assert room.run("inspect", "B1").code == 0
    assert room.run("hold", "B2", "--reason", "connector loose").code == 0
    assert kept() != first


def test_due_dates_are_a_calendar(room: BatteryRoom) -> None:
    room.run("inspect", "B1", "--at", ago(days=40).isoformat())
    path = room.folder.parent / "due.ics"
    assert room.run("today", "--ical", path).code == 0
    text = path.read_bytes().decode("utf-8")
    assert text.startswith("BEGIN:VCALENDAR\r\n") and text.endswith("END:VCALENDAR\r\n")
    lines = text.split("\r\n")
    assert all(len(line.encode()) <= 75 for line in lines)
    assert lines.count("BEGIN:VEVENT") == lines.count("END:VEVENT") >= 1
    day = (ago(days=40) + timedelta(days=90)).strftime("%Y%m%d")
    assert f"DTSTART;VALUE=DATE:{day}" in lines
    assert any(line.startswith(f"SUMMARY:{room['B1']}: inspection") for line in lines)
    assert room.run("today", "--ical", path).code == 2
    with room.open() as site:
        again = calendar_text(site)
    uids = re.findall(r"UID:(\S+)", again)
    assert uids == re.findall(r"UID:(\S+)", text) and len(set(uids)) == len(uids)


def test_words_of_people_cannot_break_the_calendar(room: BatteryRoom) -> None:
    path = room.folder / "site.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(
        text.replace('name = ""', 'name = "North; yard, éééé' + "é" * 60 + '"'), "utf-8"
    )
    with room.open() as site:
        written = calendar_text(site)
    assert "North\\; yard\\, é" in written
    assert all(len(line.encode()) <= 75 for line in written.split("\r\n"))
    unfolded = written.replace("\r\n ", "")
    assert "é" * 60 in unfolded


@pytest.mark.parametrize(
    "words", [("today", "--site", "nowhere"), ("next", "T1", "--site", "nowhere")]
)
def test_without_a_site_nothing_is_guessed(words: tuple[str, ...]) -> None:
    from battery_room import run

    assert run(*words).code == 3
