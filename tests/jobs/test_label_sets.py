"""Which labels people want to print together."""

from __future__ import annotations

from pathlib import Path

from battery_room import BATTERIES, TRUCKS, BatteryRoom
from tagkit.jobs.label_sets import never_printed


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
