"""The change of a battery: checked, asked about, logged whole, undone."""

from __future__ import annotations

import re
from datetime import datetime, timedelta
from typing import Any

import pytest
from battery_room import BatteryRoom, ago, ended
from tagkit.errors import NeedsAnswer
from tagkit.jobs.change import Wanted, log_change, log_order, undo_last
from tagkit.jobs.conversation import Station, step
from tagkit.station.change import advance, begin
from tagkit.station.inputs import Confirm, Typed
from tagkit.station.orders import ChangeOrder
from tagkit.station.screen import look

BY = ("--by", "KM", "--station", "bay-1")


@pytest.fixture
def charged(room: BatteryRoom) -> BatteryRoom:
    """B1 and B2 are charged and rested."""
    room.charge("B1", "B2")
    return room


def swap(room: BatteryRoom, *words: object) -> Any:
    return room.run("swap", *words, *BY)


def test_a_change_puts_the_battery_into_the_truck(charged: BatteryRoom) -> None:
    found = charged.run("swap", "T1", "B1", *BY, "--json")
    assert found.code == 0, found.err
    assert found.data["truck"] == charged["T1"]
    assert found.data["battery_in"] == charged["B1"]
    assert found.data["battery_out"] is None
    assert found.data["verdict"] == "fit"
    assert charged.place("B1") == "T1"
    (event,) = charged.events("changed")
    assert (event.by, event.station, event.id) == ("KM", "bay-1", found.data["event"])


def test_truck_and_battery_go_in_either_order(charged: BatteryRoom) -> None:
    assert swap(charged, "B1", "T1").code == 0
    assert charged.place("B1") == "T1"


def test_a_change_freezes_what_it_was_judged_by(charged: BatteryRoom) -> None:
    assert swap(charged, "T1", "B1", "--hours", "1204.5").code == 0
    body = charged.events("changed")[0].body
    assert body["verdict"]["verdict"] == "fit"
    assert {check["name"] for check in body["verdict"]["checks"]} >= {
        "voltage",
        "weight",
        "chemistry",
    }
    assert body["nameplates"][charged["B1"]]["weight"]["value"] == "1100"
    assert body["hours"] == 1204.5


def test_somebody_has_to_say_who_changes_it(charged: BatteryRoom) -> None:
    found = charged.run("swap", "T1", "B1")
    assert found.code == 2
    assert "--by" in found.err
    assert charged.events("changed") == []


def test_the_battery_out_is_inferred_and_goes_on_its_charger(charged: BatteryRoom) -> None:
    assert swap(charged, "T1", "B1").code == 0
    found = charged.run("swap", "T1", "B2", "--charger", "C2", "--discharged", "75", *BY, "--json")
    assert found.code == 0, found.err
    assert found.data["battery_out"] == charged["B1"]
    assert found.data["out_to"] == {"kind": "charger", "name": charged["C2"]}
    assert charged.place("B1") == "C2"
    state = charged.state("B1")
    assert state.charging and state.charging["charger"] == charged["C2"]
    assert state.last_discharge and state.last_discharge["percent"] == 75
    assert charged.events("charge_started")[-1].body["verdict"]["verdict"] == "fit"


def test_a_battery_that_does_not_fit_is_not_logged(charged: BatteryRoom) -> None:
    before = charged.count()
    found = charged.run("swap", "T1", "LIGHT", *BY, "--json")
    assert (found.code, found.data["verdict"]) == (10, "no_fit")
    assert "The change was not logged." in swap(charged, "T1", "LIGHT").out
    assert charged.count() == before


def test_a_battery_that_is_not_confirmed_is_not_logged(room: BatteryRoom) -> None:
    room.take_in(
        "Maker's serial,Voltage (V),Service weight,Chemistry\nNEW,48,1100 kg,vented lead-acid\n",
        as_stamped=False,
    )
    found = room.run("swap", "T1", "NEW", *BY, "--json")
    assert (found.code, found.data["verdict"]) == (11, "not_confirmed")
    assert room.events("changed") == []


def test_a_battery_that_rests_is_not_logged(room: BatteryRoom) -> None:
    room.charge("B1", began=9, ended=1)
    found = room.run("swap", "T1", "B1", *BY, "--json")
    assert (found.code, found.data["verdict"]) == (12, "fit")
    assert [one["code"] for one in found.data["readiness"]["reasons"]] == ["resting"]
    assert room.events("changed") == []


@pytest.mark.parametrize(
    "option",
    [("--discharged", "nan"), ("--hours", "inf"), ("--discharged", "101"), ("--hours", "-1")],
)
def test_a_gauge_that_can_not_be_right_stops_the_change(
    charged: BatteryRoom, option: tuple[str, str]
) -> None:
    assert swap(charged, "T1", "B1", *option).code == 2
    assert charged.events("changed") == []


@pytest.mark.parametrize(
    "words", [("T1", "T2"), ("B1", "B2"), ("T1", "C1"), ("T1", "B1", "--out", "B1"),
              ("T1", "B1", "--out", "T2"), ("T1", "B1", "--charger", "B2"),
              ("T1", "B1", "--charger", "C1")]
)  # fmt: skip
def test_what_makes_no_sense_is_wrong_input(charged: BatteryRoom, words: tuple[str, ...]) -> None:
    found = swap(charged, *words)
    assert found.code == 2, found
    assert charged.events("changed") == []


@pytest.mark.parametrize(
    ("gone", "words"),
    [("B3", ("T1", "B1", "--out", "B3")), ("C2", ("T1", "B1", "--out", "B2", "--charger", "C2")),
     ("T1", ("T1", "B1")), ("B1", ("T1", "B1"))],
)  # fmt: skip
def test_what_has_left_the_fleet_takes_no_part(
    charged: BatteryRoom, gone: str, words: tuple[str, ...]
) -> None:
    assert charged.run("retire", gone, "--reason", "worn out").code == 0
    found = swap(charged, *words)
    assert found.code == 2
    assert "retired" in found.err
    assert charged[gone] in found.err
    assert charged.events("changed") == []


# What the record says otherwise


def test_a_battery_recorded_in_another_truck_is_asked_about(charged: BatteryRoom) -> None:
    assert swap(charged, "T1", "B1").code == 0
    found = charged.run("swap", "T2", "B1", "--by", "JT")
    assert found.code == 13
    assert f"KM put {charged['B1']} into {charged['T1']}" in found.err
    assert "bay-1" in found.err
    assert charged.place("B1") == "T1"


def test_another_battery_out_than_recorded_needs_an_answer(charged: BatteryRoom) -> None:
    assert swap(charged, "T1", "B1").code == 0
    change = ("T1", "B2", "--out", "B3")
    found = swap(charged, *change)
    assert found.code == 13
    assert charged["B1"] in found.err
    assert "--answer as-shown" in found.err
    assert len(charged.events("changed")) == 1
    as_recorded = swap(charged, *change, "--answer", "as-recorded")
    assert as_recorded.code == 2
    assert "Leave --out away" in as_recorded.err
    assert len(charged.events("changed")) == 1
    answered = charged.run("swap", *change, "--answer", "as-shown", *BY, "--json")
    assert answered.code == 0, answered.err
    assert answered.data["battery_out"] == charged["B3"]
    (answer,) = answered.data["answers"]
    assert (answer["key"], answer["given"]) == ("other_out", "as-shown")
    assert charged.place("B2") == "T1"


def test_the_answer_as_shown_leaves_the_contradiction_for_the_lead(charged: BatteryRoom) -> None:
    charged.charge("B3")
    assert swap(charged, "T1", "B1").code == 0
    assert swap(charged, "T1", "B2", "--out", "SMALL", "--answer", "as-shown").code == 0
    found = charged.run("contradictions", "--json").data["contradictions"]
    assert [one["kind"] for one in found] == ["several in one place"]
    assert set(found[0]["tags"]) == {charged["T1"], charged["B1"], charged["B2"]}
    # A third change has to be told which of the two came out.
    several = swap(charged, "T1", "B3")
    assert several.code == 13
    assert "--out" in several.err


def test_a_battery_still_on_charge_by_the_record_is_asked_about(room: BatteryRoom) -> None:
    room.charge("B1", began=20, ended=None)
    found = swap(room, "T1", "B1")
    assert found.code == 13
    assert re.search(r"still on charge: C-\S+ since \d{4}-\d\d-\d\d \d\d:\d\d[. (]", found.err), (
        found.err
    )
    # Taken off now it would have to rest: that, not the old charge, is what stops it.
    shown = room.run("swap", "T1", "B1", "--answer", "as-shown", *BY, "--json")
    assert shown.code == 12
    assert [one["code"] for one in shown.data["readiness"]["reasons"]] == ["resting"]
    assert room.events("changed") == []


def test_an_opportunity_charge_ends_with_the_change(room: BatteryRoom) -> None:
    begun = room.run(
        "charge",
        "start",
        "B1",
        "C1",
        "--kind",
        "opportunity",
        "--by",
        "KM",
        "--at",
        ago(hours=1).isoformat(),
    )
    assert begun.code == 0
    assert swap(room, "T1", "B1").code == 13
    answered = swap(room, "T1", "B1", "--answer", "as-shown")
    assert answered.code == 0
    # As a clock shows it, not as the record keeps it.
    said = " ".join(answered.out.split())
    assert re.search(r"! noted .* since \d{4}-\d\d-\d\d \d\d:\d\d \(B-", said), said
    assert room.state("B1").charging is None
    assert room.place("B1") == "T1"
    (ended_with_it,) = room.events("charge_ended")
    assert ended_with_it.body["with_change"]


def test_a_word_that_is_no_answer_is_refused(charged: BatteryRoom) -> None:
    found = swap(charged, "T1", "B1", "--answer", "yes")
    assert found.code == 2
    assert "as-shown, as-recorded" in found.err


# Chargers


def test_a_charger_of_the_wrong_voltage_is_refused_and_nothing_is_logged(
    charged: BatteryRoom,
) -> None:
    assert swap(charged, "T1", "B1").code == 0
    before = charged.count()
    found = charged.run("swap", "T1", "B2", "--charger", "C24", *BY, "--json")
    assert (found.code, found.data["verdict"]) == (10, "no_fit")
    assert found.data["battery"] == charged["B1"]
    assert found.data["charger"] == charged["C24"]
    assert charged.count() == before


def test_an_occupied_charger_is_asked_about(charged: BatteryRoom) -> None:
    assert swap(charged, "T1", "B1").code == 0
    assert charged.run("charge", "start", "B3", "C2", "--by", "KM").code == 0
    found = swap(charged, "T1", "B2", "--charger", "C2")
    assert found.code == 13
    assert charged["B3"] in found.err
    assert swap(charged, "T1", "B2", "--charger", "C2", "--answer", "as-shown").code == 0


def test_a_held_charger_is_refused(charged: BatteryRoom) -> None:
    assert swap(charged, "T1", "B1").code == 0
    assert charged.run("hold", "C2", "--reason", "burnt contact").code == 0
    found = charged.run("swap", "T1", "B2", "--charger", "C2", *BY, "--json")
    assert found.code == 12
    assert "burnt contact" in found.data["readiness"]["reasons"][0]["reason"]
    assert len(charged.events("changed")) == 1


def test_a_held_truck_gets_no_battery(charged: BatteryRoom) -> None:
    assert charged.run("hold", "T1", "--reason", "brake").code == 0
    found = charged.run("swap", "T1", "B1", *BY, "--json")
    assert found.code == 12
    assert "brake" in found.data["readiness"]["reasons"][0]["reason"]
    assert charged.events("changed") == []


# Times


def test_a_change_may_be_entered_later(charged: BatteryRoom) -> None:
    when = ago(hours=1)
    assert swap(charged, "T1", "B1", "--at", when.isoformat()).code == 0
    (event,) = charged.events("changed")
    assert event.happened == when
    assert datetime.fromisoformat(charged.state("B1").place["since"]) == when  # type: ignore[index]


def test_readiness_is_judged_at_the_time_it_happened(room: BatteryRoom) -> None:
    room.charge("B1", began=20, ended=12)  # rests until four hours ago
    assert swap(room, "T1", "B1", "--at", ago(hours=5).isoformat()).code == 12
    assert swap(room, "T1", "B1", "--at", ago(hours=3).isoformat()).code == 0


def test_a_change_can_not_be_entered_behind_a_later_one(charged: BatteryRoom) -> None:
    assert swap(charged, "T1", "B1", "--at", ago(hours=1).isoformat()).code == 0
    found = swap(charged, "T1", "B2", "--at", ago(hours=2).isoformat())
    assert found.code == 13
    assert f"KM put {charged['B1']} into {charged['T1']}" in found.err
    assert len(charged.events("changed")) == 1


def test_a_time_by_the_minute_counts_as_after_what_was_logged_in_that_minute(
    charged: BatteryRoom,
) -> None:
    moment = ago(hours=1).replace(second=30)
    assert swap(charged, "T1", "B1", "--at", moment.isoformat()).code == 0
    found = swap(charged, "T1", "B2", "--charger", "C2", "--at", f"{moment:%Y-%m-%dT%H:%M}")
    assert found.code == 0, found.err
    assert charged.place("B1") == "C2"


def test_the_future_is_refused(charged: BatteryRoom) -> None:
    found = swap(charged, "T1", "B1", "--at", ago(hours=-1).isoformat())
    assert found.code == 2
    assert "future" in found.err


# Two at once


def test_two_processes_change_the_same_battery_and_one_is_told_who_was_faster(
    charged: BatteryRoom,
) -> None:
    both = [
        charged.start("swap", truck, "B1", "--by", by, "--station", station)
        for truck, by, station in (("T1", "KM", "bay-1"), ("T2", "JT", "bay-2"))
    ]
    outcomes = [ended(one) for one in both]
    assert sorted(one.code for one in outcomes) == [0, 13], outcomes
    winner = 0 if outcomes[0].code == 0 else 1
    by, truck, station = (("KM", "T1", "bay-1"), ("JT", "T2", "bay-2"))[winner]
    told = outcomes[1 - winner].err
    assert f"{by} put {charged['B1']} into {charged[truck]}" in told
    assert station in told
    assert len(charged.events("changed")) == 1
    assert charged.place("B1") == truck
    assert charged.is_sound()


def test_an_order_made_before_somebody_else_was_faster_is_not_logged(
    charged: BatteryRoom,
) -> None:
    with charged.open() as site:
        mine = Station(site, "bay-1", "KM")
        change = begin()
        for typed in ("T1", "B1"):
            change = step(mine, change, Typed(charged[typed]))
        change = step(mine, change, Confirm(look(change, mine.facts).token))
        change = advance(change, Confirm(look(change, mine.facts).token), mine.facts)
        assert isinstance(change.order, ChangeOrder)
        log_change(site, Wanted(charged["T2"], charged["B1"]), by="JT", station="bay-2")
        with pytest.raises(NeedsAnswer, match=f"JT put {charged['B1']} into {charged['T2']}"):
            log_order(site, change.order, by="KM", station="bay-1")
    assert len(charged.events("changed")) == 1
    assert charged.place("B1") == "T2"


# Undo


def test_undo_brings_back_where_everything_was(charged: BatteryRoom) -> None:
    assert swap(charged, "T1", "B1").code == 0
    assert swap(charged, "T1", "B2", "--charger", "C2").code == 0
    found = charged.run("undo", *BY, "--json")
    assert found.code == 0, found.err
    assert found.data["battery_in"] == charged["B2"]
    assert charged.place("B1") == "T1"
    assert charged.place("B2") == "C1"
    assert charged.state("B1").charging is None
    assert [event.voided for event in charged.events("charge_started")][-1:] == [True]
    assert charged.run("history", "B2", "--json").data["events"][1]["cancelled"] is True
    assert charged.is_sound()


def test_undo_takes_the_end_of_a_charge_back_too(room: BatteryRoom) -> None:
    assert (
        room.run(
            "charge", "start", "B1", "C1", "--kind", "opportunity", "--at", ago(hours=1).isoformat()
        ).code
        == 0
    )
    assert swap(room, "T1", "B1", "--answer", "as-shown").code == 0
    assert room.run("undo", *BY).code == 0
    state = room.state("B1")
    assert state.charging and state.charging["charger"] == room["C1"]
    assert room.place("B1") == "C1"


def test_undo_is_refused_when_something_came_after(charged: BatteryRoom) -> None:
    assert swap(charged, "T1", "B1").code == 0
    assert charged.run("seen", "B1", "T2", "--by", "JT", "--station", "bay-2").code == 0
    found = charged.run("undo", *BY)
    assert found.code == 13
    assert f"JT saw {charged['B1']} at truck {charged['T2']}" in found.err
    assert charged.events("voided") == []


def test_a_change_by_somebody_not_recorded_says_so_as_every_command_does(
    charged: BatteryRoom,
) -> None:
    charged.staff()
    found = charged.run("swap", "T1", "B1", "--by", "MK")
    assert found.code == 0
    note = "! MK is not recorded as authorised: have a supervisor record it."
    assert [line.strip() for line in found.out.splitlines()].count(note) == 1


def test_undo_undoes_only_what_this_station_did(charged: BatteryRoom) -> None:
    assert swap(charged, "T1", "B1").code == 0
    found = charged.run("undo", "--by", "JT", "--station", "bay-2")
    assert found.code == 2
    assert "no change was logged at the station “bay-2”" in found.err
    assert charged.place("B1") == "T1"


def test_a_second_undo_goes_on_with_the_change_before(charged: BatteryRoom) -> None:
    assert swap(charged, "T1", "B1", "--at", ago(hours=2).isoformat()).code == 0
    assert swap(charged, "T2", "B2", "--at", ago(hours=1).isoformat()).code == 0
    assert charged.run("undo", *BY).code == 0
    assert (charged.place("B1"), charged.place("B2")) == ("T1", "C1")
    assert charged.run("undo", *BY).code == 0
    assert charged.place("B1") == "C1"
    nothing = charged.run("undo", *BY)
    assert nothing.code == 2
    assert "no change is left to undo at the station “bay-1”" in nothing.err


def test_two_undos_at_once_cancel_one_change(charged: BatteryRoom) -> None:
    assert swap(charged, "T1", "B1").code == 0
    with charged.open() as first, charged.open() as second:
        undo_last(first, "wrong truck", by="KM", station="bay-1")
        with pytest.raises(Exception, match="no change is left to undo"):
            undo_last(second, "wrong truck", by="KM", station="bay-1")
    assert len(charged.events("voided")) == 1


def test_after_an_undo_the_change_can_be_made_again(charged: BatteryRoom) -> None:
    assert swap(charged, "T1", "B1").code == 0
    assert charged.run("undo", *BY).code == 0
    assert swap(charged, "T2", "B1").code == 0
    assert charged.place("B1") == "T2"
    assert timedelta(0) <= ago() - charged.events("changed")[-1].happened + timedelta(seconds=2)
