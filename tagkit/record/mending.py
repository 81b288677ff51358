"""Rebuilding without keeping others from writing: compared beside, put right in moments.

A copy of the record as it stands at one moment is rebuilt (rebuild.py). What comes out
otherwise there is put right here in short transactions, on the one condition that events were
only added at the end meanwhile; else it is all looked at again. A sound record is not touched.
"""

from __future__ import annotations

import contextlib
import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tagkit.errors import WrongInput
from tagkit.record.ahead import Ahead
from tagkit.record.folder import Folder, Foreseen, count_again, times_folded_again
from tagkit.record.rebuild import Progress, rebuild
from tagkit.record.store import Connection, sqlite_connection

Transaction = Callable[[], AbstractContextManager[None]]

ATTEMPTS = 3
"""How often it is compared before the lock is held throughout after all."""

LISTS = ("event_tags", "voids", "cites", "aside")
_KEPT = dict.fromkeys((*LISTS, "checkpoints", "assets", "serials"), "*") | {
    "events": "n, kind, clock, effective, apart",
    "chains": "chain, head_sequence, head_hash",
}


@dataclass
class _Found:
    """What was otherwise in the copy."""

    sentences: list[str]
    times: int
    gone: dict[str, list[tuple[Any, ...]]] = field(default_factory=dict)
    """Table -> rows that must not be there as they are."""
    right: dict[str, list[tuple[Any, ...]]] = field(default_factory=dict)
    """Table -> rows as they must be."""

    @property
    def tags(self) -> list[str]:
        """Assets whose state or checkpoints are not as the events give them."""
        rows = [
            row[0]
            for part in (self.gone, self.right)
            for table in ("assets", "checkpoints")
            for row in part[table]
        ]
        return sorted(dict.fromkeys(rows), key=str)


def mend(
    path: Path, connection: Connection, transaction: Transaction, longest_hold: float,
    progress: Progress,
) -> list[str]:  # fmt: skip
    """Makes everything beside the journal as the events give it; a sentence for each thing that
    was otherwise. ``connection`` has no transaction open."""
    told: list[str] = []
    for _ in range(ATTEMPTS):
        with _copy(path) as copy:
            found = _compare(copy, progress)
        told += found.sentences
        if _put_lists(connection, transaction, found, longest_hold):
            put_states(connection, transaction, found.tags, longest_hold)
            return list(dict.fromkeys(told))
    with transaction():
        return list(dict.fromkeys([*told, *rebuild(connection, progress)]))


def put_states(
    connection: Connection, transaction: Transaction, tags: list[str], longest_hold: float
) -> None:
    """Folds these assets anew from all their events, a few at a time: before the lock is taken,
    which is held for putting them in place."""
    waiting, ahead = tags[::-1], Ahead(connection)
    while waiting:
        states: dict[str, Foreseen] = {}
        end = time.monotonic() + longest_hold
        while waiting and not (states and time.monotonic() > end):
            tag = waiting.pop()
            states[tag] = ahead.fold(tag)
        with transaction():
            folder = Folder(connection)
            folder.foreseen(states)
            for tag in states:
                # Columns that no update would touch are made anew, too.
                connection.execute("DELETE FROM assets WHERE tag = ?", (tag,))
                folder.put(tag)
            folder.flush()


@contextlib.contextmanager
def _copy(path: Path) -> Iterator[Connection]:
    """The record as it stands, in a file of its own that is thrown away."""
    try:
        folder = Path(tempfile.mkdtemp(prefix="rebuild-", dir=path.parent))
    except OSError as error:
        raise WrongInput(
            f"a copy to compare with can't be written: {error.strerror}",
            "Check that this user may write there and that the disk is not full",
            str(path.parent),
        ) from None
    try:
        (folder / path.name).touch()
        with (
            contextlib.closing(sqlite_connection(path)) as source,
            contextlib.closing(sqlite_connection(folder / path.name)) as copy,
        ):
            source.backup(copy)
            # Nothing in it is to last.
            for setting in ("journal_mode = OFF", "synchronous = OFF", "temp_store = FILE"):
                copy.execute(f"PRAGMA {setting}")
            yield copy
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _compare(copy: Connection, progress: Progress) -> _Found:
    for table, columns in _KEPT.items():
        copy.execute(f"CREATE TEMP TABLE was_{table} AS SELECT {columns} FROM main.{table}")
    times = times_folded_again(copy)
    copy.execute("BEGIN")
    found = _Found(rebuild(copy, progress), times)
    copy.execute("COMMIT")
    for table, columns in _KEPT.items():
        was, now = f"SELECT * FROM was_{table}", f"SELECT {columns} FROM main.{table}"
        found.gone[table] = copy.execute(f"{was} EXCEPT {now}").fetchall()
        found.right[table] = copy.execute(f"{now} EXCEPT {was}").fetchall()
    return found


def _put_lists(
    connection: Connection, transaction: Transaction, found: _Found, longest_hold: float
) -> bool:
    """Puts the lists, columns, ends and counters right, some at a time; False when it can't be
    known any more how they must be."""
    steps, times = list(_steps(connection, found))[::-1], found.times
    while steps:
        with transaction():
            end = time.monotonic() + longest_hold
            if times_folded_again(connection) != times:
                return False
            while steps and time.monotonic() < end:
                connection.execute(*steps.pop())
            count_again(connection)
            times += 1
    return True


def _steps(connection: Connection, found: _Found) -> Iterator[tuple[str, tuple[Any, ...]]]:
    for table in LISTS:
        for row in found.gone[table]:
            yield f"DELETE FROM {table} WHERE {_same(connection, table)}", row
        for row in found.right[table]:
            yield f"INSERT OR IGNORE INTO {table} VALUES ({', '.join('?' * len(row))})", row
    for n, *columns in found.right["events"]:
        change = "UPDATE events SET kind = ?, clock = ?, effective = ?, apart = ? WHERE n = ?"
        yield change, (*columns, n)
    before = {row[0]: row[1:] for row in found.gone["chains"]}
    for chain, *end in found.right["chains"]:
        change = (
            "UPDATE chains SET head_sequence = ?, head_hash = ? "
            "WHERE chain = ? AND head_sequence IS ? AND head_hash IS ?"
        )
        yield change, (*end, chain, *before[chain])
    for row in found.right["serials"]:
        change = (
            "INSERT INTO serials VALUES (?, ?) ON CONFLICT (kind) DO UPDATE SET last = CASE "
            "WHEN typeof(last) = 'integer' THEN max(last, excluded.last) ELSE excluded.last END"
        )
        yield change, row


def _same(connection: Connection, table: str) -> str:
    columns = connection.execute(f"PRAGMA table_info({table})").fetchall()
    return " AND ".join(f"{column[1]} IS ?" for column in columns)
