"""The file ``access.db`` in the site's folder: shifts, stations, PINs, tries, answered forms.

It is apart from the record: nothing here says what happened to a battery, and none of it is
exchanged or kept for ever. Tokens are kept as hashes only.
"""

from __future__ import annotations

import hashlib
import os
import secrets
import shutil
import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

from tagkit.errors import Busy, TagkitError, WrongInput
from tagkit.record.read_only import files_copied, no_room_to_open
from tagkit.record.store import translated

FILE_NAME = "access.db"
_VERSION = 1

_TABLES = """
CREATE TABLE meta (name TEXT PRIMARY KEY, value TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE shifts (          -- one for each browser in which somebody has begun one
    token TEXT PRIMARY KEY, person TEXT NOT NULL, proof TEXT NOT NULL,
    opened REAL NOT NULL, seen REAL NOT NULL) WITHOUT ROWID;
CREATE TABLE stations (
    name TEXT PRIMARY KEY, token TEXT NOT NULL UNIQUE, by TEXT NOT NULL,
    enrolled REAL NOT NULL, seen REAL NOT NULL) WITHOUT ROWID;
CREATE TABLE enrolments (      -- one-time codes
    code TEXT PRIMARY KEY, station TEXT NOT NULL, by TEXT NOT NULL,
    expires REAL NOT NULL) WITHOUT ROWID;
CREATE TABLE pins (person TEXT PRIMARY KEY, hash TEXT NOT NULL, chosen REAL NOT NULL) WITHOUT ROWID;
CREATE TABLE tries (subject TEXT NOT NULL, at REAL NOT NULL);
CREATE INDEX tries_by_subject ON tries (subject, at);
CREATE TABLE preferences (
    person TEXT PRIMARY KEY, language TEXT NOT NULL, units TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE answers (         -- forms and calls that must not act twice
    key TEXT PRIMARY KEY, content TEXT NOT NULL, at REAL NOT NULL,
    status INTEGER, headers TEXT, body BLOB) WITHOUT ROWID;
CREATE INDEX answers_by_time ON answers (at);
"""


class AccessStore:
    """The opened file. One connection, used by one thread at a time.

    A disk that is full or can't be written, and a file that is locked, are told as Busy.
    ``for_now``: while it can't be written, or its disk has no room for opening it, what is in it
    is read, and changes last until it can be, at most as long as it is open.
    """

    def __init__(self, directory: Path, *, for_now: bool = False) -> None:
        self.path = directory / FILE_NAME
        self._lock = threading.RLock()
        self._in_memory = for_now and not _can_be_kept(self.path)
        self._connection = (_in_memory if self._in_memory else _on_disk)(self.path)
        self.secret = self._prepared()
        """Known to this site alone; tokens of forms are made with it."""

    def _prepared(self) -> bytes:
        """The secret, once the tables are there."""
        with self.writing():
            if self.one("PRAGMA user_version") == (0,):
                for statement in _TABLES.split(";\n"):
                    if statement.strip():
                        self.run(statement)
                self.run("INSERT INTO meta VALUES ('secret', ?)", (secrets.token_hex(32),))
                self.run(f"PRAGMA user_version = {_VERSION}")
            (secret,) = self.one("SELECT value FROM meta WHERE name = 'secret'") or ("",)
        return bytes.fromhex(secret)

    @contextmanager
    def _using(self) -> Iterator[None]:
        """Nobody else meanwhile; in the file again as soon as that can be kept."""
        with self._lock, translated(self.path):
            if self._in_memory and not self._connection.in_transaction and _can_be_kept(self.path):
                with suppress(TagkitError):  # then it stays in memory
                    kept = _on_disk(self.path)
                    self._connection.close()
                    self._connection, self._in_memory = kept, False
                    self.secret = self._prepared()
            yield

    @contextmanager
    def writing(self) -> Iterator[None]:
        """All of the block or none of it, with nobody else writing meanwhile."""
        with self._using():
            if self._connection.in_transaction:
                yield
                return
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._connection.execute("COMMIT")
            except BaseException:
                self._undo()
                raise

    def _undo(self) -> None:
        if self._connection.in_transaction:  # SQLite may have undone it already
            self._connection.execute("ROLLBACK")

    def one(self, sql: str, values: Sequence[Any] = ()) -> tuple[Any, ...] | None:
        """The first row, or None."""
        with self._using():
            row: tuple[Any, ...] | None = self._connection.execute(sql, values).fetchone()
            return row

    def all(self, sql: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Every row."""
        with self._using():
            return list(self._connection.execute(sql, values).fetchall())

    def run(self, sql: str, values: Sequence[Any] = ()) -> int:
        """Run one statement; how many rows it changed."""
        with self._using():
            return int(self._connection.execute(sql, values).rowcount)

    def note(self, sql: str, values: Sequence[Any] = ()) -> None:
        """The same for what may as well be lost: a page must not fail because of it."""
        with suppress(Busy):
            self.run(sql, values)

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            self._connection.close()


def hashed(token: str) -> str:
    """How a random token is kept: whoever reads the file can't use it."""
    return hashlib.sha256(token.encode("utf-8", "surrogateescape")).hexdigest()


def _on_disk(path: Path) -> sqlite3.Connection:
    _make_private(path)
    with translated(path):
        made = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=10)
        made.execute("PRAGMA journal_mode = WAL")
        # An answered form must still count as answered after a power cut.
        made.execute("PRAGMA synchronous = FULL")
    return made


def _make_private(path: Path) -> None:
    """The file, readable by this user only where the system knows that."""
    try:
        os.close(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600))
    except FileExistsError:
        pass
    except OSError as error:
        raise WrongInput(
            f"the shifts and PINs of this site can't be written: {error.strerror}",
            "Check that this user may write there",
            str(path),
        ) from None


def _can_be_kept(path: Path) -> bool:
    if not os.access(path.parent, os.W_OK) or no_room_to_open(path):
        return False
    if path.exists():
        return os.access(path, os.W_OK)
    return shutil.disk_usage(path.parent).free > NEW_BYTES


NEW_BYTES = 300_000
"""What a new file takes with its log and its index."""


def _in_memory(path: Path) -> sqlite3.Connection:
    """What is in the file, where this user may read it."""
    made = sqlite3.connect(":memory:", isolation_level=None, check_same_thread=False)
    if not os.access(path, os.R_OK):
        return made
    folder = files_copied(path)
    try:
        with closing(sqlite3.connect(folder / path.name)) as copy:
            copy.execute("PRAGMA journal_mode = DELETE")  # there is no log in memory
            copy.backup(made)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return made
