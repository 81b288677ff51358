"""Questions to the record. Each is one or two indexed look-ups.

A plus before a column keeps SQLite from choosing the index over it, which would find half the
fleet where the other column finds one asset.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from tagkit.record.clock import TOLERANCE_MS, WILD_JUMP_MS, reading
from tagkit.record.envelope import Event, split_id
from tagkit.record.folder import EVENT_COLUMNS, events_of, plain, read_event
from tagkit.record.journal import PERSON_MARK, find_event
from tagkit.record.receive import Parcel
from tagkit.record.schema import RARE_KINDS
from tagkit.record.state import AssetState, Person
from tagkit.record.store import Connection


@dataclass(frozen=True)
class Head:
    """The end of a chain."""

    site: str
    station: str
    epoch: str
    sequence: int
    hash: str

    def __str__(self) -> str:
        return f"{self.epoch} {self.sequence} {self.hash}"


def state(connection: Connection, tag: str) -> AssetState | None:
    """The present state of an asset."""
    text = state_text(connection, tag)
    return AssetState.from_json(text) if text is not None else None


def state_text(connection: Connection, tag: str) -> str | None:
    """The same as it is kept."""
    row = connection.execute("SELECT state FROM assets WHERE tag = ?", (tag,)).fetchone()
    return row[0] if row else None


def states(connection: Connection, kind: str | None) -> Iterator[AssetState]:
    """All states, by tag."""
    sql, parameters = (
        ("SELECT state FROM assets WHERE kind = ? ORDER BY tag", (kind,))
        if kind
        else ("SELECT state FROM assets ORDER BY tag", ())
    )
    for row in connection.execute(sql, parameters).fetchall():
        yield AssetState.from_json(row[0])


def held_by(connection: Connection, place: str) -> list[AssetState]:
    """The batteries placed there, by tag."""
    rows = connection.execute(
        "SELECT state FROM assets WHERE place = ? AND +kind = 'B'", (place,)
    ).fetchall()
    return sorted((AssetState.from_json(row[0]) for row in rows), key=lambda one: one.tag)


def by_words(connection: Connection, column: str, kind: str, words: str) -> AssetState | None:
    """The asset with these words in an indexed column; one in use before a retired one."""
    rows = connection.execute(
        f"SELECT state FROM assets WHERE {column} = ? AND +kind = ?", (plain(words), kind)
    ).fetchall()
    found = [AssetState.from_json(row[0]) for row in rows]
    found = [one for one in found if one.registered_at is not None]
    return min(found, key=lambda one: (one.retired_at is not None, one.tag), default=None)


def timeline(connection: Connection, tag: str, limit: int | None) -> list[Event]:
    """Events of an asset, newest first."""
    rows = connection.execute(
        f"SELECT {EVENT_COLUMNS} FROM event_tags t JOIN events e ON e.n = t.n "
        "JOIN chains c ON c.chain = e.chain WHERE t.tag = ? "
        "ORDER BY t.effective DESC, t.clock DESC, c.name DESC, e.sequence DESC LIMIT ?",
        (tag, -1 if limit is None else limit),
    ).fetchall()
    return [read_event(*row) for row in rows]


def last_of_kind(connection: Connection, tag: str, kind: str, limit: int) -> list[Event]:
    """The last events of one kind of an asset, newest first."""
    rows = connection.execute(
        f"SELECT {EVENT_COLUMNS} FROM event_tags t JOIN events e ON e.n = t.n "
        "JOIN chains c ON c.chain = e.chain WHERE t.tag = ? AND e.kind = ? "
        "ORDER BY t.effective DESC, t.clock DESC, c.name DESC, e.sequence DESC LIMIT ?",
        (tag, kind, limit),
    ).fetchall()
    return [read_event(*row) for row in rows]


_RARE = ", ".join(f"'{kind}'" for kind in RARE_KINDS)


_LATEST = (1 << 63) - 1


def happened(
    connection: Connection, kinds: Sequence[str], since: int, until: int, limit: int | None
) -> list[Event]:
    """Events of some kinds whose place in the order lies in a time (ms), newest first.

    Kinds of RARE_KINDS are found by an index of their own, whatever the time.
    """
    if not kinds:
        return []
    marks = ", ".join("?" for _ in kinds)
    rare = f" AND e.kind IN ({_RARE})" if set(kinds) <= set(RARE_KINDS) else ""
    rows = connection.execute(
        f"SELECT {EVENT_COLUMNS} FROM events e JOIN chains c ON c.chain = e.chain "
        f"WHERE e.apart = 0 AND e.effective >= ? AND e.effective < ? AND e.kind IN ({marks}){rare} "
        "ORDER BY e.effective DESC, e.clock DESC LIMIT ?",
        (since << 16, min(until << 16, _LATEST), *kinds, -1 if limit is None else limit),
    ).fetchall()
    return [read_event(*row) for row in rows]


def tally(connection: Connection, since: int, until: int) -> dict[str, int]:
    """How many events of each kind were recorded in a time (ms); cancelled ones don't count."""
    within = (since << 16, min(until << 16, _LATEST))
    counted: dict[str, int] = dict(
        connection.execute(
            "SELECT kind, count(*) FROM events WHERE apart = 0 AND effective >= ? "
            "AND effective < ? GROUP BY kind",
            within,
        ).fetchall()
    )
    # Few are cancelled: to take them off is quicker than to ask it of every event.
    cancelled = connection.execute(
        "SELECT e.kind, count(DISTINCT e.n) FROM voids v JOIN chains c ON c.epoch = v.epoch "
        "JOIN events e ON e.chain = c.chain AND e.sequence = v.sequence "
        "WHERE e.apart = 0 AND e.effective >= ? AND e.effective < ? GROUP BY e.kind",
        within,
    ).fetchall()
    for kind, count in cancelled:
        counted[kind] -= count
    return counted


def latest(connection: Connection) -> int:
    """The latest time of the record (ms): no event that counts is after it."""
    row = connection.execute("SELECT max(effective) FROM events WHERE apart = 0").fetchone()
    return int(row[0] or 0) >> 16


LONGEST_PAUSE_MS = 92 * WILD_JUMP_MS
"""A quarter of a year; no room stands still for longer. What comes after such a pause, and after
the present time, was written with a wrong date."""


def believable(connection: Connection, now_ms: int) -> int:
    """The latest time (ms) that the record proves to be past, whatever ``now_ms`` says.

    Where a computer's clock was set back, the record goes on beyond it without a long pause. One
    event with a date far ahead proves nothing, and neither do events that are set apart.
    """
    last = latest(connection)
    limit = reading(now_ms + TOLERANCE_MS)
    if last << 16 <= limit:
        return last
    proved = connection.execute(
        "SELECT coalesce((SELECT max(effective) FROM events WHERE apart = 0 AND effective <= ?), "
        "(SELECT min(effective) FROM events WHERE apart = 0))",
        (limit,),
    ).fetchone()[0]
    while True:
        further = connection.execute(
            "SELECT max(effective) FROM events WHERE apart = 0 AND effective <= ?",
            (proved + reading(LONGEST_PAUSE_MS),),
        ).fetchone()[0]
        if further <= proved:
            return int(proved) >> 16
        proved = further


def last_change(connection: Connection, of: str) -> Event | None:
    """The last change of an asset, or at a station."""
    known = state(connection, of)
    if known is not None:
        parts = split_id(known.last_change or "")
        return find_event(connection, *parts) if parts else None
    chains = connection.execute("SELECT chain FROM chains WHERE station = ?", (of,)).fetchall()
    found = [event for (chain,) in chains if (event := _last_change_in(connection, chain))]
    return max(found, key=lambda event: (event.effective, event.clock), default=None)


def changed_at(connection: Connection, station: str) -> bool:
    """Whether a change was ever logged at a station, cancelled ones too."""
    found = connection.execute(
        "SELECT 1 FROM events e JOIN chains c ON c.chain = e.chain "
        "WHERE c.station = ? AND e.kind = 'changed' AND e.apart = 0 LIMIT 1",
        (station,),
    )
    return found.fetchone() is not None


def _last_change_in(connection: Connection, chain: int) -> Event | None:
    rows = connection.execute(
        f"SELECT {EVENT_COLUMNS} FROM events e JOIN chains c ON c.chain = e.chain "
        "WHERE e.chain = ? AND e.kind = 'changed' AND e.apart = 0 ORDER BY e.sequence DESC",
        (chain,),
    )
    for row in rows:
        event = read_event(*row)
        if not event.voided:
            return event
    return None


def people(connection: Connection) -> dict[str, Person]:
    """Everyone who was authorised."""
    marks = connection.execute(
        "SELECT DISTINCT tag FROM event_tags WHERE tag >= ? AND tag < ?",
        (PERSON_MARK, chr(ord(PERSON_MARK) + 1)),
    ).fetchall()
    found = (person(connection, mark[len(PERSON_MARK) :]) for (mark,) in marks)
    return {one.code: one for one in found if one}


def person(connection: Connection, code: str) -> Person | None:
    """One person, by the last authorisation that stands and is understood.

    An authorisation that this program does not understand leaves nobody authorised: it may
    have taken the right away.
    """
    standing: Person | None = None
    for event in events_of(connection, PERSON_MARK + code):
        if event.voided or event.kind != "authorised":
            continue
        body = event.body
        standing = (
            Person(
                code, str(body["initials"]), body["role"], body["until"], body["reference"],
                event.id,
            )
            if event.known
            else None
        )  # fmt: skip
    return standing


def heads(connection: Connection) -> list[Head]:
    """The end of every chain."""
    rows = connection.execute(
        "SELECT site, station, epoch, head_sequence, head_hash FROM chains "
        "WHERE head_sequence > 0 ORDER BY name"
    ).fetchall()
    return [Head(*row) for row in rows]


def export(connection: Connection, have: Mapping[str, int]) -> Iterator[Parcel]:
    """The events beyond those named, chain by chain in order."""
    chains = connection.execute("SELECT chain, epoch FROM chains ORDER BY chain").fetchall()
    for chain, epoch in chains:
        rows = connection.execute(
            "SELECT raw, signature FROM events WHERE chain = ? AND sequence > ? ORDER BY sequence",
            (chain, have.get(epoch, 0)),
        )
        for raw, signature in rows:
            yield bytes(raw), bytes(signature)


def all_tags(connection: Connection) -> list[str]:
    """Every asset that an event names."""
    rows = connection.execute(
        "SELECT DISTINCT tag FROM event_tags WHERE tag NOT BETWEEN ? AND ?",
        (PERSON_MARK, chr(ord(PERSON_MARK) + 1)),
    ).fetchall()
    return [tag for (tag,) in rows]
