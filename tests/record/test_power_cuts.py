"""The power goes at every step of writing: each action is there whole, or not at all."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from tagkit.assets.tag import Kind
from tagkit.record.record import Record
from tagkit.record.verify import verify

LEFT = ("nothing", "some")


def delivery(record: Record, depot: Any) -> list[str]:
    with record.writing("TS", "desk") as writing:
        events = []
        for row in range(5):
            tag = writing.issue(Kind.BATTERY)
            body = {"nameplate": {}, "delivery": "D-1", "unloading": row + 1}
            events.append(writing.append("registered", [tag], body))
        return [event.id for event in events]


def change(record: Record, depot: Any) -> list[str]:
    truck, into, out = str(depot.trucks[0]), str(depot.batteries[1]), str(depot.batteries[0])
    body = {
        "truck": truck,
        "battery_in": into,
        "battery_out": out,
        "out_to": {"kind": "charger", "name": str(depot.chargers[0])},
    }
    seen = {into: record.state(into).last_event}
    with record.writing("TS", "bay 1") as writing:
        return [writing.append("changed", [], body, seen).id]


def charge(record: Record, depot: Any) -> list[str]:
    body = {
        "battery": str(depot.batteries[2]),
        "charger": str(depot.chargers[1]),
        "charge_kind": "conventional",
        "temperature": {"value": "30", "unit": "°C"},
    }
    with record.writing("TS", "desk") as writing:
        return [writing.append("charge_started", [], body).id]


@pytest.mark.parametrize("left", LEFT)
@pytest.mark.parametrize("action", [delivery, change, charge])
def test_an_action_is_there_whole_or_not_at_all(
    depot: Any, forgetful_vfs: ModuleType, action: Callable[..., list[str]], left: str
) -> None:
    depot.change(depot.trucks[0], depot.batteries[0], station="bay 1")
    depot.record.close()
    path, chance = depot.record.path, random.Random(f"{action.__name__} {left}")
    start = path.read_bytes()
    with Record.open(depot.folder) as record:
        before = sum(state.events for state in record.states())
    whole: dict[bool, int] = {True: 0, False: 0}
    cut_at, came = 0, True
    while came:
        cut_at += 1
        acknowledged = None
        with forgetful_vfs.power_cut(cut_at, left, chance) as disk:
            record = Record.open(depot.folder, clock=depot.clock, connect=disk.connect)
            # What the first action acknowledged must outlive whatever befalls the second.
            acknowledged = charge(record, depot)
            acknowledged = acknowledged + action(record, depot)
            record.close()
        came = cut_at <= disk.steps
        assert [finding for finding in verify(depot.folder) if finding.grave] == []
        with Record.open(depot.folder) as record:
            assert all(record.event(identity) for identity in acknowledged or [])
            events = sum(state.events for state in record.states()) - before
            sizes = {delivery: 5, change: 4, charge: 2}
            assert events in (0, 2, 2 + sizes[action])
            whole[events == 2 + sizes[action]] += 1
        _put_back(path, start)
    assert cut_at > 8
    assert whole[True] and whole[False]


def _put_back(path: Path, content: bytes) -> None:
    """The same file with its former content, so that it does not count as a copy."""
    for beside in (Path(f"{path}-wal"), Path(f"{path}-shm")):
        beside.unlink(missing_ok=True)
    with path.open("r+b") as file:
        file.truncate(0)
        file.write(content)


def test_the_forgetful_disk_forgets_what_was_not_synced(
    depot: Any, forgetful_vfs: ModuleType
) -> None:
    """Without waiting for the disk, a confirmed change is lost: the test above can fail."""
    depot.record.close()
    with forgetful_vfs.power_cut(None, "nothing", random.Random(1)) as disk:

        def careless(path: Path) -> Any:
            return _Careless(disk.connect(path))

        record = Record.open(depot.folder, clock=depot.clock, connect=careless)
        record._connection.execute("PRAGMA synchronous = OFF", ())
        (identity,) = charge(record, depot)
        disk.dead = True
    with Record.open(depot.folder) as record:
        assert record.event(identity) is None


class _Careless:
    def __init__(self, connection: Any) -> None:
        self._connection = connection

    def execute(self, sql: str, parameters: Any = ()) -> Any:
        return self._connection.execute(sql, parameters)

    def close(self) -> None:
        self._connection.close()
