"""What late events do is folded before the lock is taken, and is what folding anew gives."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from tagkit.record.fold import fold
from tagkit.record.folder import Folder, events_of
from tagkit.record.light import LightEvent
from tagkit.record.record import Record
from tagkit.record.verify import verify

Parcels = list[tuple[bytes, bytes]]


@pytest.fixture
def under_the_lock(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """The assets that were folded anew with the lock held."""
    folded: list[str] = []
    again = Folder._again

    def noted(folder: Folder, tag: str, effective: int) -> Any:
        folded.append(tag)
        return again(folder, tag, effective)

    monkeypatch.setattr(Folder, "_again", noted)
    return folded


@pytest.fixture
def late(depot: Any) -> Parcels:
    """Of another site, two hours ago: begun, hold, charge, watering, hold cancelled."""
    battery, now = str(depot.batteries[0]), depot.clock.now
    depot.clock.move(hours=-2)
    with Record.create(depot.folder.parent / "elsewhere", "QB", clock=depot.clock) as record:
        with record.writing("KM", "desk") as writing:
            hold = writing.append("held", [], {"asset": battery, "reason": "leak"})
            body = {"battery": battery, "charge_kind": "conventional"}
            writing.append("charge_started", [], body)
            writing.append("watered", [battery], {})
            writing.append("voided", [battery], {"event": hold.id, "reason": "other one"})
        parcels = list(record.export())
    depot.clock.now = now
    depot.change(depot.trucks[0], depot.batteries[0])
    return parcels


def nothing(other: Record, battery: str) -> None:
    pass


def one_more(other: Record, battery: str) -> None:
    with other.writing("LP", "bay 2") as writing:
        writing.append("watered", [battery], {})


def cancelled_here(other: Record, battery: str) -> None:
    with other.writing("LP", "bay 2") as writing:
        last = other.state(battery).last_event  # type: ignore[union-attr]
        writing.append("voided", [battery], {"event": last, "reason": "not so"})


def meanwhile(record: Record, other: Record, does: Callable[..., None], battery: str) -> None:
    """Lets another program write once, between foreseeing and the lock."""
    transaction, done = record._transaction, []

    @contextlib.contextmanager
    def late() -> Iterator[None]:
        if not done:
            done.append(does(other, battery))
        with transaction():
            yield

    record._transaction = late  # type: ignore[method-assign]


@pytest.mark.parametrize("here", [0, 1, 4])
@pytest.mark.parametrize(
    ("does", "as_foreseen"), [(nothing, True), (one_more, True), (cancelled_here, False)]
)
def test_a_late_cancellation_is_folded_ahead(
    depot: Any,
    late: Parcels,
    under_the_lock: list[str],
    does: Callable[..., None],
    as_foreseen: bool,
    here: int,
) -> None:
    battery = str(depot.batteries[0])
    depot.record.receive(late[:here])
    del under_the_lock[:]
    with Record.open(depot.folder, clock=depot.clock) as other:
        meanwhile(depot.record, other, does, battery)
        assert depot.record.receive(late[here:]).taken == 5 - here
    # What the other program cancels it folds itself.
    assert under_the_lock.count(battery) == (0 if as_foreseen else 2)
    state = depot.record.state(battery)
    assert not state.held
    assert state.done["water"]
    assert verify(depot.folder) == []


def test_a_newly_followed_asset_is_folded_ahead(
    depot: Any, late: Parcels, under_the_lock: list[str]
) -> None:
    battery = str(depot.batteries[0])
    assert depot.record.receive(late, parted=True).taken == 5
    assert "water" not in depot.record.state(battery).done
    del under_the_lock[:]
    with Record.open(depot.folder, clock=depot.clock) as other:
        meanwhile(depot.record, other, one_more, battery)
        assert depot.record.follow([battery, ">QM", battery]) == [battery, ">QM"]
    assert under_the_lock == []
    assert depot.record.follow([battery]) == []
    state = depot.record.state(battery)
    assert state.done["water"]
    assert not state.held
    assert state.last_charge_started_at
    assert verify(depot.folder) == []


def test_events_kept_without_their_bytes_fold_to_the_same_states(depot: Any) -> None:
    truck, one, other = str(depot.trucks[0]), *map(str, depot.batteries[:2])
    depot.change(truck, one)
    depot.log("changed", {"truck": truck, "battery_in": other, "battery_out": one})
    depot.log("charge_started", {"battery": one, "charge_kind": "equalize", "temperature": 31})
    depot.log("charge_ended", {"battery": one, "ah": 612.5})
    held = depot.log("held", {"asset": one, "reason": "a leak, to be looked at " * 3})
    depot.log("voided", {"event": held.id, "reason": "another one"}, tags=[one])
    depot.log("cells_read", {"cells": [{"cell": 1, "sg": "1.280"}]}, tags=[one])
    for kind in ("watered", "capacity_tested", "repaired", "inspected", "cleaned", "cleaned"):
        depot.log(kind, {}, tags=[one])
    for tag in (truck, one, other):
        events = list(events_of(depot.record._connection, tag))
        light = [LightEvent(event) for event in events]
        state = depot.record.state(tag)
        assert fold(tag, light).to_json() == state.to_json() == fold(tag, events).to_json()
        for each, event in zip(light, events, strict=True):
            for name in ("id", "moment", "by", "kind", "version", "tags", "body", "known"):
                assert getattr(each, name) == getattr(event, name)
            assert each.cancelled().voided and each.voided == event.voided
    assert [event.voided for event in events_of(depot.record._connection, one)].count(True) == 1
