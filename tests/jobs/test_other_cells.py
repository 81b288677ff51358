"""Cells that are another battery's: whose, and until when it is told."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

from battery_room import BatteryRoom, ago
from tagkit.jobs.other_cells import odd_round
from tagkit.jobs.rounds import CellWords, last_round, record_round
from tagkit.rules.trend import RoundPoint

START = datetime(2026, 1, 5, tzinfo=UTC)
CODE = "cells of another battery"


def points(seed: int, first: int, count: int) -> list[RoundPoint]:
    rng = random.Random(seed)
    offsets = [rng.gauss(0, 0.004) for _ in range(18)]
    noise = random.Random(seed + first)
    return [
        RoundPoint(
            START + timedelta(days=28 * (first + place)),
            {cell: value + noise.gauss(0, 0.0012) for cell, value in enumerate(offsets, start=1)},
        )
        for place in range(count)
    ]


def test_it_stays_told_until_the_cells_are_back() -> None:
    swapped = [*points(1, 0, 5), *points(2, 5, 4)]
    odd = odd_round(swapped)
    assert odd is not None and odd.clear and odd.now.at == swapped[5].at
    assert odd_round([*swapped, *points(1, 9, 1)]) is None
    assert odd_round(points(1, 0, 9)) is None


def test_a_compared_serial_settles_it() -> None:
    swapped = [*points(1, 0, 5), *points(2, 5, 4)]
    assert odd_round(swapped, swapped[6].at) is None


def take(room: BatteryRoom, name: str, cells: int, at: datetime) -> None:
    """A round of the cells ``cells``, under the number of ``name``."""
    rng, noise = random.Random(cells), random.Random(at.toordinal() + cells)
    words = [
        CellWords(cell, f"{1.280 + rng.gauss(0, 0.005) + noise.gauss(0, 0.001):.4f}", "25")
        for cell in range(1, 25)
    ]
    with room.open() as site:
        record_round(site, room[name], words, at=at, after_charge=True, hours_rested=9.0,
                     by="PV", station="desk")  # fmt: skip


def told(room: BatteryRoom) -> dict[str, str]:
    found = room.run("today", "--json").data["flags"]
    return {one["asset"]: one["sentence"] for one in found if one["code"] == CODE}


def test_both_batteries_name_each_other_whichever_was_read_first(room: BatteryRoom) -> None:
    for place in range(5):
        for number, name in enumerate(("B1", "B2", "B3"), start=1):
            take(room, name, number, ago(days=200 - 28 * place))
    assert told(room) == {}
    take(room, "B1", 2, ago(days=40))
    assert "do not go with the rounds before" in told(room)[room["B1"]]
    take(room, "B2", 1, ago(days=38))
    take(room, "B3", 3, ago(days=37))
    found = told(room)
    assert set(found) == {room["B1"], room["B2"]}
    assert room["B2"] in found[room["B1"]] and room["B1"] in found[room["B2"]]
    with room.open() as site:
        flags = last_round(site, room["B1"]).flags
    assert [room["B2"] in flag.sentence for flag in flags if flag.code == CODE] == [True]
    assert room.run("inspect", "B1", "--sort", "serial", "--by", "PV").code == 0
    assert room["B1"] not in told(room)
    assert room.state("B1").inspection is None  # nothing else was looked at
