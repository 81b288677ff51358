"""Batteries that looked ready and are not: what happened since the charge was entered late, or
is known elsewhere only."""

from __future__ import annotations

import pytest
from battery_room import BatteryRoom, ago


@pytest.fixture
def charged(room: BatteryRoom) -> BatteryRoom:
    """B1 was charged until twelve hours ago, and rested since."""
    room.staff()
    room.charge("B1", began=20, ended=12)
    assert room.run("fit", "B1", "T1").code == 0
    return room


def codes(room: BatteryRoom, battery: str = "B1") -> list[str]:
    found = room.run("fit", battery, "T1", "--json")
    return [one["code"] for one in found.data["readiness"]["reasons"]]


def seen(room: BatteryRoom, place: str, hours: float) -> None:
    when = ("--at", ago(hours=hours).isoformat())
    assert room.run("seen", "B1", place, "--by", "KM", *when).code == 0


def test_a_truck_it_was_seen_in_counts_as_a_use_also_where_it_has_been_moved_since(
    charged: BatteryRoom,
) -> None:
    """The note of a tablet that was cut off comes after others have recorded where it is now."""
    seen(charged, "stand 1", hours=2)
    seen(charged, "T2", hours=5)
    assert charged.place("B1") == "stand 1"
    assert codes(charged) == ["not charged"]


def test_a_truck_it_was_seen_in_before_its_charge_is_no_use_after_it(charged: BatteryRoom) -> None:
    seen(charged, "T2", hours=30)
    assert codes(charged) == []


def test_what_worked_in_a_truck_after_a_charge_there_is_not_charged_when_it_is_found_outside(
    room: BatteryRoom,
) -> None:
    room.staff()
    seen(room, "T2", hours=30)
    with room.open() as site, site.record.writing(by="KM", station="desk") as writing:
        in_truck = {"battery": room["B1"], "charge_kind": "conventional"}
        writing.append("charge_started", [room["B1"]], in_truck, at=ago(hours=28))
        writing.append("charge_ended", [room["B1"]], {"battery": room["B1"]}, at=ago(hours=20))
    seen(room, "stand 1", hours=1)
    assert codes(room) == ["not charged"]


def test_an_opportunity_charge_that_goes_on_with_another_spares_no_rest(room: BatteryRoom) -> None:
    """Shown at the truck with its charger switched off: it has rested no more than any other."""
    room.staff()
    room.charge("B1", began=9, ended=1)
    at = ("--at", ago(minutes=50).isoformat(), "--by", "KM")
    assert room.run("charge", "start", "B1", "C1", "--kind", "opportunity", *at).code == 0
    swap = room.run("swap", "T1", "B1", "--answer", "as-shown", "--by", "KM")
    assert swap.code == 12 and "resting" in swap.out
    assert room.run("charge", "end", "B1", "--by", "KM", "--answer", "as-shown").code == 0
    assert codes(room) == ["resting"]


def test_nor_does_one_that_goes_on_with_a_charge_nobody_ended(room: BatteryRoom) -> None:
    room.staff()
    with room.open() as site, site.record.writing(by="KM", station="desk") as writing:
        for kind, began in (("conventional", 9.0), ("opportunity", 0.8)):
            body = {"battery": room["B1"], "charger": room["C1"], "charge_kind": kind}
            writing.append("charge_started", [room["B1"], room["C1"]], body, at=ago(hours=began))
        writing.append("charge_ended", [room["B1"]], {"battery": room["B1"]})
    assert codes(room) == ["resting"]


def test_opportunity_charges_alone_ask_for_no_rest(room: BatteryRoom) -> None:
    room.staff()
    for began, ended in ((3.0, 2.5), (1.0, 0.2)):
        at = ("--at", ago(hours=began).isoformat(), "--by", "KM")
        assert room.run("charge", "start", "B1", "C1", "--kind", "opportunity", *at).code == 0
        at = ("--at", ago(hours=ended).isoformat(), "--by", "KM")
        assert room.run("charge", "end", "B1", *at).code == 0
    assert codes(room) == []


def test_one_that_was_sent_to_another_site_is_not_taken_by_what_was_known_here(
    charged: BatteryRoom,
) -> None:
    room = charged
    assert room.run("send", "B1", "--to", "QB", "--by", "SW").code == 0
    assert codes(room) == ["at another site"]
    assert room.run("next", "T1", "--json").data["next"] is None
    swap = room.run("swap", "T1", "B1", "--by", "KM")
    assert swap.code == 12 and "at site QB" in swap.out
    assert room.run("seen", "B1", "stand 1", "--by", "KM").code == 0
    assert codes(room) == []


def test_what_is_on_its_way_here_is_here(charged: BatteryRoom) -> None:
    with charged.open() as site, site.record.writing(by="KM", station="desk") as writing:
        place = {"kind": "elsewhere", "name": "site QM"}
        writing.append("moved", [charged["B1"]], {"battery": charged["B1"], "place": place})
    assert codes(charged) == []


def test_a_stamp_that_differs_and_that_nobody_has_settled_is_not_confirmed(
    charged: BatteryRoom,
) -> None:
    with charged.open() as site, site.record.writing(by="KM", station="desk") as writing:
        body = {"facts": {}, "differences": ["voltage: the record has 48 V, stamped is 80 V"]}
        writing.append("married", [charged["B1"]], body)
    assert charged.run("fit", "B1", "T1").code == 11


def broken_off(room: BatteryRoom, *words: str, begun: float) -> None:
    """A charge begun so many hours ago; an hour ago the battery stood elsewhere."""
    at = ("--at", ago(hours=begun).isoformat(), "--by", "KM")
    assert room.run("charge", "start", "B1", "C2", *words, *at).code == 0
    seen(room, "stand 1", hours=1)


def test_one_that_was_taken_off_its_charger_without_an_end_rests_as_after_a_charge(
    charged: BatteryRoom,
) -> None:
    """It was full before, and was charged for ten hours more until an hour ago."""
    room = charged
    broken_off(room, begun=11)
    assert room.state("B1").charging is None
    assert codes(room) == ["resting"]


def test_but_for_an_opportunity_charge_that_was_broken_off(charged: BatteryRoom) -> None:
    room = charged
    broken_off(room, "--kind", "opportunity", begun=2.5)
    assert codes(room) == []


def test_nor_is_what_was_broken_off_forgotten_by_an_opportunity_charge_after_it(
    charged: BatteryRoom,
) -> None:
    room = charged
    broken_off(room, begun=11)
    at = ("--at", ago(minutes=40).isoformat(), "--by", "KM")
    assert room.run("charge", "start", "B1", "C2", "--kind", "opportunity", *at).code == 0
    assert room.run("charge", "end", "B1", "--by", "KM").code == 0
    assert codes(room) == ["resting"]
