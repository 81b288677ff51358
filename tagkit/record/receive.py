"""Taking in events of other records.

Nothing is believed: each event must go on its chain without a gap, name the hash of the one
before it, and be signed with the key its epoch is named after.
"""

from __future__ import annotations

import gc
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field
from functools import partial
from itertools import islice

from tagkit.assets.tag import exact_tag
from tagkit.record.ahead import Ahead
from tagkit.record.clock import Clock, milliseconds
from tagkit.record.envelope import (
    NO_EVENT,
    Event,
    MalformedEvent,
    from_bytes,
    hash_of,
    strictly_from_bytes,
)
from tagkit.record.folder import Foreseen, understood
from tagkit.record.journal import PERSON_MARK, Journal, own_tags, site_of
from tagkit.record.keys import KEY_BYTES, epoch_of, signed_by
from tagkit.record.refusals import Refusals
from tagkit.record.store import Connection
from tagkit.record.writing import add_chain

Parcel = tuple[bytes, bytes]
"""An event's stored bytes and the signature over them."""


@dataclass
class Received:
    """What became of the events handed over."""

    taken: int = 0
    already_here: int = 0
    refused: Refusals = field(default_factory=Refusals)
    """A sentence for each event that was not taken, naming it and why."""


def receive(
    connection: Connection,
    parcels: Iterable[Parcel | Event],
    clock: Clock,
    transaction: Callable[[], AbstractContextManager[None]],
    awaited: Callable[[], bool],
    longest_hold: float,
    parted: bool = False,
) -> Received:
    """Takes in ``parcels``, holding the write lock at most ``longest_hold`` seconds at a time.

    An event that was read already, strictly, may stand in a parcel's place. ``awaited`` tells
    whether somebody waits to write: then they have up to twice as long as this had. ``parted``: of chains
    that are new here only what followed assets need will come, with gaps and in any order.
    """
    result = Received()
    refolds, pace = _Refolds(longest_hold), _Pace(longest_hold)
    ahead, site = Ahead(connection), site_of(connection)
    taking = _Taking(connection, result, parted)
    with ThreadPoolExecutor(CHECKERS, "signatures") as threads:
        # What takes the processor is done before the lock is taken, and while the slice before
        # is written: checking signatures lets other threads work.
        for checked in _one_ahead(_checked(connection, parcels, result, threads)):
            waiting = deque(checked)
            while waiting:
                bite = [(one, signed()) for one, signed in islice(waiting, pace.most)]
                foreseen = ahead.foresee(
                    (tag, event)
                    for event, _ in bite
                    for tag in own_tags(event, site)
                    if not tag.startswith(PERSON_MARK)
                )
                with _uncollected(), transaction():
                    held = time.monotonic()
                    taking.begin(milliseconds(clock()), foreseen)
                    for event, signed in bite:
                        taking.take(event, signed)
                        waiting.popleft()
                        if taking.waiting >= refolds.most:
                            break
                    with refolds.timed(taking.waiting):
                        taking.end()
                    pace.took(len(bite), time.monotonic() - held)
                ahead.forget(foreseen.keys() - taking.met)
                _stand_aside(awaited, 2 * (time.monotonic() - held))
    return result


def _stand_aside(awaited: Callable[[], bool], most: float) -> None:
    """Lets those go first who wait to write, for so many seconds at most."""
    end = time.monotonic() + most
    while awaited() and time.monotonic() < end:
        time.sleep(0.001)


@contextmanager
def _uncollected() -> Iterator[None]:
    """No search for garbage meanwhile: in a large program one takes 50 ms."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


SLICE = 500
CHECKERS = 2
"""Threads that check signatures."""

Signed = Callable[[], bool | None]
"""Whether its station signed an event; None where that need not be known: it is here already, or
the beginning of its chain is missing."""


def _checked(
    connection: Connection,
    parcels: Iterable[Parcel | Event],
    result: Received,
    threads: ThreadPoolExecutor,
) -> Iterator[list[tuple[Event, Signed]]]:
    """The events in slices; their signatures are being checked."""
    rest = iter(parcels)
    keys: dict[str, bytes | None] = {}
    while slice_ := list(islice(rest, SLICE)):
        events = [event for one in slice_ if (event := _read(one, result))]
        here = _stand_here(connection, events)
        asked = []
        for event in events:
            key = _key(connection, keys, event)
            needed = key is not None and (event.epoch, event.sequence) not in here
            asked.append((key, event.raw, event.signature) if key and needed else None)
        yield list(zip(events, _answers(asked, threads), strict=True))


def _answers(
    asked: list[tuple[bytes, bytes, bytes] | None], threads: ThreadPoolExecutor
) -> list[Signed]:
    parts = [asked[at :: CHECKERS * 2] for at in range(CHECKERS * 2)]
    told = [threads.submit(_are_signed, part) for part in parts if part]
    return [
        partial(_answer, told[number % (CHECKERS * 2)], number // (CHECKERS * 2))
        for number in range(len(asked))
    ]


def _answer(told: Future[list[bool | None]], number: int) -> bool | None:
    return told.result()[number]


def _are_signed(asked: list[tuple[bytes, bytes, bytes] | None]) -> list[bool | None]:
    return [one and signed_by(*one) for one in asked]


def _one_ahead(
    slices: Iterator[list[tuple[Event, Signed]]],
) -> Iterator[list[tuple[Event, Signed]]]:
    """The same slices; each is asked for before the one before it is given."""
    before = next(slices, None)
    while before is not None:
        after = next(slices, None)
        yield before
        before = after


def _read(parcel: Parcel | Event, result: Received) -> Event | None:
    if isinstance(parcel, Event):
        return understood(parcel)
    try:
        return understood(strictly_from_bytes(*parcel))
    except MalformedEvent as error:
        result.refused.append(f"Bytes that are no event: {error}.")
        return None


def _key(connection: Connection, keys: dict[str, bytes | None], event: Event) -> bytes | None:
    """The public key of an event's chain; None when its beginning is missing."""
    if keys.get(event.epoch) is None:
        row = connection.execute(
            "SELECT public_key FROM chains WHERE epoch = ?", (event.epoch,)
        ).fetchone()
        found = bytes(row[0]) if row else _first_key(event)
        keys[event.epoch] = None if isinstance(found, str) else found
    return keys[event.epoch]


def _stand_here(connection: Connection, events: list[Event]) -> set[tuple[str, int]]:
    """The places of these events in which one stands already."""
    found: set[tuple[str, int]] = set()
    for epoch in {event.epoch for event in events}:
        places = [event.sequence for event in events if event.epoch == epoch]
        rows = connection.execute(
            "SELECT e.sequence FROM chains c JOIN events e ON e.chain = c.chain "
            "WHERE c.epoch = ? AND e.sequence BETWEEN ? AND ?",
            (epoch, min(places), max(places)),
        )
        found.update((epoch, sequence) for (sequence,) in rows)
    return found


class _Refolds:
    """How many states that late events reach back into may be folded again in one go: what that
    takes depends on their histories and is found by doing it."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self.most = 2

    @contextmanager
    def timed(self, count: int) -> Iterator[None]:
        start = time.monotonic()
        yield
        if count:
            each = (time.monotonic() - start) / count
            self.most = max(1, min(2 * self.most, 200, int(self._seconds / max(each, 1e-6))))


class _Pace:
    """How many events are taken in one go, so that it takes well below so many seconds. What
    syncing to the disk takes is left out: it hardly depends on how many there are."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self.most = 20

    def took(self, count: int, seconds: float) -> None:
        """Learns from one go: at once when it took long, else bit by bit."""
        if seconds > self._seconds:
            self.most = max(FEWEST, self.most // 2)
        elif count >= self.most:
            factor = 0.4 * self._seconds / max(seconds, 1e-6)
            self.most = int(min(max(FEWEST, self.most * min(max(factor, 0.7), 1.25)), SLICE))


FEWEST = 8
"""Fewer are not worth a commit, on however slow a machine."""


@dataclass
class _Chain:
    number: int
    site: str
    station: str
    key: bytes
    head: int
    head_hash: str
    whole: bool
    new: bool = False
    changed: bool = False


MOST_KEPT = 20_000
"""States that are kept in memory from one transaction to the next (some 4 kB each)."""


class _Taking:
    """Taking in events, in one transaction after the other.

    What a transaction has read and folded is still so in the next one, unless somebody else
    wrote meanwhile.
    """

    def __init__(self, connection: Connection, result: Received, parted: bool) -> None:
        self._connection = connection
        self._result = result
        self._new_whole = not parted
        self._journal: Journal
        self._chains: dict[str, _Chain] = {}
        self._site = site_of(connection)
        self._now_ms = 0
        self._as_of = -1

    def begin(self, now_ms: int, foreseen: Mapping[str, Foreseen]) -> None:
        """Begins within a transaction that has just begun."""
        self._now_ms = now_ms
        # Of every connection its own; it moves when another one has written.
        (as_of,) = self._connection.execute("PRAGMA data_version").fetchone()
        if as_of != self._as_of or self._journal.folder.kept > MOST_KEPT:
            self._as_of = as_of
            self._journal = Journal(self._connection)
            self._chains.clear()
        self._journal.folder.foreseen(foreseen)

    def take(self, event: Event, signed: bool | None) -> None:
        """Takes in one event, or says why not."""
        chain = self._chain(event)
        if isinstance(chain, str):
            self._result.refused.append(chain)
            return
        if event.sequence <= chain.head and (stored := self._stored(chain, event.sequence)):
            if stored == event.raw:
                self._result.already_here += 1
            else:
                self._result.refused.append(f"{event.id}: another event stands in its place here.")
            return
        if problem := self._problem(chain, event, signed):
            self._result.refused.append(f"{event.id}: {problem}.")
            return
        if chain.new:
            add_chain(
                self._connection, chain.number, chain.site, chain.station, event.epoch, chain.key,
                own=False, whole=chain.whole,
            )  # fmt: skip
            chain.new = False
            self._chains[event.epoch] = chain
        self._journal.add_foreign(chain.number, event, self._now_ms)
        if event.kind == "registered":
            self._count(event)
        if event.sequence > chain.head:
            chain.head, chain.head_hash, chain.changed = event.sequence, event.hash, True
        self._result.taken += 1

    def _count(self, event: Event) -> None:
        """Numbers that another record of this site gave out are not given out here again."""
        for text in event.tags:
            tag = exact_tag(text)
            if tag and tag.site == self._site:
                self._connection.execute(
                    "INSERT INTO serials VALUES (?, ?) ON CONFLICT (kind) DO UPDATE "
                    "SET last = max(last, excluded.last)",
                    (tag.kind.value, tag.serial),
                )

    @property
    def waiting(self) -> int:
        """How many states will be folded again at the end."""
        return self._journal.folder.waiting

    @property
    def met(self) -> set[str]:
        """Assets for which all came as foreseen."""
        return self._journal.folder.met

    def end(self) -> None:
        """Writes heads and states."""
        for chain in self._chains.values():
            if chain.changed:
                self._connection.execute(
                    "UPDATE chains SET head_sequence = ?, head_hash = ? WHERE chain = ?",
                    (chain.head, chain.head_hash, chain.number),
                )
                chain.changed = False
        self._journal.release_apart(self._now_ms)
        self._journal.folder.flush()

    def _chain(self, event: Event) -> _Chain | str:
        if event.epoch in self._chains:
            return self._chains[event.epoch]
        row = self._connection.execute(
            "SELECT chain, site, station, public_key, head_sequence, head_hash, whole "
            "FROM chains WHERE epoch = ?",
            (event.epoch,),
        ).fetchone()
        if row:
            number, site, station, key, head, head_hash, whole = row
            chain = _Chain(number, site, station, bytes(key), head, head_hash, bool(whole))
            self._chains[event.epoch] = chain
            return chain
        found = _first_key(event)
        if isinstance(found, str):
            return found
        last = self._connection.execute("SELECT max(chain) FROM chains").fetchone()[0]
        return _Chain(
            (last or 0) + 1, event.site, event.station, found, 0, NO_EVENT, self._new_whole, True
        )

    def _stored(self, chain: _Chain, sequence: int) -> bytes | None:
        row = self._connection.execute(
            "SELECT raw FROM events WHERE chain = ? AND sequence = ?", (chain.number, sequence)
        ).fetchone()
        return bytes(row[0]) if row else None

    def _problem(self, chain: _Chain, event: Event, signed: bool | None) -> str | None:
        """Why the event can't go on its chain."""
        if (event.site, event.station) != (chain.site, chain.station):
            return f"it belongs to station “{chain.station}” of {chain.site}"
        if chain.whole and event.sequence != chain.head + 1:
            return f"the one before it is missing here (the last is {chain.head})"
        if event.sequence == chain.head + 1:
            before: str | None = chain.head_hash
        else:
            stored = self._stored(chain, event.sequence - 1)
            before = hash_of(stored) if stored else None
        if before and event.previous != before:
            return "it does not follow the one before it"
        if event.sequence < chain.head:
            after = self._stored(chain, event.sequence + 1)
            if after and from_bytes(after).previous != event.hash:
                return "the one after it does not follow it"
        if not (signed or (signed is None and signed_by(chain.key, event.raw, event.signature))):
            return "its signature is not the station's"
        return None


def _first_key(event: Event) -> bytes | str:
    """The public key that a chain's first event states, or why it can't begin a chain."""
    if event.sequence != 1 or event.kind != "epoch_started":
        return f"{event.id}: the beginning of its chain is missing here."
    try:
        key = bytes.fromhex(event.body["public_key"])
    except (KeyError, TypeError, ValueError):
        return f"{event.id}: it states no public key."
    if len(key) != KEY_BYTES or epoch_of(key) != event.epoch:
        return f"{event.id}: its epoch is not named after its key."
    return key
