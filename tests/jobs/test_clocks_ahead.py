"""What another site recorded with a clock that is ahead does not count yet, and is not passed over."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from battery_room import BatteryRoom
from tagkit.record.record import Record


@pytest.fixture
def charged(room: BatteryRoom) -> BatteryRoom:
    room.staff()
    room.charge("B1", began=20, ended=12)
    assert room.run("fit", "B1", "T1").code == 0
    return room


def from_ahead(
    room: BatteryRoom, folder: Path, kind: str, number: str, body: dict[str, Any], hours: float = 3
) -> None:
    """An event about ``number`` by a site whose clock is so many hours ahead."""

    def clock() -> datetime:
        return datetime.now(UTC) + timedelta(hours=hours)

    with room.open() as site, Record.create(folder, "QZ", clock=clock) as peer:
        assert peer.receive(site.record.export()).refused == []
        with peer.writing("ZZ", "bay 9") as writing:
            writing.append(kind, [room[number]], body)
        assert site.record.receive(peer.export()).refused == []


def reasons(room: BatteryRoom, battery: str = "B1", truck: str = "T1") -> list[tuple[str, str]]:
    found = room.run("fit", battery, truck, "--json")
    assert found.code == 12
    return [(one["code"], one["reason"]) for one in found.data["readiness"]["reasons"]]


@pytest.mark.parametrize("safety", [True, False])
@pytest.mark.parametrize("held", ["B1", "T1"])
def test_a_hold_from_there_stops_the_battery_and_the_truck_at_once(
    charged: BatteryRoom, tmp_path: Path, held: str, safety: bool
) -> None:
    room = charged
    body = {"asset": room[held], "reason": "case cracked", "safety": safety}
    from_ahead(room, tmp_path / "peer", "held", held, body)
    assert room.state(held).holds == []
    ((code, sentence),) = reasons(room)
    assert code == "set apart"
    assert "clock of station “bay 9” of QZ is ahead" in sentence and "case cracked" in sentence
    assert room.run("swap", "T1", "B1", "--by", "KM").code == 12
    if held == "B1":
        once = ("release", "B1", "--once", "--reason", "looked at", "--by", "SW")
        assert room.run(*once).code == (2 if safety else 0)


def test_others_are_not_stopped(charged: BatteryRoom, tmp_path: Path) -> None:
    room = charged
    body = {"asset": room["B2"], "reason": "case cracked", "safety": True}
    from_ahead(room, tmp_path / "peer", "held", "B2", body)
    assert room.run("fit", "B1", "T1").code == 0


def test_once_their_time_has_come_they_count_by_themselves(
    charged: BatteryRoom, tmp_path: Path
) -> None:
    room = charged
    body = {"battery": room["B1"], "place": {"kind": "stand", "name": "row 1"}}
    from_ahead(room, tmp_path / "peer", "moved", "B1", body, hours=0.05)  # within the tolerance
    assert room.run("fit", "B1", "T1").code == 0
    assert room.place("B1") == "row 1"
