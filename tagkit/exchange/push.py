"""Sending this site's events to the exchange.

A batch is one transaction: events, their topics, the chain's end and the site's version become
visible together. The site's row is locked meanwhile, so that two programs of one site take
turns; where the exchange's end of a chain is known nothing is sent twice, and a batch that was
cut off leaves nothing behind.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import islice
from typing import TYPE_CHECKING

from tagkit.exchange.address import driver
from tagkit.exchange.layout import partition_of
from tagkit.exchange.topics import topics_of
from tagkit.record.envelope import Event, hash_of
from tagkit.record.folder import read_event
from tagkit.record.follow import CHAIN_MARK, OwnChain, StoredEvent

if TYPE_CHECKING:
    from tagkit.exchange.address import Connection
    from tagkit.record.record import Record

BATCH = 5_000
BATCH_BYTES = 8_000_000

Progress = Callable[[str, int, int], None]


@dataclass
class Sent:
    """What was sent."""

    events: int = 0
    forked: list[OwnChain] = field(default_factory=list)
    """Chains that somebody else goes on with differently, under the same key."""

    def add(self, more: Sent) -> None:
        """What was sent later, too."""
        self.events += more.events
        self.forked += more.forked


def push(record: Record, connection: Connection, step: Progress) -> Sent:
    """Sends every event of this site that the exchange does not have."""
    sent = Sent()
    own, forked = record.notes().own_chains(), record.notes().forked()
    there = _ends(connection, record.site, [chain.epoch for chain in own])
    total = sum(max(0, chain.sequence - there.get(chain.epoch, (0, ""))[0]) for chain in own)
    for chain in own:
        known = there.get(chain.epoch)
        if chain.epoch in forked:
            continue
        if known and not _agrees(record, connection, chain, known):
            sent.forked.append(chain)
            with record.noting() as notes:
                notes.abandon_chain(chain.epoch)
                # Not asked again at every exchange; what was recorded since goes a new way.
                notes.keep_cursor(record.site, chain.epoch, chain.sequence)
            continue
        done = known[0] if known else 0
        while done < chain.sequence:
            last = _send_batch(record, connection, chain, done)
            sent.events += max(0, last - done)
            done = max(last, done + 1)
            step("sending", sent.events, total)
        with record.noting() as notes:
            notes.keep_cursor(
                record.site, chain.epoch, max(chain.sequence, known[0] if known else 0)
            )
            notes.keep_head(chain.epoch, chain.sequence, chain.hash)
    return sent


def _ends(connection: Connection, site: str, epochs: list[str]) -> dict[str, tuple[int, str]]:
    """Epoch -> the last event of each chain at the exchange, and its hash.

    By the events, which nobody can change; the table of ends is there for others to look up,
    and whoever has the site's password may write anything into it.
    """
    rows = connection.execute(
        driver()
        .sql.SQL(
            "SELECT c.epoch, e.sequence, e.raw FROM unnest(%s::text[]) AS c(epoch) CROSS JOIN "
            "LATERAL (SELECT i.sequence, i.raw FROM {} i WHERE i.epoch = c.epoch "
            "ORDER BY i.sequence DESC LIMIT 1) e"
        )
        .format(partition_of("events", site)),
        (epochs,),
        binary=True,
    ).fetchall()
    return {epoch: (sequence, hash_of(bytes(raw))) for epoch, sequence, raw in rows}


def _agrees(
    record: Record, connection: Connection, chain: OwnChain, known: tuple[int, str]
) -> bool:
    """Whether the exchange's end of the chain is one of this record's events."""
    sequence, digest = known
    if sequence > chain.sequence:
        # The exchange has more: this record was restored, or is written by two. Which of the
        # two shows when that part comes here; but up to here it must be the same.
        row = connection.execute(
            driver()
            .sql.SQL("SELECT raw FROM {} WHERE epoch = %s AND sequence = %s")
            .format(partition_of("events", record.site)),
            (chain.epoch, chain.sequence),
        ).fetchone()
        return row is not None and hash_of(bytes(row[0])) == chain.hash
    return any(hash_of(raw) == digest for _, raw, _ in _events(record, chain, sequence - 1, 1))


def _events(record: Record, chain: OwnChain, after: int, limit: int) -> list[StoredEvent]:
    return list(islice(record.notes().events(chain.epoch, after, limit), limit))


def _send_batch(record: Record, connection: Connection, chain: OwnChain, after: int) -> int:
    """Sends the next events of a chain; the sequence that the exchange has it up to now."""
    site = record.site
    with connection.transaction():
        connection.execute("SELECT version FROM tagkit.sites WHERE site = %s FOR UPDATE", (site,))
        there, _ = _ends(connection, site, [chain.epoch]).get(chain.epoch, (0, ""))
        if there > after:
            return there  # another program of this site was faster
        stored = _cut(_events(record, chain, after, BATCH))
        if not stored:
            return chain.sequence
        topics = _topics(record, chain, after, stored)
        _copy(connection, site, chain.epoch, stored, topics)
        connection.execute(
            "INSERT INTO tagkit.directory SELECT t, %s FROM unnest(%s::text[]) t "
            "ON CONFLICT DO NOTHING",
            (site, sorted({topic for topic, _ in topics})),
        )
        last, raw, _ = stored[-1]
        connection.execute(
            "INSERT INTO tagkit.heads VALUES (%s, %s, %s, %s, %s, %s) "
            "ON CONFLICT (site, epoch) DO UPDATE SET sequence = excluded.sequence, "
            "hash = excluded.hash",
            (site, chain.epoch, chain.station, chain.public_key, last, hash_of(raw)),
        )
        connection.execute(
            # Never a number it had before, not even at an exchange brought back from a backup;
            # nor one beyond the last there is, if somebody with the password wrote that.
            "UPDATE tagkit.sites SET version = greatest("
            "CASE WHEN version < 9000000000000000000 THEN version + 1 END, "
            "(extract(epoch FROM clock_timestamp()) * 1000)::bigint), sent_at = now() "
            "WHERE site = %s",
            (site,),
        )
    return last


def _cut(stored: list[StoredEvent]) -> list[StoredEvent]:
    """So many that a batch stays small enough for any line."""
    size = 0
    for number, (_, raw, _) in enumerate(stored):
        size += len(raw)
        if size > BATCH_BYTES and number:
            return stored[:number]
    return stored


def _topics(
    record: Record, chain: OwnChain, after: int, stored: list[StoredEvent]
) -> list[tuple[str, int]]:
    """Topic and sequence for each event, and for the one before where the order needs it."""
    before: Event | None = None
    if after:
        before = next((read_event(raw, b"", 0) for _, raw, _ in _events(record, chain, after - 1, 1)),
                      None)  # fmt: skip
    found: set[tuple[str, int]] = set()
    for sequence, raw, signature in stored:
        event = read_event(raw, signature, 0)
        voids = None
        if event.kind == "voided" and event.known and isinstance(event.body["event"], str):
            voids = record.event(event.body["event"])
        mine = topics_of(event, voids, before.clock if before else None)
        found.update((topic, sequence) for topic in mine)
        if before and event.clock <= before.clock:
            found.add((f"{CHAIN_MARK}{chain.epoch}", before.sequence))
        before = event
    return sorted(found)


def _copy(
    connection: Connection,
    site: str,
    epoch: str,
    stored: list[StoredEvent],
    topics: list[tuple[str, int]],
) -> None:
    """By COPY; where some of it is there already (a batch written by other means), row by row."""
    psycopg = driver()
    sql = psycopg.sql
    events, asked = partition_of("events", site), partition_of("topics", site)
    try:
        with connection.transaction():
            with connection.cursor().copy(
                sql.SQL("COPY {} (epoch, sequence, raw, signature) FROM STDIN (FORMAT BINARY)")
                .format(events)
            ) as copy:  # fmt: skip
                copy.set_types(["text", "int8", "bytea", "bytea"])
                for sequence, raw, signature in stored:
                    copy.write_row((epoch, sequence, raw, signature))
            with connection.cursor().copy(
                sql.SQL("COPY {} (topic, epoch, sequence) FROM STDIN (FORMAT BINARY)").format(asked)
            ) as copy:
                copy.set_types(["text", "text", "int8"])
                for topic, sequence in topics:
                    copy.write_row((topic, epoch, sequence))
    except psycopg.errors.UniqueViolation:
        cursor = connection.cursor()
        cursor.executemany(
            sql.SQL(
                "INSERT INTO {} (epoch, sequence, raw, signature) VALUES (%s, %s, %s, %s) "
                "ON CONFLICT DO NOTHING"
            ).format(events),
            [(epoch, *event) for event in stored],
        )
        cursor.executemany(
            sql.SQL(
                "INSERT INTO {} (topic, epoch, sequence) VALUES (%s, %s, %s) ON CONFLICT DO NOTHING"
            ).format(asked),
            [(topic, epoch, sequence) for topic, sequence in topics],
        )
