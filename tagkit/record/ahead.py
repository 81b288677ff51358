"""States folded before the lock is taken, so that whoever writes need not wait for it.

A late event changes everything that was folded after it, which for a busy asset is thousands of
events. What an event will do is foreseen from a snapshot; under the lock the foreseen state is
put in place if everything came as foreseen, with what others have added meanwhile on top. If
not, the state is folded there and then, as without foresight. The same holds for events that
cancel earlier ones, and for those that were put aside until their asset is followed.

The events behind the late ones are kept, read, from one time to the next: those who catch up
come by the same assets again and again.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import pairwise, takewhile

from tagkit.record.envelope import Event
from tagkit.record.fold import after, empty
from tagkit.record.folder import (
    CHECKPOINT_EVERY,
    Foreseen,
    Key,
    altered,
    checkpoint_before,
    entry_of,
    events_of,
    times_folded_again,
)
from tagkit.record.journal import cancels, find_event, meant_by, put_aside
from tagkit.record.light import LightEvent
from tagkit.record.state import AssetState
from tagkit.record.store import Connection

MOST_KEPT = 100_000
"""Events kept in memory, of some 1 kB each."""


@dataclass
class _Line:
    """An asset's events from the last late one on."""

    state: AssetState
    """Folded from everything up to ``reached``."""
    reached: Key
    behind: list[LightEvent] = field(default_factory=list)
    """What comes after it."""


class Ahead:
    """Foresees for one who adds late events."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._lines: dict[str, _Line] = {}
        self._kept = 0
        self._times = -1

    def foresee(self, events: Iterable[tuple[str, Event]]) -> dict[str, Foreseen]:
        """Asset -> what will be its state when these (asset, event) have been added, for those
        that come late. Whoever foresees again has added, or tried to, what was foreseen."""
        entries: dict[str, list[Event]] = {}
        for tag, event in events:
            entries.setdefault(tag, []).append(event)
        with snapshot(self._connection):
            times = times_folded_again(self._connection)
            if times != self._times:
                self._forget()
            found = {}
            for tag, added in entries.items():
                foreseen = self._foresee(tag, added, self._cancelled(added), times)
                if foreseen:
                    found[tag] = foreseen
        # Putting them in place counts as one time.
        self._times = times + 1 if found else times
        return found

    def fold(self, tag: str) -> Foreseen:
        """The state of an asset folded from all its events."""
        with snapshot(self._connection):
            times = times_folded_again(self._connection)
            line = _Line(empty(tag), (-1, -1), self._events_of(tag))
            return _foreseen(line, times, (), _last(line), 0)

    def follow(self, tag: str) -> Foreseen | None:
        """The state of an asset when what was put aside of it is entered; None where nothing
        was."""
        with snapshot(self._connection):
            times = times_folded_again(self._connection)
            aside = [event for _, event in put_aside(self._connection, tag)]
            if not aside:
                return None
            line = _Line(empty(tag), (-1, -1), self._events_of(tag))
            newest = _last(line)
            line.behind = sorted([*line.behind, *map(LightEvent, aside)], key=_place)
            return _foreseen(line, times, tuple(map(entry_of, aside)), newest, 0)

    def _cancelled(self, added: list[Event]) -> list[Event]:
        """The events that those to be added cancel."""
        found = []
        for number, void in enumerate(added):
            if parts := meant_by(void):
                before = (one for one in added[:number] if (one.epoch, one.sequence) == parts)
                meant = next(before, None) or find_event(self._connection, *parts)
                if meant and cancels(void, meant):
                    found.append(meant)
        return found

    def forget(self, tags: Iterable[str]) -> None:
        """What was foreseen of these did not come so."""
        for tag in tags:
            self._drop(tag)

    def _foresee(
        self, tag: str, added: list[Event], cancelled: list[Event], times: int
    ) -> Foreseen | None:
        keys = [(event.clock, event.clock) for event in added]
        row = self._connection.execute(
            "SELECT effective, clock FROM assets WHERE tag = ?", (tag,)
        ).fetchone()
        ends = (row[0], row[1]) if row else (-1, -1)
        if cancelled:
            self._drop(tag)  # what is read of it is no longer so
        elif all(one < other for one, other in pairwise([ends, *keys])):
            self._drop(tag)  # it goes on where it ended
            return None
        voids = {one.id for one in cancelled}
        first = min([*keys, *((one.effective or one.clock, one.clock) for one in cancelled)])
        line = self._line(tag, first)
        newest = _last(line)
        checkpoints: list[tuple[Key, AssetState]] = []
        late = [
            LightEvent(altered(event, effective=event.clock, voided=event.id in voids))
            for event in added
        ]
        if voids:
            line.behind = [one.cancelled() if one.id in voids else one for one in line.behind]
        entries = tuple(map(entry_of, late))  # in the order in which they come
        self._kept -= len(line.behind)
        late.sort(key=_place)
        behind = late + line.behind
        if line.behind and _place(late[-1]) > _place(line.behind[0]):
            behind.sort(key=_place)
        # Up to the last late one everything is done; the next ones come after it, mostly.
        end = max((key for key in keys if key <= newest), default=first)
        passed = list(takewhile(lambda event: _place(event)[:2] <= end, behind))
        for event in passed:
            _step(line, event, checkpoints)
        line.behind = behind[len(passed) :]
        self._kept += len(line.behind)
        self._lines[tag] = line
        result = _foreseen(line, times, entries, newest, first[0])
        return replace(
            result,
            checkpoints=(*checkpoints, *result.checkpoints),
            cancelled=tuple(one.id for one in cancelled),
        )

    def _line(self, tag: str, first: Key) -> _Line:
        line = self._lines.pop(tag, None)
        if line and line.reached < first:
            fresh = self._events_of(tag, _last(line))
            line.behind += fresh
            self._kept += len(fresh)
            return line
        if line:
            self._kept -= len(line.behind)
        key, state = checkpoint_before(self._connection, tag, first[0])
        line = _Line(state or empty(tag), key)
        events = self._events_of(tag, key)
        before = list(takewhile(lambda event: _place(event)[:2] < first, events))
        for event in before:
            _step(line, event, [])
        line.behind = events[len(before) :]
        self._kept += len(line.behind)
        while self._kept > MOST_KEPT and self._lines:
            # By age would not do: who goes round all assets would find none of them again.
            self._drop(random.choice(list(self._lines)))
        return line

    def _events_of(self, tag: str, later_than: Key = (-1, -1)) -> list[LightEvent]:
        return [LightEvent(event) for event in events_of(self._connection, tag, later_than)]

    def _drop(self, tag: str) -> None:
        line = self._lines.pop(tag, None)
        if line:
            self._kept -= len(line.behind)

    def _forget(self) -> None:
        self._lines.clear()
        self._kept = 0


def _place(event: LightEvent) -> tuple[int, int, str, str, str, int]:
    """By what an asset's events are ordered."""
    return event.effective, event.clock, *event.name, event.sequence


def _last(line: _Line) -> Key:
    return _place(line.behind[-1])[:2] if line.behind else line.reached


def _step(line: _Line, event: LightEvent, checkpoints: list[tuple[Key, AssetState]]) -> None:
    key = (event.effective, event.clock)
    if key > line.reached and line.state.events and line.state.events % CHECKPOINT_EVERY == 0:
        checkpoints.append((line.reached, line.state))
    line.state, line.reached = after(line.state, event, event.moment), key


def _foreseen(
    line: _Line, times: int, entries: tuple[tuple[int, int, str], ...], newest: Key, effective: int
) -> Foreseen:
    end = _Line(line.state, line.reached)
    checkpoints: list[tuple[Key, AssetState]] = []
    for event in line.behind:
        _step(end, event, checkpoints)
    return Foreseen(
        end.state, end.reached, tuple(checkpoints), entries, (), newest, effective, times
    )


@contextmanager
def snapshot(connection: Connection) -> Iterator[None]:
    """Lets everything be read as it stood at one moment."""
    connection.execute("BEGIN")
    try:
        yield
    finally:
        connection.execute("ROLLBACK")
