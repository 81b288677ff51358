"""What is flagged at a charge at once, and charges that count as none."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest
from battery_room import BatteryRoom, ago

BY = ("--by", "KM", "--station", "bay-1")


def at(**amount: float) -> tuple[str, str]:
    return "--at", ago(**amount).isoformat()


def codes(found) -> list[str]:  # type: ignore[no-untyped-def]
    return [flag["code"] for flag in found.data["flags"]]


def test_a_charge_of_seconds_does_not_make_a_battery_ready(room: BatteryRoom) -> None:
    assert room.run("charge", "start", "B1", "C1", *BY).code == 0
    found = room.run("charge", "end", "B1", *BY, "--json")
    assert (found.code, found.data["counts"], codes(found)) == (0, False, ["short charge"])
    assert room.state("B1").last_charged_at is None
    told = room.run("charge", "start", "B1", "C1", *BY)
    assert told.code == 0
    assert "counts as not charged" in room.run("charge", "end", "B1", *BY).out


def test_a_person_may_confirm_that_it_is_charged_all_the_same(room: BatteryRoom) -> None:
    room.run("charge", "start", "B1", "C1", *BY)
    found = room.run("charge", "end", "B1", "--charged", *BY, "--json")
    assert found.data["counts"] is True
    assert room.state("B1").last_charged_at


def test_a_short_charge_is_undone_by_cancelling_its_end(room: BatteryRoom) -> None:
    room.run("charge", "start", "B1", "C1", *BY)
    ended = room.run("charge", "end", "B1", *BY, "--json").data["event"]
    assert room.run("void", ended, "--reason", "still on charge", *BY).code == 0
    assert room.state("B1").charging


def test_the_shortest_charge_is_the_sites_to_say(room: BatteryRoom) -> None:
    path = room.folder / "site.toml"
    text = path.read_text(encoding="utf-8").replace(
        "shortest_charge_minutes = 5.0", "shortest_charge_minutes = 0.0"
    )
    path.write_text(text, encoding="utf-8")
    room.run("charge", "start", "B1", "C1", *BY)
    assert room.run("charge", "end", "B1", *BY, "--json").data["counts"] is True


def test_a_deep_discharge_is_flagged_when_the_charge_begins(room: BatteryRoom) -> None:
    found = room.run("charge", "start", "B1", "C1", "--discharged", "92", *BY, "--json")
    assert codes(found) == ["deep discharge"]
    assert found.data["discharge"]["by"] == "gauge"


def test_gravity_is_believed_before_the_gauge(room: BatteryRoom) -> None:
    found = room.run(
        "charge", "start", "B1", "C1", "--discharged", "40", "--sg", "1160", "--temperature",
        "25 °C", *BY, "--json",
    )  # fmt: skip
    assert found.data["discharge"] == {"percent": 80.0, "ah": 620.0, "by": "gravity"}


def test_a_charge_of_a_full_battery_is_flagged(room: BatteryRoom) -> None:
    found = room.run("charge", "start", "B1", "C1", "--discharged", "2", *BY, "--json")
    assert codes(found) == ["charged when full"]


def test_a_charge_far_too_long_and_too_hot_is_flagged_at_its_end(room: BatteryRoom) -> None:
    start = ("charge", "start", "B1", "C1", "--discharged", "30", *at(hours=20), *BY)
    assert room.run(*start).code == 0
    found = room.run("charge", "end", "B1", "--highest", "58 °C", *at(hours=1), *BY, "--json")
    assert codes(found) == ["too hot", "long charge"]
    assert {one["code"] for one in room.run("today", "--json").data["flags"]} >= {"too hot"}


def test_the_chargers_ah_tell_the_discharge(room: BatteryRoom) -> None:
    room.run("charge", "start", "B1", "C1", *at(hours=9), *BY)
    found = room.run("charge", "end", "B1", "--ah", "713 Ah", *at(hours=1), *BY, "--json")
    assert found.data["discharge"] == {"percent": 80.0, "ah": 620.0, "by": "charger"}


@pytest.mark.parametrize("wrong", [("--ah", "many"), ("--highest", "300 °C"), ("--ah", "-5 Ah")])
def test_figures_that_cannot_be_are_named(room: BatteryRoom, wrong: tuple[str, str]) -> None:
    room.run("charge", "start", "B1", "C1", *BY)
    found = room.run("charge", "end", "B1", *wrong, *BY)
    assert found.code == 2 and wrong[0] in found.err
    assert room.state("B1").charging


def test_someone_whose_authorisation_ran_out_is_refused_or_warned(room: BatteryRoom) -> None:
    room.staff()
    run_out = ("authorise", "KM", "--role", "attendant", "--until", "2020-01-01", "--by", "SW")
    assert room.run(*run_out).code == 0
    found = room.run("charge", "start", "B1", "C1", *BY)
    assert found.code == 2 and "ran out on 2020-01-01" in found.err
    path = room.folder / "site.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('run_out = "refuse"', 'run_out = "warn"'), encoding="utf-8")
    assert codes(room.run("charge", "start", "B1", "C1", *BY, "--json")) == ["not authorised"]


def test_a_clock_set_back_makes_nobody_valid_again(room: BatteryRoom) -> None:
    room.staff()
    room.run("authorise", "KM", "--role", "attendant", "--until", "2020-01-01", "--by", "SW")
    from tagkit.errors import WrongInput
    from tagkit.jobs.people import check_authorised

    def set_back() -> datetime:
        return datetime(2019, 12, 1, tzinfo=UTC)

    with room.open(clock=set_back) as site, pytest.raises(WrongInput, match="ran out"):
        check_authorised(site, "KM")


def test_a_battery_taken_off_after_seconds_is_not_ready_at_the_change(room: BatteryRoom) -> None:
    room.run("charge", "start", "B1", "C1", *BY)
    found = room.run("swap", "T1", "B1", "--answer", "as-shown", "--by", "KM", "--json")
    assert found.code == 12, found
    codes_against = [one["code"] for one in found.data["readiness"]["reasons"]]
    assert codes_against[0] in ("not charged", "charge unknown")
    assert room.events("changed") == []


def test_ah_follow_from_the_chargers_current(room: BatteryRoom) -> None:
    room.run("charge", "start", "B1", "C1", *at(hours=9), *BY)
    flowing = "".join(f"{half / 2};100\n".replace(".", ",") for half in range(9))
    log = room.sheet(f"hours;A\n{flowing}8;0\n", "current.csv")
    found = room.run("charge", "end", "B1", "--current-log", log, *at(hours=1), *BY, "--json")
    assert found.code == 0, found
    (event,) = room.events("charge_ended")
    assert event.body["ah"]["value"] == "600.0"  # 100 A x 4 h, then down to nothing in 4 h
    assert event.body["current"][-2:] == [[4.0, 100.0], [8.0, 0.0]]


def test_a_current_that_cannot_be_is_told(room: BatteryRoom) -> None:
    room.run("charge", "start", "B1", "C1", *at(hours=9), *BY)
    too_much = "".join(f"{half / 2},300\n" for half in range(9))
    for text in ("hours,A\n", "0,100\n1,x\n", "2,100\n1,100\n", "0,9999\n1,9999\n",
                 "0,300\n7.8,300\n", too_much):  # fmt: skip
        log = room.sheet(text, "current.csv")
        assert room.run("charge", "end", "B1", "--current-log", log, *BY).code == 2, text
    assert room.state("B1").charging
