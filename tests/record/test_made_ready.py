"""Events made ready before the lock is taken are put in place only if all they rest on still holds."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import pytest
from tagkit.record.draft import Draft
from tagkit.record.record import Overtaken, Record
from tagkit.record.verify import verify


@pytest.fixture
def other(depot: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[Record]:
    """The same record opened by another program, which does not wait long for its turn."""
    monkeypatch.setattr("tagkit.record.queue.LONGEST_WAIT", 0.02)
    with Record.open(depot.folder, clock=depot.clock) as record:
        yield record


@pytest.fixture
def right(monkeypatch: pytest.MonkeyPatch) -> list[bool]:
    """Whether what was made ready could be put in place, each time."""
    answers: list[bool] = []
    still_right = Draft.still_right

    def noted(draft: Draft, here: Any) -> bool:
        answers.append(still_right(draft, here))
        return answers[-1]

    monkeypatch.setattr(Draft, "still_right", noted)
    return answers


def changed(depot: Any, truck: int, into: int) -> dict[str, Any]:
    return {"truck": str(depot.trucks[truck]), "battery_in": str(depot.batteries[into])}


def nothing(depot: Any, other: Record) -> None:
    pass


def unrelated(depot: Any, other: Record) -> None:
    with other.writing("KM", "bay 2") as writing:
        writing.append("changed", [], changed(depot, 1, 3))


def same_battery(depot: Any, other: Record) -> None:
    with other.writing("KM", "bay 2") as writing:
        writing.append("changed", [], changed(depot, 1, 0))


def same_station(depot: Any, other: Record) -> None:
    with other.writing("KM", "desk") as writing:
        writing.append("changed", [], changed(depot, 1, 3))


def late_event(depot: Any, other: Record) -> None:
    now = depot.clock.now
    depot.clock.move(hours=-2)
    with Record.create(depot.folder.parent / "elsewhere", "QB", clock=depot.clock) as elsewhere:
        with elsewhere.writing("KM", "desk") as writing:
            writing.append("watered", [depot.batteries[0]], {})
        depot.clock.now = now
        assert other.receive(elsewhere.export()).taken == 2


def brought_back(depot: Any, other: Record) -> None:
    """As when the file is found to be a copy: its chains have ended."""
    other._connection.execute("UPDATE chains SET writable = 0")


@pytest.mark.parametrize(
    ("meanwhile", "stands"),
    [
        (nothing, True), (unrelated, True), (same_battery, False), (same_station, False),
        (late_event, False), (brought_back, False),
    ],
)  # fmt: skip
def test_what_others_did_meanwhile_counts(
    depot: Any,
    other: Record,
    right: list[bool],
    meanwhile: Callable[[Any, Record], None],
    stands: bool,
) -> None:
    body = changed(depot, 0, 0)
    with depot.record.writing("TS", "desk") as writing:
        first = writing.append("changed", [], body)
        second = writing.append("watered", [depot.batteries[0]], {})
        before = len(right)
        meanwhile(depot, other)
        del right[before:]
    assert right == [stands]
    assert type(first) is type(second)
    assert second.sequence == first.sequence + 1
    assert depot.record.event(first.id) == first
    # By the order in which they were recorded the battery was put in here last.
    assert depot.place(depot.batteries[0]) == str(depot.trucks[0])
    assert depot.record.state(depot.batteries[0]).last_event == second.id
    assert verify(depot.folder) == []


def test_who_was_overtaken_meanwhile_is_told(depot: Any, other: Record) -> None:
    last = {str(depot.batteries[0]): depot.record.state(depot.batteries[0]).last_event}
    body = changed(depot, 0, 0)
    for required in (True, False):
        with pytest.raises(Overtaken, match="KM"), depot.record.writing("TS", "desk") as writing:
            if required:
                writing.require_unchanged(last)
            writing.append("changed", [], body, None if required else last)
            same_battery(depot, other)
    assert depot.place(depot.batteries[0]) == str(depot.trucks[1])
    assert verify(depot.folder) == []


def test_who_looks_at_an_event_has_it_written(depot: Any, other: Record, right: list[bool]) -> None:
    with depot.record.writing("TS", "desk") as writing:
        event = writing.append("held", [], {"asset": str(depot.batteries[0]), "reason": "leak"})
        assert right == []
        identity = event.id
        assert right == [True]
        assert depot.record.event(identity) is not None
        assert other.event(identity) is None
    assert other.event(identity) == event


def test_what_came_to_nothing_is_nowhere(depot: Any, other: Record) -> None:
    before = depot.record.state(depot.batteries[0])
    with pytest.raises(ZeroDivisionError), depot.record.writing("TS", "desk") as writing:
        event = writing.append("changed", [], changed(depot, 0, 0))
        raise ZeroDivisionError
    with pytest.raises(RuntimeError, match="not recorded"):
        _ = event.id
    assert depot.record.state(depot.batteries[0]) == before
    unrelated(depot, other)  # the head of the queue is free again
    assert verify(depot.folder) == []
