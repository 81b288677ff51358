"""The tables of the record, made and brought up to date by sqlite-utils' migrations.

sqlite-utils is imported only when there is something to migrate: importing it takes longer
than a look-up. Whether there is tells the file's ``user_version``.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sqlite_utils import Database

APPLICATION_ID = 0x7A61_6B74
"""Marks the file as a record, in SQLite's header."""


def _m001_journal(db: Database) -> None:
    """Chains, events, and the indexes by asset and time."""
    db.execute("CREATE TABLE meta (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID")
    db.execute("""CREATE TABLE chains (
        chain INTEGER PRIMARY KEY,
        site TEXT NOT NULL, station TEXT NOT NULL, epoch TEXT NOT NULL UNIQUE,
        name TEXT NOT NULL UNIQUE,      -- site, station, epoch: the last word in the order
        public_key BLOB NOT NULL,
        writable INTEGER NOT NULL,      -- 1: this record's own, still written to
        head_sequence INTEGER NOT NULL, head_hash TEXT NOT NULL)""")
    db.execute("""CREATE TABLE events (
        n INTEGER PRIMARY KEY,          -- order of arrival; means nothing
        chain INTEGER NOT NULL REFERENCES chains,
        sequence INTEGER NOT NULL,
        kind TEXT NOT NULL,
        clock INTEGER NOT NULL, effective INTEGER NOT NULL,
        apart INTEGER NOT NULL,         -- 1: its clock is wild, not folded until it is sane
        raw BLOB NOT NULL, signature BLOB NOT NULL)""")
    db.execute("CREATE UNIQUE INDEX events_by_chain ON events (chain, sequence)")
    db.execute("CREATE INDEX events_by_time ON events (effective) WHERE apart = 0")
    db.execute("CREATE INDEX events_apart ON events (effective) WHERE apart = 1")
    db.execute("""CREATE TABLE event_tags (
        tag TEXT NOT NULL, effective INTEGER NOT NULL, clock INTEGER NOT NULL,
        n INTEGER NOT NULL REFERENCES events,
        PRIMARY KEY (tag, effective, clock, n)) WITHOUT ROWID""")
    db.execute("""CREATE TABLE voids (
        epoch TEXT NOT NULL, sequence INTEGER NOT NULL, n INTEGER NOT NULL REFERENCES events,
        PRIMARY KEY (epoch, sequence, n)) WITHOUT ROWID""")
    db.execute("""CREATE TABLE cites (   -- n comes after this event of another chain
        epoch TEXT NOT NULL, sequence INTEGER NOT NULL, n INTEGER NOT NULL REFERENCES events,
        PRIMARY KEY (epoch, sequence, n)) WITHOUT ROWID""")


def _m002_state(db: Database) -> None:
    """What is folded from the events; all of it can be made again."""
    db.execute("""CREATE TABLE assets (
        tag TEXT PRIMARY KEY, kind TEXT NOT NULL,
        effective INTEGER NOT NULL, clock INTEGER NOT NULL,  -- of the last event folded in
        place TEXT, maker_serial TEXT, fleet_number TEXT,
        state TEXT NOT NULL) WITHOUT ROWID""")
    db.execute("CREATE INDEX assets_by_place ON assets (place) WHERE place IS NOT NULL")
    db.execute(
        "CREATE INDEX assets_by_serial ON assets (maker_serial) WHERE maker_serial IS NOT NULL"
    )
    db.execute(
        "CREATE INDEX assets_by_fleet ON assets (fleet_number) WHERE fleet_number IS NOT NULL"
    )
    db.execute("CREATE INDEX assets_by_kind ON assets (kind, tag)")
    db.execute("""CREATE TABLE checkpoints (
        tag TEXT NOT NULL, effective INTEGER NOT NULL, clock INTEGER NOT NULL,
        state TEXT NOT NULL,
        PRIMARY KEY (tag, effective, clock)) WITHOUT ROWID""")
    db.execute("CREATE TABLE serials (kind TEXT PRIMARY KEY, last INTEGER NOT NULL) WITHOUT ROWID")


def _m003_outlook(db: Database) -> None:
    """What the states mean for today, by the site's settings; all of it can be made again."""
    db.execute("""CREATE TABLE outlook (
        tag TEXT PRIMARY KEY, kind TEXT NOT NULL,
        standing TEXT NOT NULL,         -- ready for use by the record, on charge, held, ...
        ready_at TEXT, rested_since TEXT,
        volts REAL, kilograms REAL,
        sisters TEXT, thirst REAL,      -- batteries of its kind; what it drinks
        content TEXT NOT NULL) WITHOUT ROWID""")
    db.execute("""CREATE INDEX outlook_by_rotation ON outlook (volts, standing, rested_since, tag)
        WHERE volts IS NOT NULL""")
    db.execute("CREATE INDEX outlook_by_standing ON outlook (kind, standing, ready_at)")
    db.execute(
        "CREATE INDEX outlook_by_sisters ON outlook (sisters, thirst) WHERE thirst IS NOT NULL"
    )
    db.execute("""CREATE TABLE notices (   -- what is to be told of an asset from a moment on
        tag TEXT NOT NULL, code TEXT NOT NULL, cell INTEGER NOT NULL,
        at TEXT NOT NULL, rank INTEGER NOT NULL, sentence TEXT NOT NULL,
        PRIMARY KEY (tag, code, cell)) WITHOUT ROWID""")
    db.execute("CREATE INDEX notices_by_rank ON notices (rank, at, code)")
    db.execute("CREATE TABLE unjudged (tag TEXT PRIMARY KEY) WITHOUT ROWID")
    db.execute("INSERT INTO unjudged SELECT tag FROM assets")
    kinds = ", ".join(f"'{kind}'" for kind in RARE_KINDS)
    db.execute(f"CREATE INDEX events_rare ON events (kind, effective) WHERE kind IN ({kinds})")


RARE_KINDS = (
    "incident", "held", "released", "repaired", "inspected", "capacity_tested", "cleaned",
    "retired", "registered", "amended",
)  # fmt: skip
"""Kinds that reports ask for by themselves; the index by them stays small. A query uses it only
when it names the same list. Other kinds take a step of their own."""


def _m004_exchange(db: Database) -> None:
    """What is had from the exchange with other sites' records."""
    # 0: of this chain only the events of followed assets are here.
    db.execute("ALTER TABLE chains ADD COLUMN whole INTEGER NOT NULL DEFAULT 1")
    db.execute("""CREATE TABLE followed (   -- assets and other topics asked for at the exchange
        topic TEXT PRIMARY KEY,
        complete INTEGER NOT NULL           -- 1: its earlier events have come too
        ) WITHOUT ROWID""")
    db.execute("CREATE INDEX followed_anew ON followed (topic) WHERE complete = 0")
    db.execute("""CREATE TABLE aside (      -- assets that events of such chains name besides
        tag TEXT NOT NULL, n INTEGER NOT NULL REFERENCES events,
        PRIMARY KEY (tag, n)) WITHOUT ROWID""")
    db.execute("""CREATE TABLE exchange_sites (
        site TEXT PRIMARY KEY, version INTEGER NOT NULL) WITHOUT ROWID""")
    db.execute("""CREATE TABLE exchange_chains (   -- up to where a chain was asked for or sent
        epoch TEXT PRIMARY KEY,             -- SITE/EPOCH
        sequence INTEGER NOT NULL) WITHOUT ROWID""")
    db.execute("""CREATE TABLE exchange_heads (    -- ends of this site's chains, as others saw them
        epoch TEXT PRIMARY KEY, sequence INTEGER NOT NULL, hash TEXT NOT NULL) WITHOUT ROWID""")


ODD = " OR ".join(
    f"instr(state, '\"{word}\":') > 0" for word in ("retired_at", "unsettled", "unknown_kinds")
)
"""Assets that may contradict something by themselves. What stands at its default is left out of
a state's text, so that few have one of these words. A query uses the index only with this text."""


def _m005_odd(db: Database) -> None:
    """Finding what contradicts itself without reading every state."""
    db.execute(f"CREATE INDEX assets_odd ON assets (tag) WHERE {ODD}")


def _m006_notices(db: Database) -> None:
    """Counting notices by what they tell, without sorting them."""
    db.execute("CREATE INDEX notices_by_code ON notices (rank, code, at)")


def _m007_morning(db: Database) -> None:
    """The rotation, the thirst of sisters and the day's tally answered by indexes alone."""
    db.execute("ALTER TABLE outlook ADD COLUMN overcharge REAL")  # beside thirst: its share, %
    db.execute("UPDATE outlook SET overcharge = json_extract(content, '$.overcharge')")
    db.execute("DROP INDEX outlook_by_rotation")
    db.execute("""CREATE INDEX outlook_by_rotation
        ON outlook (volts, standing, rested_since, tag, kilograms) WHERE volts IS NOT NULL""")
    db.execute("DROP INDEX outlook_by_sisters")
    db.execute("""CREATE INDEX outlook_by_sisters ON outlook (sisters, thirst, tag, overcharge)
        WHERE thirst IS NOT NULL""")
    db.execute("DROP INDEX events_by_time")
    db.execute("CREATE INDEX events_by_time ON events (effective, kind) WHERE apart = 0")


def _m008_told(db: Database) -> None:
    """How many notices there are of each sort, so that a list need not count them all."""
    db.execute("""CREATE TABLE told (
        rank INTEGER NOT NULL, code TEXT NOT NULL, count INTEGER NOT NULL,
        PRIMARY KEY (rank, code)) WITHOUT ROWID""")
    db.execute("INSERT INTO told SELECT rank, code, count(*) FROM notices GROUP BY rank, code")


STEPS: tuple[Callable[[Database], None], ...] = (
    _m001_journal,
    _m002_state,
    _m003_outlook,
    _m004_exchange,
    _m005_odd,
    _m006_notices,
    _m007_morning,
    _m008_told,
)
SCHEMA_VERSION = len(STEPS)


def migrate(connection: sqlite3.Connection) -> None:
    """Brings the file up to date, all steps or none.

    What is to be done is looked up with the write lock held: after an update of the program
    several of them open the same file at once.
    """
    from sqlite_utils import Database
    from sqlite_utils.migrations import Migrations

    migrations = Migrations("tagkit.record")
    for number, step in enumerate(STEPS, 1):
        migrations(name=step.__name__.lstrip("_"))(_numbered(step, number))
    connection.execute("BEGIN IMMEDIATE")
    try:
        migrations.apply(Database(connection, execute_plugins=False))
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def _numbered(step: Callable[[Database], None], number: int) -> Callable[[Database], None]:
    def numbered(db: Database) -> None:
        step(db)
        db.execute(f"PRAGMA user_version = {number}")
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")

    numbered.__name__ = step.__name__
    return numbered
