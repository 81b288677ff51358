"""Which labels people want to print together."""

from __future__ import annotations

from pathlib import Path

from battery_room import BATTERIES, TRUCKS, BatteryRoom
from tagkit.jobs.label_sets import never_printed, to_reprint


def test_labels_never_printed_come_in_the_order_of_unloading_delivery_after_delivery(
    tmp_path: Path,
) -> None:
    room = BatteryRoom(tmp_path / "site")
    room.take_in(BATTERIES)
    room.take_in(TRUCKS)
    room.run("retire", "B2", "--reason", "dropped", "--by", "TS")
    with room.open() as site:
        everything, first = never_printed(site, 50), never_printed(site, 3)
        wanted = [one for one in site.record.states() if not one.retired_at]
    wanted.sort(key=lambda one: (one.registered_at, one.unloading or 0, one.tag))
    assert list(everything.states) == wanted and everything.total == len(wanted) == 6
    assert (first.total, list(first.states)) == (6, wanted[:3])
    assert [one.unloading for one in wanted] == [1, 3, 4, 5, 1, 2]


def test_what_a_stuck_label_still_says_is_told_until_it_is_printed_anew(tmp_path: Path) -> None:
    room = BatteryRoom(tmp_path / "site")
    room.take_in(BATTERIES, as_stamped=False)
    room.staff()
    by = ("--by", "SW", "--json")

    def printed(*names: str) -> None:
        out = tmp_path / f"{len(names)}-{len(list(tmp_path.iterdir()))}.pdf"
        assert room.run("labels", *names, "--out", out, *by).code == 0

    def again() -> list[str]:
        with room.open() as site:
            hits = to_reprint(site, 50)
        assert hits.total == len(hits.states)
        return [str(one.maker_serial).upper() for one in hits.states]

    stamp = ("--voltage", "48 V", "--weight")
    unprinted = room.run("marry", "B3", "--serial", "b3", *stamp, "1130.0 kg", *by)
    assert unprinted.data["label_says"] == []
    printed("B1", "B2")
    same = room.run("marry", "B1", "--serial", "b1", *stamp, "1100 kg", "--by", "SW")
    assert "label that sticks on it still says: “to be confirmed” beside voltage, " in same.out
    assert f"Print it anew: tagkit labels {room['B1']} --out label.pdf" in same.out
    differs = ("marry", "B2", "--serial", "b2", *stamp, "1160 kg", "--answer", "as-shown", *by)
    assert room.run(*differs).data["label_says"] == [
        "service weight: 1120 kg (1160 kg on record)",
        "“to be confirmed” beside voltage",
    ]
    assert again() == ["B2", "B1"]  # a wrong figure first
    printed("B1")
    assert again() == ["B2"]
    why = ("--reason", "stamp misread", "--second", "JT", *by)
    amended = room.run("amend", "B2", "--set", "weight=1120 kg", *why)
    assert amended.data["label_says"] == ["“to be confirmed” beside voltage, service weight"]
    assert room.run("void", room.events("amended")[0].id, *why).code == 0
    assert room.state("B2").label_behind["weight"]["value"] == "1120"
    printed("B2")
    assert again() == []
    amended = room.run("amend", "B1", "--set", "cells=24", "--unset", "capacity", *why)
    assert amended.data["label_says"] == ["capacity: 775 Ah (unknown on record)"]
    assert room.run("retire", "B1", "--reason", "old", *by).code == 0
    assert again() == []
