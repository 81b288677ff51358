"""Taking in events of other records.

Nothing is believed: each event must go on its chain without a gap, name the hash of the one
before it, and be signed with the key its epoch is named after.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field

from tagkit.record.clock import Clock, milliseconds
from tagkit.record.envelope import NO_EVENT, Event, MalformedEvent, from_bytes, hash_of
from tagkit.record.folder import understood
from tagkit.record.journal import Journal
from tagkit.record.keys import epoch_of, signed_by
from tagkit.record.store import Connection
from tagkit.record.writing import add_chain

Parcel = tuple[bytes, bytes]
"""An event's stored bytes and the signature over them."""


@dataclass
class Received:
    """What became of the events handed over."""

    taken: int = 0
    already_here: int = 0
    refused: list[str] = field(default_factory=list)
    """A sentence for each event that was not taken, naming it and why."""


def receive(
    connection: Connection,
    parcels: Iterable[Parcel],
    clock: Clock,
    transaction: Callable[[], AbstractContextManager[None]],
    longest_hold: float,
) -> Received:
    """Takes in ``parcels``, holding the write lock at most ``longest_hold`` seconds at a time."""
    result = Received()
    checked = [
        (found, raw) for raw, signature in parcels if (found := _read(raw, signature, result))
    ]
    waiting = iter(checked)
    going_on = bool(checked)
    while going_on:
        going_on = False
        with transaction():
            journal, end = Journal(connection), time.monotonic() + longest_hold
            now_ms = milliseconds(clock())
            for event, _ in waiting:
                _take(connection, journal, event, now_ms, result)
                if time.monotonic() > end:
                    going_on = True
                    break
            journal.release_apart(now_ms)
            journal.folder.flush()
    return result


def _read(raw: bytes, signature: bytes, result: Received) -> Event | None:
    try:
        return understood(from_bytes(raw, signature))
    except MalformedEvent as error:
        result.refused.append(f"Bytes that are no event: {error}.")
        return None


def _take(
    connection: Connection, journal: Journal, event: Event, now_ms: int, result: Received
) -> None:
    row = connection.execute(
        "SELECT chain, site, station, public_key, head_sequence, head_hash FROM chains "
        "WHERE epoch = ?",
        (event.epoch,),
    ).fetchone()
    if row is None:
        key = _first_key(event)
        if isinstance(key, str):
            result.refused.append(key)
            return
        number = (connection.execute("SELECT max(chain) FROM chains").fetchone()[0] or 0) + 1
        row = (number, event.site, event.station, key, 0, NO_EVENT)
        new = True
    else:
        new = False
    chain, site, station, key, head, head_hash = row
    if event.sequence <= head:
        stored = connection.execute(
            "SELECT raw FROM events WHERE chain = ? AND sequence = ?", (chain, event.sequence)
        ).fetchone()
        if stored and bytes(stored[0]) == event.raw:
            result.already_here += 1
        else:
            result.refused.append(f"{event.id}: another event stands in its place here.")
        return
    problem = (
        f"it belongs to station “{station}” of {site}"
        if (event.site, event.station) != (site, station)
        else f"the one before it is missing here (the last is {head})"
        if event.sequence != head + 1
        else "it does not follow the one before it"
        if event.previous != head_hash
        else "its signature is not the station's"
        if not signed_by(bytes(key), event.raw, event.signature)
        else None
    )
    if problem:
        result.refused.append(f"{event.id}: {problem}.")
        return
    if new:
        add_chain(connection, chain, site, station, event.epoch, bytes(key), own=False)
    journal.add_foreign(chain, event, now_ms)
    connection.execute(
        "UPDATE chains SET head_sequence = ?, head_hash = ? WHERE chain = ?",
        (event.sequence, hash_of(event.raw), chain),
    )
    result.taken += 1


def _first_key(event: Event) -> bytes | str:
    """The public key that a chain's first event states, or why it can't begin a chain."""
    if event.sequence != 1 or event.kind != "epoch_started":
        return f"{event.id}: the beginning of its chain is missing here."
    try:
        key = bytes.fromhex(event.body["public_key"])
    except (KeyError, TypeError, ValueError):
        return f"{event.id}: it states no public key."
    if epoch_of(key) != event.epoch:
        return f"{event.id}: its epoch is not named after its key."
    return key
