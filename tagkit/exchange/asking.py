"""What is asked of the exchange when events are fetched, each answer small whatever is there.

Whoever has the rights of a site can write as many rows of its own as the database holds: ends of
chains that do not exist, places of no event, events of no bytes. So nothing is asked for whole.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from contextlib import closing
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tagkit.exchange.address import driver
from tagkit.exchange.layout import partition_of

if TYPE_CHECKING:
    from tagkit.exchange.address import Connection

WINDOW = 20_000
"""Sequences of a chain that are asked for at once: an answer stays small, and what has come is
kept when the line breaks."""

WINDOW_BYTES = 32_000_000
"""An answer of largest events stays small in memory, too."""

ROW_BYTES = 200
"""What a row takes in memory beside its bytes, at least."""

STREAMED = 20
"""Rows that are handed over together; of largest events that is 20 MB."""

LARGEST_FIRST = 100_000
"""Bytes of the event that begins a chain."""

LAST = 1 << 53
"""The last sequence that an event can have."""

Row = tuple[str, int, bytes, bytes]
"""Epoch, sequence, stored bytes, signature."""


@dataclass(frozen=True)
class End:
    """The end of a chain, as its site says."""

    epoch: str
    sequence: int


def ends_of(connection: Connection, site: str, epochs: Sequence[str]) -> list[End]:
    """The ends of these chains of a site."""
    rows = connection.execute(
        "SELECT epoch, sequence FROM tagkit.heads WHERE site = %s AND epoch = ANY(%s) "
        "ORDER BY epoch",
        (site, list(epochs)),
    ).fetchall()
    return [End(epoch, min(sequence, LAST)) for epoch, sequence in rows]


def ends_after(connection: Connection, site: str, epoch: str, most: int) -> list[End]:
    """The ends of so many chains of a site, from after one on."""
    rows = connection.execute(
        "SELECT epoch, sequence FROM tagkit.heads WHERE site = %s AND epoch > %s "
        "ORDER BY epoch LIMIT %s",
        (site, epoch, most),
    ).fetchall()
    return [End(epoch, min(sequence, LAST)) for epoch, sequence in rows]


def having_next(connection: Connection, site: str, after: dict[str, int]) -> set[str]:
    """Those of these chains that have an event right behind the sequence named for each."""
    rows = connection.execute(
        driver()
        .sql.SQL(
            "SELECT w.epoch FROM unnest(%s::text[], %s::bigint[]) AS w(epoch, sequence) "
            "JOIN {} e ON e.epoch = w.epoch AND e.sequence = w.sequence + 1"
        )
        .format(partition_of("events", site)),
        (list(after), list(after.values())),
    ).fetchall()
    return {epoch for (epoch,) in rows}


def contiguous(connection: Connection, site: str, epoch: str, after: int, until: int) -> int:
    """Up to which sequence the exchange has every event of the chain."""
    sql = driver().sql
    events = partition_of("events", site)
    row = connection.execute(
        sql.SQL(
            "SELECT count(*) FROM {} WHERE epoch = %s AND sequence > %s AND sequence <= %s"
        ).format(events),
        (epoch, after, until),
    ).fetchone()
    if row and row[0] == until - after:
        return until
    # Something is missing: the end of the run that begins at the cursor.
    row = connection.execute(
        sql.SQL(
            "SELECT max(sequence) FROM (SELECT sequence, row_number() OVER (ORDER BY sequence) n "
            "FROM {} WHERE epoch = %s AND sequence > %s AND sequence <= %s) s "
            "WHERE sequence = %s + n"
        ).format(events),
        (epoch, after, until, after),
    ).fetchone()
    return int(row[0]) if row and row[0] else after


def first_events(connection: Connection, site: str, epochs: Sequence[str]) -> list[Row]:
    """The first events of chains; those that are too large to be one are left out."""
    found: list[Row] = []
    more = True
    while more:
        some, more = rows(
            connection,
            driver()
            .sql.SQL(
                "SELECT epoch, sequence, raw, signature FROM {} WHERE epoch = ANY(%s) "
                "AND sequence = 1 AND octet_length(raw) <= %s AND epoch > %s ORDER BY epoch"
            )
            .format(partition_of("events", site)),
            (list(epochs), LARGEST_FIRST, found[-1][0] if found else ""),
        )
        found += some
    return found


def events_between(
    connection: Connection,
    site: str,
    epoch: str,
    topics: Sequence[str],
    after: int,
    until: int,
    here: dict[int, bytes],
) -> tuple[list[Row], int, int]:
    """The events of a chain within (after, until] that are asked for by one of these topics and
    are not here; how many are; and up to where the answer came, which is less when it became
    too large.

    What is here already does not come again: of events around here only the signatures are
    asked for first. No two events have the same one.
    """
    sql = driver().sql
    events = partition_of("events", site)
    meant = sql.SQL(
        "e.sequence IN (SELECT t.sequence FROM {} t WHERE t.topic = ANY(%s) AND t.epoch = %s "
        "AND t.sequence > %s AND t.sequence <= %s)"
    ).format(partition_of("topics", site))
    which: tuple[object, ...] = (list(topics), epoch, after, until)
    there = 0
    if here:
        found = connection.execute(
            sql.SQL(
                "SELECT e.sequence, e.signature FROM {} e WHERE e.epoch = %s AND {} "
                "ORDER BY e.sequence LIMIT %s"
            ).format(events, meant),
            (epoch, *which, WINDOW),
            binary=True,
        ).fetchall()
        if len(found) == WINDOW:
            until = found[-1][0]
        lacking = [sequence for sequence, signature in found if here.get(sequence) != signature]
        there = len(found) - len(lacking)
        if not lacking:
            return [], there, until
        meant, which = sql.SQL("e.sequence = ANY(%s)"), (lacking,)
    found_rows, cut = rows(
        connection,
        sql.SQL(
            "SELECT e.epoch, e.sequence, e.raw, e.signature FROM {} e WHERE e.epoch = %s "
            "AND {} ORDER BY e.sequence"
        ).format(events, meant),
        (epoch, *which),
    )
    return found_rows, there, found_rows[-1][1] if cut else until


def own_events(connection: Connection, site: str, epoch: str, after: int) -> list[Row]:
    """The next events of a chain of this site, all of them."""
    found, _ = rows(
        connection,
        driver()
        .sql.SQL(
            "SELECT epoch, sequence, raw, signature FROM {} WHERE epoch = %s "
            "AND sequence > %s ORDER BY sequence LIMIT %s"
        )
        .format(partition_of("events", site)),
        (epoch, after, WINDOW),
    )
    return found


@dataclass(frozen=True)
class Part:
    """What a chain has of the topics that were asked for: how many places, from where to where."""

    epoch: str
    places: int
    first: int
    last: int


def parts_of(
    connection: Connection, site: str, topics: Sequence[str], after: str, most: int
) -> list[Part]:
    """So many chains that have places of these topics, from after one on."""
    found = connection.execute(
        driver()
        .sql.SQL(
            "SELECT epoch, count(*), min(sequence), max(sequence) FROM {} "
            "WHERE topic = ANY(%s) AND epoch > %s AND sequence > 0 AND sequence <= %s "
            "GROUP BY epoch ORDER BY epoch LIMIT %s"
        )
        .format(partition_of("topics", site)),
        (list(topics), after, LAST, most),
    ).fetchall()
    return [Part(*row) for row in found]


def events_of_many(
    connection: Connection,
    site: str,
    topics: Sequence[str],
    epochs: Sequence[str],
    without: Collection[str],
    after: tuple[str, int],
) -> tuple[list[Row], bool]:
    """The events of these chains, which are all that there are from the first to the last but
    ``without``, that are asked for by one of these topics, in the order of epoch and sequence,
    from after a place on; and whether that is not all."""
    sql = driver().sql
    return rows(
        connection,
        sql.SQL(
            "SELECT e.epoch, e.sequence, e.raw, e.signature FROM (SELECT DISTINCT t.epoch, "
            "t.sequence FROM {} t WHERE t.topic = ANY(%s) AND t.epoch >= %s AND t.epoch <= %s "
            "AND t.epoch <> ALL(%s) AND (t.epoch, t.sequence) > (%s, %s)) w "
            "JOIN {} e ON e.epoch = w.epoch AND e.sequence = w.sequence "
            "ORDER BY e.epoch, e.sequence"
        ).format(partition_of("topics", site), partition_of("events", site)),
        (list(topics), after[0] or epochs[0], epochs[-1], list(without), *after),
    )


def rows(connection: Connection, query: Any, values: tuple[object, ...]) -> tuple[list[Row], bool]:
    """The answer, and whether it was cut off because it became too large to be held at once."""
    found: list[Row] = []
    size = 0
    together = STREAMED if driver().pq.version() >= 170_000 else 1
    with connection.cursor() as cursor:
        answer: Any = cursor.stream(query, values, binary=True, size=together)
        with closing(answer):
            for row in answer:
                found.append(row)
                size += len(row[2]) + len(row[3]) + ROW_BYTES
                if size > WINDOW_BYTES or len(found) > WINDOW:
                    return found, True
    return found, False
