"""Looking for assets by part of a number, a maker's serial, a fleet number or a bay.

One pass over the words that people call assets by; the states are read only of the page asked for.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from tagkit.record.envelope import Event
from tagkit.record.folder import EVENT_COLUMNS, plain, read_event
from tagkit.record.state import AssetState
from tagkit.record.store import Connection


@dataclass(frozen=True)
class Wanted:
    """What is looked for; empty leaves a thing open.

    ``kind`` is a kind's letter, ``state`` one of STATES at ``now`` (UTC text), as far as the
    outlook has it. ``having`` and ``lacking`` name fields of the state that stand, or do not
    stand, at other than their default. ``unloaded``: in the order of unloading, delivery after
    delivery, instead of by number.
    """

    words: str = ""
    kind: str = ""
    state: str = ""
    now: str = ""
    having: tuple[str, ...] = ()
    lacking: tuple[str, ...] = ()
    unloaded: bool = False


_PLAIN = ("on charge", "in use", "held", "not confirmed", "in service", "retired")
STATES = {
    "ready": "o.standing = 'charged' AND o.ready_at <= ?",
    "not ready": "CASE WHEN o.standing = 'charged' THEN o.ready_at > ? ELSE o.standing NOT IN "
    f"({', '.join(repr(one) for one in _PLAIN)}) END",
    **{one: f"o.standing = '{one}' AND ? IS NOT NULL" for one in _PLAIN},
}
"""State -> the condition on the outlook that finds it; its one value is the time."""


@dataclass(frozen=True)
class Hits:
    """A page of what was found, by number, and how many there are in all."""

    total: int
    states: tuple[AssetState, ...]


def search(connection: Connection, wanted: Wanted, offset: int, limit: int) -> Hits:
    """The assets that are meant, ``limit`` of them from ``offset`` on."""
    where, values = _conditions(wanted)
    table = "assets a JOIN outlook o ON o.tag = a.tag" if wanted.state else "assets a"
    tags = [
        tag
        for (tag,) in connection.execute(
            f"SELECT a.tag FROM {table}{where} ORDER BY {_UNLOADED if wanted.unloaded else ''}a.tag",
            values,
        ).fetchall()
    ]
    page = tags[offset : offset + limit]
    found: dict[str, AssetState] = {}
    for first in range(0, len(page), _AT_ONCE):
        few = page[first : first + _AT_ONCE]
        marks = ", ".join("?" for _ in few)
        rows = connection.execute(
            f"SELECT tag, state FROM assets WHERE tag IN ({marks})", few
        ).fetchall()
        found.update((tag, AssetState.from_json(state)) for tag, state in rows)
    return Hits(len(tags), tuple(found[tag] for tag in page if tag in found))


# Read out of a state's text, so that of a large fleet only the page is read as states.
_UNLOADED = (
    "substr(a.state, instr(a.state, '\"registered_at\":'), 48), "
    "CASE WHEN instr(a.state, '\"unloading\":') THEN "
    "CAST(substr(a.state, instr(a.state, '\"unloading\":') + 12, 9) AS INTEGER) ELSE 0 END, "
)
_AT_ONCE = 500
"""States asked for by number in one question: SQLite takes only so many values."""


def called(connection: Connection, words: str) -> list[AssetState]:
    """The assets whose serial, fleet number or bay is exactly this, whatever case and blanks."""
    meant = plain(words)
    if meant is None:
        return []
    rows = connection.execute(
        "SELECT state FROM assets WHERE maker_serial = ?1 OR fleet_number = ?1", (meant,)
    ).fetchall()
    found = [AssetState.from_json(row[0]) for row in rows]
    return sorted(found, key=lambda one: (one.retired_at is not None, one.tag))


def kept_states(connection: Connection, kind: str) -> list[tuple[str, str]]:
    """Number and state, as it is kept, of all assets of a kind, by number: to be compared with
    what was read before."""
    rows = connection.execute("SELECT tag, state FROM assets WHERE kind = ? ORDER BY tag", (kind,))
    return list(rows.fetchall())


@dataclass(frozen=True)
class Listed:
    """A page of the batteries in the order of the rotation: state, and when it is ready."""

    total: int
    rows: tuple[tuple[AssetState, str | None], ...]


# Ready ones first, the longest rested first; then by how soon each can be had. Only charged ones
# have a time, and the index has them in its order.
_FIRST, _LATER = ("charged", "on charge"), ("in use", "held", "not confirmed")
_BLOCKS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("standing = ?", ("charged",)),
    ("standing = ?", ("on charge",)),
    (
        f"standing NOT IN ({', '.join('?' for _ in range(len(_FIRST) + len(_LATER) + 1))})",
        (*_FIRST, *_LATER, "retired"),
    ),
    ("standing = ?", ("in use",)),
    ("standing IN (?, ?)", ("held", "not confirmed")),
)


class Rested(NamedTuple):
    """A battery of the outlook: since when it has or will have rested, its weight."""

    tag: str
    rested_since: str | None
    kilograms: float | None


def rested(connection: Connection, volts: Iterable[float], standing: str) -> Iterator[Rested]:
    """The batteries of these nominal voltages with a standing, rested longest first; read as they
    are taken, because mostly the first few are enough."""
    alike = [_rested(connection, exactly, standing) for exactly in volts]
    if len(alike) == 1:
        return alike[0]
    return heapq.merge(
        *alike, key=lambda one: (one.rested_since is None, one.rested_since or "", one.tag)
    )


def _rested(connection: Connection, volts: float, standing: str) -> Iterator[Rested]:
    """In the order of the index by voltage, standing and rest."""
    for known in ("NOT NULL", "NULL"):
        rows = connection.execute(
            "SELECT tag, rested_since, kilograms FROM outlook WHERE volts = ? "
            f"AND standing = ? AND rested_since IS {known} ORDER BY rested_since, tag",
            (volts, standing),
        )
        yield from map(Rested._make, rows)


def rotation(connection: Connection, offset: int, limit: int) -> Listed:
    """The batteries in the fleet, as the outlook has them, whatever the time is.

    Charged batteries that are ready have an earlier time than those that rest, so that it
    parts them without changing their order.
    """
    total = 0
    found: list[tuple[str | None, str]] = []
    for which, values in _BLOCKS:
        (count,) = connection.execute(
            f"SELECT count(*) FROM outlook WHERE kind = 'B' AND {which}", values
        ).fetchone()
        skip = max(0, offset - total)
        total += count
        if skip >= count or len(found) >= limit:
            continue
        found += connection.execute(
            "SELECT o.ready_at, a.state FROM (SELECT tag, ready_at FROM outlook "
            f"WHERE kind = 'B' AND {which} ORDER BY ready_at, tag LIMIT ? OFFSET ?) o "
            "JOIN assets a ON a.tag = o.tag ORDER BY o.ready_at, o.tag",
            (*values, limit - len(found), skip),
        ).fetchall()
    return Listed(total, tuple((AssetState.from_json(text), at) for at, text in found))


def lately_voided(connection: Connection, most: int) -> list[Event]:
    """The last entries that cancel others, newest first. There are few of them."""
    rows = connection.execute(
        f"SELECT {EVENT_COLUMNS} FROM (SELECT DISTINCT n FROM voids ORDER BY n DESC LIMIT ?) v "
        "JOIN events e ON e.n = v.n JOIN chains c ON c.chain = e.chain ORDER BY e.n DESC",
        (most,),
    ).fetchall()
    return [read_event(*row) for row in rows]


def _conditions(wanted: Wanted) -> tuple[str, list[str]]:
    parts: list[str] = []
    values: list[str] = []
    if wanted.kind:
        parts.append("a.kind = ?")
        values.append(wanted.kind)
    if wanted.state:
        parts.append(f"({STATES[wanted.state]})")
        values.append(wanted.now)
    # What stands at its default is left out of a state's text.
    for names, there in ((wanted.having, "> 0"), (wanted.lacking, "= 0")):
        for name in names:
            parts.append(f"instr(a.state, ?) {there}")
            values.append(f'"{name}":')
    for word in _words(wanted.words):
        parts.append(
            "(instr(replace(a.tag, '-', ''), ?) OR instr(a.maker_serial, ?) "
            "OR instr(a.fleet_number, ?))"
        )
        values += ["".join(c for c in word if c.isalnum()).upper() or word, word, word]
    return (f" WHERE {' AND '.join(parts)}" if parts else ""), values


def _words(text: str) -> Sequence[str]:
    """What has to be found, each as serials are compared."""
    return [word for word in text.casefold().split() if word][:6]
