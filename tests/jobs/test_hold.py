"""Holding assets out of use, and who may release them."""

from __future__ import annotations

import pytest
from battery_room import BatteryRoom, ago

SW = ("--by", "SW")


@pytest.fixture
def staffed(room: BatteryRoom) -> BatteryRoom:
    """B1 and B2 are charged and rested; a supervisor, a technician and an attendant are known."""
    room.staff()
    room.charge("B1", "B2")
    return room


def codes(room: BatteryRoom, name: str) -> list[str]:
    found = room.run("fit", name, "T1", "--json").data
    return [one["code"] for one in found["readiness"]["reasons"]]


def test_a_held_battery_is_not_ready_until_it_is_released(staffed: BatteryRoom) -> None:
    held = staffed.run("hold", "B1", "--reason", "smells odd", "--json")
    assert (held.code, held.data["asset"], held.data["safety"]) == (0, staffed["B1"], False)
    assert staffed.run("fit", "B1", "T1").code == 12
    assert staffed.run("swap", "T1", "B1", "--by", "KM").code == 12
    assert staffed.run("where", "B1", "--json").data["state"] == "held"
    freed = staffed.run("release", "B1", "--reason", "nothing found", *SW, "--json")
    assert (freed.code, freed.data["asset"]) == (0, staffed["B1"])
    assert staffed.run("fit", "B1", "T1").code == 0


@pytest.mark.parametrize("by", ["KM", "JT", "XX"])
def test_only_a_supervisor_releases(staffed: BatteryRoom, by: str) -> None:
    assert staffed.run("hold", "B1", "--reason", "smells odd").code == 0
    found = staffed.run("release", "B1", "--reason", "nothing found", "--by", by)
    assert found.code == 2
    assert by in found.err
    assert staffed.state("B1").held


def test_a_supervisor_whose_authorisation_ran_out_releases_nothing(staffed: BatteryRoom) -> None:
    ran_out = ("authorise", "OLD", "--role", "supervisor", "--until", "2020-01-31", *SW)
    assert staffed.run(*ran_out).code == 0
    assert staffed.run("hold", "B1", "--reason", "smells odd").code == 0
    assert staffed.run("release", "B1", "--reason", "fine", "--by", "OLD").code == 2


def test_a_safety_hold_is_lifted_by_an_inspection_only(staffed: BatteryRoom) -> None:
    assert staffed.run("hold", "B1", "--reason", "cracked case", "--safety").code == 0
    found = staffed.run("release", "B1", "--reason", "truck is waiting", *SW)
    assert found.code == 2
    assert "inspection" in found.err
    assert staffed.state("B1").safety_held
    inspected = ("release", "B1", "--reason", "case welded and tested", "--inspected", *SW)
    assert staffed.run(*inspected).code == 0
    assert not staffed.state("B1").held
    assert staffed.events("released")[-1].body["inspected"] is True


def test_a_release_for_use_lets_an_unready_battery_be_used_once(staffed: BatteryRoom) -> None:
    assert staffed.run("swap", "T1", "B1", "--by", "KM", "--at", ago(hours=3).isoformat()).code == 0
    out = ("swap", "T1", "B2", "--by", "KM", "--at", ago(hours=2).isoformat())
    assert staffed.run(*out).code == 0
    assert codes(staffed, "B1") == ["not charged"]
    released = ("release", "B1", "--once", "--reason", "half full by the gauge", *SW)
    assert staffed.run(*released).code == 0
    found = staffed.run("fit", "B1", "T2", "--json")
    assert found.code == 0
    assert [one["code"] for one in found.data["readiness"]["released_from"]] == ["not charged"]
    assert staffed.run("swap", "T2", "B1", "--by", "KM").code == 0
    assert "not charged" in staffed.events("changed")[-1].body["release"]["reason"]
    # The change used it up: taken out again, the battery is as unready as before.
    assert staffed.state("B1").release is None
    staffed.charge("B3", began=1.5, ended=1.4)
    assert staffed.run("seen", "B1", "stand 1", "--by", "KM").code == 0
    assert staffed.run("swap", "T1", "B1", "--by", "KM").code == 12


def test_a_charge_uses_a_release_up(staffed: BatteryRoom) -> None:
    assert (
        staffed.run("release", "B3", "--once", "--reason", "charged before it came", *SW).code == 0
    )
    assert staffed.run("fit", "B3", "T1").code == 0
    assert staffed.run("charge", "start", "B3", "C2", "--by", "KM").code == 0
    assert staffed.state("B3").release is None
    assert staffed.run("fit", "B3", "T1").code == 12


def test_a_release_lifts_no_hold_that_is_put_on_later(staffed: BatteryRoom) -> None:
    assert (
        staffed.run("release", "B3", "--once", "--reason", "charged before it came", *SW).code == 0
    )
    assert staffed.run("fit", "B3", "T1").code == 0
    assert staffed.run("hold", "B3", "--reason", "terminal is loose").code == 0
    assert staffed.run("fit", "B3", "T1").code == 12
    assert "held" in codes(staffed, "B3")
    assert staffed.run("swap", "T1", "B3", "--by", "KM").code == 12


def test_a_release_lifts_no_safety_hold(staffed: BatteryRoom) -> None:
    assert (
        staffed.run("release", "B3", "--once", "--reason", "charged before it came", *SW).code == 0
    )
    assert staffed.run("hold", "B3", "--reason", "acid leak", "--safety").code == 0
    assert staffed.run("swap", "T1", "B3", "--by", "KM").code == 12


def test_a_release_ends_with_the_next_use(staffed: BatteryRoom) -> None:
    assert (
        staffed.run("release", "B3", "--once", "--reason", "charged before it came", *SW).code == 0
    )
    assert staffed.run("seen", "B3", "T1", "--by", "KM").code == 0
    assert staffed.run("seen", "B3", "stand 1", "--by", "KM").code == 0
    assert codes(staffed, "B3") == ["not charged"]


def test_there_is_nothing_to_release_of_a_ready_battery_or_a_free_truck(
    staffed: BatteryRoom,
) -> None:
    for name in ("B1", "T1", "C1"):
        found = staffed.run("release", name, "--reason", "just so", *SW)
        assert found.code == 2
        assert "nothing to release" in found.err
    assert staffed.events("released") == []


def test_the_same_release_again_is_no_pass_for_an_uncharged_battery(staffed: BatteryRoom) -> None:
    again = ("release", "B3", "--reason", "pin renewed", *SW)
    assert staffed.run("hold", "B3", "--reason", "connector pin burnt").code == 0
    refused = staffed.run(*again, "--once")
    assert (refused.code, "lifts no hold" in refused.err) == (2, True)
    assert staffed.run(*again).code == 0
    found = staffed.run(*again)
    assert (found.code, "is not held" in found.err) == (2, True)
    assert "nothing to release" in found.err
    assert staffed.state("B3").release is None
    assert staffed.run("fit", "B3", "T1").code == 12


def test_a_release_is_not_dated_before_what_it_is_for(staffed: BatteryRoom) -> None:
    old = ("--reason", "charged before it came", *SW, "--at", ago(hours=3).isoformat())
    found = staffed.run("release", "B3", "--once", *old)
    assert (found.code, "is for now" in found.err) == (2, True)
    held = ("hold", "B3", "--reason", "loose pin", "--at", ago(hours=2).isoformat())
    assert staffed.run(*held).code == 0
    found = staffed.run("release", "B3", *old)
    assert (found.code, "not held yet" in found.err) == (2, True)
    late = ("--reason", "pin renewed", *SW, "--at", ago(hours=1).isoformat())
    assert staffed.run("release", "B3", *late).code == 0


def test_a_release_can_not_bring_back_what_has_left(staffed: BatteryRoom) -> None:
    assert staffed.run("retire", "B3", "--reason", "worn out", "--by", "SW").code == 0
    found = staffed.run("release", "B3", "--once", "--reason", "one more shift", *SW)
    assert found.code == 2
    assert "left the fleet" in found.err


@pytest.mark.parametrize("command", ["hold", "release", "retire"])
@pytest.mark.parametrize("reason", ["", "  ", "x", "x" * 301])
def test_a_reason_says_something(staffed: BatteryRoom, command: str, reason: str) -> None:
    found = staffed.run(command, "B1", "--reason", reason, *SW)
    assert found.code == 2
    assert "--reason" in found.err


def test_a_truck_and_a_charger_can_be_held_and_released(staffed: BatteryRoom) -> None:
    for name in ("T1", "C1"):
        assert staffed.run("hold", name, "--reason", "frayed cable").code == 0
        assert staffed.run("where", name, "--json").data["state"] == "held"
        assert staffed.run("fit", "B1", name).code == 12
        assert staffed.run("release", name, "--reason", "cable replaced", *SW).code == 0
        assert staffed.run("fit", "B1", name).code == 0


def test_a_safety_hold_stays_while_a_battery_that_does_not_fit_is_still_inside(
    staffed: BatteryRoom,
) -> None:
    assert staffed.run("seen", "LIGHT", "T1", "--by", "KM").code == 10
    released = ("release", "T1", "--reason", "battery taken out", "--inspected", *SW)
    lifted = ("inspect", "T1", "--sort", "hold", "--lift", *SW)
    for ask in (released, lifted):
        found = staffed.run(*ask)
        assert found.code == 13, found.err
        assert f"by the record {staffed['LIGHT']} is still in {staffed['T1']}" in found.err
    assert staffed.state("T1").safety_held
    assert staffed.run("seen", "LIGHT", "stand 1", "--by", "KM").code == 0
    assert staffed.run(*released).code == 0
    assert not staffed.state("T1").held


def test_a_hold_for_the_same_reason_is_told_once(staffed: BatteryRoom) -> None:
    again = ("hold", "B1", "--reason", "pin burnt")
    assert staffed.run(*again).code == 0
    found = staffed.run(*again)
    assert (found.code, "is held already for that: pin burnt" in found.err) == (2, True)
    assert staffed.run(*again, "--safety").code == 0
    assert staffed.run(*again, "--safety").code == 2
    assert len(staffed.state("B1").holds) == 2


def test_a_leak_measured_twice_is_told_once(room: BatteryRoom) -> None:
    room.take_in("""Maker's serial,Voltage (V),Service weight,Chemistry,Capacity C5 (Ah)
HIGH,80,1500 kg,vented lead-acid,620
""")
    for _ in range(2):
        assert room.run("test", "leakage", "HIGH", "--ohm", "900").code == 0
    assert len(room.state("HIGH").holds) == 2
    assert len(room.run("where", "HIGH", "--json").data["reasons"]) == 1
    flags = room.run("today", "--json").data["flags"]
    (told,) = [one for one in flags if one["code"] == "held for safety"]
    assert told["sentence"].count("900 ohm") == 1


def test_a_held_battery_is_not_sent_to_be_charged(staffed: BatteryRoom) -> None:
    assert staffed.run("hold", "B1", "--reason", "pin burnt").code == 0
    found = staffed.run("charge", "start", "B1", "C1", "--by", "KM")
    assert found.code == 12
    assert "is held: leave it" in " ".join(found.out.split())
    assert "charge this one" not in found.out
