"""A battery whose case leaks is not used until a later test passes."""

from __future__ import annotations

import pytest
from battery_room import BatteryRoom, ago

HIGH = """\
Maker's serial,Voltage (V),Service weight,Chemistry,Capacity C5 (Ah)
B80,80,1500 kg,vented lead-acid,620
"""
HIGH_TRUCK = """\
Fleet number,Maker's serial,Voltage (V),Battery weight min,Battery weight max,Allowed chemistries
T80,TS-80,80,1400 kg,1600 kg,vented lead-acid
"""
HIGH_CHARGER = """\
Bay,Maker's serial,Output voltage (V),Chemistries,Capacity min (Ah),Capacity max (Ah),Capacity hours
A8,C80,80,vented lead-acid,500,900,5
"""
ONCE = ("--once", "--reason", "needed for the last load", "--by", "SW")


@pytest.fixture
def ready(room: BatteryRoom) -> BatteryRoom:
    """B1 at 48 V and B80 at 80 V, both charged and rested."""
    room.staff()
    for text in (HIGH, HIGH_TRUCK, HIGH_CHARGER):
        room.take_in(text)
    for battery, truck, charger in (("B1", "T1", "C1"), ("B80", "T80", "C80")):
        began, ended = (ago(hours=hours).isoformat() for hours in (30, 22))
        start = ("charge", "start", battery, charger, "--by", "KM", "--at", began)
        assert room.run(*start).code == 0
        end = room.run("charge", "end", battery, "--by", "KM", "--at", ended)
        assert end.code == 0
        assert room.run("fit", battery, truck).code == 0
    return room


def measured(room: BatteryRoom, battery: str, ohm: str) -> None:
    assert room.run("test", "leakage", battery, "--ohm", ohm, "--by", "JT").code == 0


def against(room: BatteryRoom, battery: str, other: str) -> list[str]:
    found = room.run("fit", battery, other, "--json")
    assert found.code == (12 if found.data["readiness"]["reasons"] else 0)
    return [one["code"] for one in found.data["readiness"]["reasons"]]


def test_below_60_volts_it_is_not_ready_until_it_passes(ready: BatteryRoom) -> None:
    measured(ready, "B1", "900 ohm")
    assert against(ready, "B1", "T1") == ["case leakage"]
    assert ready.run("swap", "T1", "B1", "--by", "KM").code == 12
    where = ready.run("where", "B1", "--json").data
    assert where["state"] == "not ready" and "900 ohm" in where["reasons"][0]
    assert ready.run("next", "T1", "--json").data["next"] is None
    assert ready.run("today", "--json").data["batteries"]["case leakage"] == 1
    measured(ready, "B1", "50 kohm")
    assert against(ready, "B1", "T1") == []


def test_below_60_volts_it_may_be_charged_and_that_it_leaks_is_said(ready: BatteryRoom) -> None:
    measured(ready, "B1", "900 ohm")
    found = ready.run("fit", "B1", "C1", "--json")
    assert found.code == 0
    assert any("900 ohm" in one for one in found.data["readiness"]["cautions"])


def test_a_supervisor_releases_it_below_60_volts_as_it_was_measured_then(
    ready: BatteryRoom,
) -> None:
    measured(ready, "B1", "900 ohm")
    assert ready.run("release", "B1", *ONCE).code == 0
    assert against(ready, "B1", "T1") == []
    measured(ready, "B1", "700 ohm")
    assert against(ready, "B1", "T1") == ["case leakage"]
    assert ready.run("release", "B1", *ONCE).code == 0
    assert against(ready, "B1", "T1") == []


def test_an_earlier_release_is_no_pass_for_it_also_where_it_is_entered_late(
    room: BatteryRoom,
) -> None:
    room.staff()
    room.charge("B1", began=9, ended=1)
    assert room.run("release", "B1", *ONCE).code == 0
    assert against(room, "B1", "T1") == []
    late = ("--at", ago(minutes=30).isoformat(), "--by", "JT")
    assert room.run("test", "leakage", "B1", "--ohm", "900", *late).code == 0
    assert against(room, "B1", "T1") == ["case leakage"]


def test_nor_is_it_for_a_battery_that_is_found_hot_afterwards(room: BatteryRoom) -> None:
    room.staff()
    room.charge("B1", began=9, ended=1)
    assert room.run("release", "B1", *ONCE).code == 0
    with room.open() as site, site.record.writing(by="JT", station="desk") as writing:
        cells = [{"cell": 1, "temperature": "58"}]
        body = {"extent": "pilot", "temperature_unit": "°C", "cells": cells}
        writing.append("cells_read", [room["B1"]], body)
    assert against(room, "B1", "T1") == ["hot"]


def test_above_60_volts_nothing_but_a_test_that_passes_lifts_it(ready: BatteryRoom) -> None:
    room = ready
    measured(room, "B80", "900 ohm")
    assert against(room, "B80", "T80") == ["safety hold"]  # said once
    lift = ("inspect", "B80", "--lift", "--by", "SW")
    assert room.run(*lift).code == 0
    assert room.state("B80").holds == []
    assert against(room, "B80", "T80") == ["case leakage"]
    assert against(room, "B80", "C80") == ["case leakage"]
    assert room.run("charge", "start", "B80", "C80", "--by", "KM").code == 12
    refused = room.run("release", "B80", *ONCE)
    assert refused.code == 2 and "can't lift this" in " ".join(refused.err.split())
    measured(room, "B80", "50 kohm")
    assert against(room, "B80", "T80") == []


def test_what_is_measured_when_it_is_washed_counts_too(ready: BatteryRoom) -> None:
    room = ready
    found = room.run("clean", "B80", "--with", "soda, rinsed", "--ohm", "900", "--by", "JT")
    assert "until a later leakage test passes" in " ".join(found.out.split())
    assert against(room, "B80", "T80") == ["case leakage"]
    assert room.run("clean", "B80", "--with", "soda, rinsed", "--by", "JT").code == 0
    assert against(room, "B80", "T80") == ["case leakage"]
    wash = ("clean", "B80", "--with", "soda, rinsed", "--ohm", "50 kohm", "--by", "JT")
    assert room.run(*wash).code == 0
    assert against(room, "B80", "T80") == []


def test_a_test_that_nobody_could_judge_is_no_pass(ready: BatteryRoom) -> None:
    room = ready
    measured(room, "B1", "900 ohm")
    with room.open() as site, site.record.writing(by="JT", station="desk") as writing:
        writing.append("leakage_tested", [room["B1"]], {"ohm": None, "passes": None})
    found = room.run("fit", "B1", "T1", "--json")
    (reason,) = found.data["readiness"]["reasons"]
    assert found.code == 12 and "not judged: no resistance was measured" in reason["reason"]


def test_a_test_passed_by_a_voltage_that_was_wrong_is_judged_anew(ready: BatteryRoom) -> None:
    room = ready
    measured(room, "B1", "2.5 kohm")
    assert against(room, "B1", "T1") == []
    amend = ("amend", "B1", "--set", "voltage=80 V", "--reason", "stamp read again", "--by", "SW",
             "--second", "JT")  # fmt: skip
    assert room.run(*amend).code == 0
    reasons = room.run("fit", "B1", "T80", "--json").data["readiness"]["reasons"]
    assert "case leakage" in [one["code"] for one in reasons]


@pytest.mark.parametrize(
    "entered",
    [("test", "leakage", "B1", "--ohm", "900"),
     ("clean", "B1", "--with", "soda, rinsed", "--ohm", "900")],
)  # fmt: skip
def test_what_stands_against_it_is_cancelled_by_a_supervisor_alone(
    ready: BatteryRoom, entered: tuple[str, ...]
) -> None:
    room = ready
    event = room.run(*entered, "--by", "JT", "--json").data["event"]
    void = ("void", event, "--reason", "keyed in wrongly")
    refused = room.run(*void, "--by", "JT")
    assert refused.code == 2 and "supervisor" in refused.err
    assert against(room, "B1", "T1") == ["case leakage"]
    assert room.run(*void, "--by", "SW").code == 0
    assert against(room, "B1", "T1") == []


def test_one_that_stands_against_nothing_is_cancelled_like_any_other(ready: BatteryRoom) -> None:
    room = ready
    found = room.run("test", "leakage", "B1", "--ohm", "900", "--by", "JT", "--json")
    measured(room, "B1", "50 kohm")
    void = ("void", found.data["event"], "--reason", "keyed in wrongly", "--by", "JT")
    assert room.run(*void).code == 0
