"""Keeps folded states beside the journal: in order one event at a time, else from a checkpoint.

A state that is touched several times in one transaction is written once. Every so many events
a checkpoint is kept, so that a late event does not mean folding years again. States may be folded
before the transaction has begun (see draft.py): then nothing is written until :meth:`Folder.flush`,
and :meth:`Folder.still_so` tells whether what they were folded from is what the record holds.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from tagkit.record.bodies import present_body
from tagkit.record.envelope import Event, from_bytes
from tagkit.record.fold import after, empty
from tagkit.record.light import LightEvent
from tagkit.record.state import FOLD_VERSION, AssetState
from tagkit.record.store import Connection

CHECKPOINT_EVERY = 256


def understood(event: Event) -> Event:
    """The event with its body in the present version, or marked as not understood."""
    body = present_body(event.kind, event.version, event.body)
    return altered(event, known=False) if body is None else altered(event, body=body)


def read_event(raw: bytes, signature: bytes, effective: int, voided: int = 0) -> Event:
    """The event of a row of the journal."""
    event = understood(from_bytes(bytes(raw), bytes(signature)))
    return altered(event, effective=effective, voided=bool(voided))


def altered(event: Event, **changes: Any) -> Event:
    """What dataclasses.replace gives, in a tenth of the time: every event read passes here."""
    result = object.__new__(Event)
    result.__dict__.update(event.__dict__)
    result.__dict__.pop("moment", None)  # follows from the place in the order
    result.__dict__.update(changes)
    return result


EVENT_COLUMNS = (
    "e.raw, e.signature, e.effective, EXISTS (SELECT 1 FROM voids v "
    "WHERE v.epoch = c.epoch AND v.sequence = e.sequence)"
)


def events_of(
    connection: Connection, tag: str, later_than: tuple[int, int] = (-1, -1)
) -> Iterator[Event]:
    """The events of an asset in order, from after an (effective, clock) on."""
    rows = connection.execute(
        f"SELECT {EVENT_COLUMNS} FROM event_tags t JOIN events e ON e.n = t.n "
        "JOIN chains c ON c.chain = e.chain WHERE t.tag = ? AND (t.effective, t.clock) > (?, ?) "
        "ORDER BY t.effective, t.clock, c.name, e.sequence",
        (tag, *later_than),
    )
    for row in rows:
        yield read_event(*row)


# An update leaves alone the indexes whose columns stay as they are; a replacement would not.
_KEEP_STATE = """INSERT INTO assets VALUES (?, ?, ?, ?, ?, ?, ?, ?)
    ON CONFLICT (tag) DO UPDATE SET effective = excluded.effective, clock = excluded.clock,
    place = excluded.place, maker_serial = excluded.maker_serial,
    fleet_number = excluded.fleet_number, state = excluded.state"""
_KEEP_PLACED = "UPDATE assets SET effective = ?, clock = ?, place = ?, state = ? WHERE tag = ?"
_KEEP_UNMOVED = "UPDATE assets SET effective = ?, clock = ?, state = ? WHERE tag = ?"


Key = tuple[int, int]
"""Effective and own clock: a place in an asset's order."""

Entry = tuple[int, int, str]
"""Place and id of an event that was added."""


@dataclass(frozen=True)
class Foreseen:
    """What an asset's state will be when these events have been added; see ahead.py."""

    state: AssetState
    key: Key
    checkpoints: tuple[tuple[Key, AssetState], ...]
    entries: tuple[Entry, ...]
    cancelled: tuple[str, ...]
    """Ids of the events that they cancel, in their order."""
    newest: Key
    """The last event that was there."""
    effective: int
    """From where on it was folded again."""
    times: int
    """What :func:`times_folded_again` said."""


def entry_of(event: Event | LightEvent) -> Entry:
    """What tells an added event from others."""
    return event.effective, event.clock, event.id


def times_folded_again(connection: Connection) -> int:
    """Counts whenever something came into an asset's order elsewhere than at its end, or what
    stood there counted no more. While it stays the same, events were added at the end only."""
    row = connection.execute("SELECT value FROM meta WHERE name = 'folded_again'").fetchone()
    return int(row[0]) if row and str(row[0]).isdigit() else 0


def count_again(connection: Connection) -> None:
    """Lets :func:`times_folded_again` say one more."""
    connection.execute(
        "INSERT INTO meta VALUES ('folded_again', '1') "
        "ON CONFLICT (name) DO UPDATE SET value = value + 1"
    )


@dataclass
class _Kept:
    state: AssetState
    effective: int
    clock: int
    row: tuple[str | None, str | None, str | None] | None = None
    """By what the row that is there is found; None when there is none."""
    text: str | None = None
    """The state as it will be kept, where it is ready already."""


class Folder:
    """The states touched by one transaction, or by several between which nobody else wrote."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._folded_again = False
        self.foreseen({})
        self._kept: dict[str, _Kept | None] = {}
        self._changed: set[str] = set()
        self._stale: dict[str, int] = {}
        self._unjudged: set[str] = set()
        self._checkpoints: list[tuple[str, int, int, str]] = []
        self._rests_on: dict[str, tuple[str, str] | None] | None = None

    @property
    def kept(self) -> int:
        """How many states are kept in memory."""
        return len(self._kept)

    def foreseen(self, states: Mapping[str, Foreseen]) -> None:
        """What is foreseen of the transaction that has just begun."""
        self._foreseen = states
        self._added: dict[str, list[Entry]] = {}
        self._cancelled: dict[str, list[str]] = {}
        self._otherwise: set[str] = set()
        self._times: int | None = None
        self.met: set[str] = set()
        """Assets for which all came as foreseen."""

    @classmethod
    def before_the_lock(cls, connection: Connection) -> Folder:
        """One that folds before its transaction has begun."""
        folder = cls(connection)
        folder._rests_on = {}
        return folder

    def still_so(self) -> bool:
        """Whether the states that were read before the transaction are still those; from now on
        what is folded is certain."""
        read, self._rests_on = self._rests_on or {}, None
        return all(
            self._connection.execute("SELECT state FROM assets WHERE tag = ?", (tag,)).fetchone()
            == (was and was[:1])
            for tag, was in read.items()
        )

    def write_out(self) -> None:
        """Makes the texts of the states that :meth:`flush` will write."""
        for tag in self._changed:
            kept = self._kept[tag]
            if kept and kept.text is None:
                kept.text = kept.state.to_json()

    def last_event_before(self, tag: str) -> str | None:
        """The last event of an asset as it was read before the lock; None for an unknown one."""
        self._load(tag)
        was = (self._rests_on or {}).get(tag)
        return was and was[1]

    def state(self, tag: str) -> AssetState | None:
        """The present state within the transaction."""
        kept = self._load(tag)
        return kept.state if kept else None

    def take(self, tag: str, event: Event, moment: str) -> None:
        """Folds in an event that was just added to the journal; ``moment`` is the event's."""
        if tag in self._foreseen:
            self._added.setdefault(tag, []).append(entry_of(event))
        if tag in self._stale or tag in self._foreseen:
            self._note(tag, event.effective)
            return
        kept = self._load(tag)
        key = (event.effective, event.clock)
        if kept and key <= (kept.effective, kept.clock):
            self._note(tag, event.effective)
            return
        state = after(kept.state if kept else empty(tag), event, moment)
        self._kept[tag] = _Kept(state, *key, kept.row if kept else None)
        self._changed.add(tag)
        if state.events % CHECKPOINT_EVERY == 0:
            self._checkpoint(tag, state, key)

    def enter(self, tag: str, event: Event) -> None:
        """Folds in an event whose place in the order may be anywhere."""
        if tag in self._foreseen:
            self._added.setdefault(tag, []).append(entry_of(event))
        else:
            self._otherwise.add(tag)
        self._note(tag, event.effective)

    def cancel(self, tag: str, event: Event, target: Event) -> None:
        """Folds in an event of an asset that cancels another one of it."""
        self.enter(tag, event)
        self._cancelled.setdefault(tag, []).append(target.id)
        self._note(tag, target.effective)

    def refold(self, tag: str, effective: int) -> None:
        """Notes that something changed at this place in the order; folded again when needed."""
        self._otherwise.add(tag)
        self._note(tag, effective)

    def _note(self, tag: str, effective: int) -> None:
        self._stale[tag] = min(self._stale.get(tag, effective), effective)

    @property
    def waiting(self) -> int:
        """How many states :meth:`flush` will fold again that were not foreseen."""
        return sum(tag not in self._foreseen or tag in self._otherwise for tag in self._stale)

    def put(self, tag: str) -> None:
        """Puts the state that was foreseen of an asset to which nothing is added."""
        self._note(tag, self._foreseen[tag].effective)

    def flush(self) -> None:
        """Writes what changed; the record's queries see it from then on."""
        for tag in list(self._stale):
            self._load(tag)
        self._put_checkpoints()
        if self._folded_again:
            self._folded_again = False
            count_again(self._connection)
        changed = sorted(self._changed)
        unjudged = [tag for tag in changed if tag not in self._unjudged]
        put_rows(self._connection, "unjudged", [(tag,) for tag in unjudged])
        self._unjudged.update(unjudged)
        for tag in changed:
            kept = self._kept[tag]
            if kept is None:
                self._connection.execute("DELETE FROM assets WHERE tag = ?", (tag,))
                continue
            self._keep(tag, kept)
        self._changed.clear()

    def _keep(self, tag: str, kept: _Kept) -> None:
        state, row, key = kept.state, indexed(kept.state), (kept.effective, kept.clock)
        text = kept.text or state.to_json()
        if kept.row == row:
            self._connection.execute(_KEEP_UNMOVED, (*key, text, tag))
        elif kept.row and kept.row[1:] == row[1:]:
            self._connection.execute(_KEEP_PLACED, (*key, row[0], text, tag))
        else:
            self._connection.execute(_KEEP_STATE, (tag, state.kind, *key, *row, text))
        kept.row = row

    def _load(self, tag: str) -> _Kept | None:
        if tag in self._stale:
            self._put_checkpoints()
            effective = self._stale.pop(tag)
            kept = self._as_foreseen(tag) or self._again(tag, effective)
            self._folded_again = True
            self._kept[tag] = kept
            self._changed.add(tag)
            return kept
        if tag not in self._kept:
            row = self._connection.execute(
                "SELECT state, effective, clock, place, maker_serial, fleet_number "
                "FROM assets WHERE tag = ?",
                (tag,),
            ).fetchone()
            kept = _Kept(AssetState.from_json(row[0]), row[1], row[2], row[3:]) if row else None
            if self._rests_on is not None:
                self._rests_on[tag] = (row[0], kept.state.last_event) if row and kept else None
            self._kept[tag] = kept
        return self._kept[tag]

    def _as_foreseen(self, tag: str) -> _Kept | None:
        """The foreseen state with what others have added since; None when it came otherwise."""
        foreseen = self._foreseen.get(tag)
        if foreseen is None or tag in self._otherwise:
            return None
        if self._times is None:
            self._times = times_folded_again(self._connection)
        entries, cancelled = self._added.pop(tag, []), self._cancelled.pop(tag, [])
        if self._times != foreseen.times or tuple(entries) != foreseen.entries:
            return None
        if tuple(cancelled) != foreseen.cancelled:
            return None
        added = set(entries)
        later = [
            event
            for event in events_of(self._connection, tag, foreseen.newest)
            if entry_of(event) not in added
        ]
        if not foreseen.state.events or any(_key(one) <= foreseen.key for one in later):
            return None
        self._connection.execute(
            "DELETE FROM checkpoints WHERE tag = ? AND effective >= ?", (tag, foreseen.effective)
        )
        for key, state in foreseen.checkpoints:
            self._checkpoint(tag, state, key)
        self.met.add(tag)
        state, key = foreseen.state, foreseen.key
        for event in later:
            state, key = after(state, event, event.moment), _key(event)
        return _Kept(state, *key)

    def _again(self, tag: str, effective: int) -> _Kept | None:
        self._connection.execute(
            "DELETE FROM checkpoints WHERE tag = ? AND effective >= ?", (tag, effective)
        )
        key, kept = checkpoint_before(self._connection, tag, effective)
        state = kept or empty(tag)
        # Read out first: checkpoints are written to the same file meanwhile.
        for event in list(events_of(self._connection, tag, key)):
            reached = _key(event)
            if reached > key and state.events and state.events % CHECKPOINT_EVERY == 0:
                self._checkpoint(tag, state, key)
            state, key = after(state, event, event.moment), reached
        return _Kept(state, *key) if state.events else None

    def _checkpoint(self, tag: str, state: AssetState, key: tuple[int, int]) -> None:
        self._checkpoints.append((tag, *key, state.to_json()))

    def _put_checkpoints(self) -> None:
        for one in self._checkpoints:
            self._connection.execute("INSERT OR REPLACE INTO checkpoints VALUES (?, ?, ?, ?)", one)
        self._checkpoints.clear()


def put_rows(connection: Connection, table: str, rows: Sequence[tuple[Any, ...]]) -> None:
    """Enters rows, passing over those that are there, with as few statements as may be: for one
    row a statement takes longer than the row."""
    for start in range(0, len(rows), _AT_ONCE):
        some = rows[start : start + _AT_ONCE]
        places = ", ".join([_places(len(some[0]))] * len(some))
        values = [value for row in some for value in row]
        connection.execute(f"INSERT OR IGNORE INTO {table} VALUES {places}", values)


_AT_ONCE = 8


@lru_cache(16)
def _places(count: int) -> str:
    return f"({', '.join('?' * count)})"


def _key(event: Event) -> Key:
    return event.effective, event.clock


def checkpoint_before(
    connection: Connection, tag: str, effective: int
) -> tuple[Key, AssetState | None]:
    """The last checkpoint of an asset before an effective clock, or none."""
    row = connection.execute(
        "SELECT state, effective, clock FROM checkpoints WHERE tag = ? AND effective < ? "
        "ORDER BY effective DESC, clock DESC LIMIT 1",
        (tag, effective),
    ).fetchone()
    return ((row[1], row[2]), AssetState.from_json(row[0])) if row else ((-1, -1), None)


def indexed(state: AssetState) -> tuple[str | None, str | None, str | None]:
    """What assets are searched by: place, maker's serial, fleet number (of a charger: its bay)."""
    place = state.place["name"] if state.place else None
    return place, plain(state.maker_serial), plain(state.fleet_number or state.bay)


def plain(words: str | None) -> str | None:
    """Serials are the same whatever case and blanks they are written with."""
    return "".join(words.split()).casefold() or None if words else None


def states_are_current(connection: Connection) -> bool:
    """Whether all states were folded by this version of the rules."""
    row = connection.execute("SELECT value FROM meta WHERE name = 'fold_version'").fetchone()
    return row is not None and row[0] == str(FOLD_VERSION)
