"""The file ``record.db``: opening it, what its errors mean, and whether it is the same file.

SQLite in WAL mode with ``synchronous=FULL``: a change is on the disk before it is confirmed.
Writing uses nothing but ``execute`` with explicit BEGIN, COMMIT and ROLLBACK, so any connection
that can do that serves.
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
import time
from collections.abc import Callable, Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any, Protocol

from tagkit.errors import Busy, NotFound, TagkitError, WrongInput
from tagkit.record.envelope import MalformedEvent
from tagkit.record.queue import Queue
from tagkit.record.schema import APPLICATION_ID, SCHEMA_VERSION, migrate
from tagkit.record.state import MalformedState

FILE_NAME = "record.db"
KEYS_NAME = "keys"
BUSY_TIMEOUT_MS = 10_000

_BUSY = 5
"""SQLite's result code for a file that somebody else has locked."""

_CORRUPT = 11
"""SQLite's result code for a file that is not as it was written."""

_UNREADABLE = ("Could not decode", "no such column", "no such table", "malformed")


class Connection(Protocol):
    """What the record asks of a connection; rows are tuples."""

    def execute(self, sql: str, parameters: Sequence[Any] = (), /) -> Any:
        """Runs one statement; the result gives rows by iterating, fetchone and fetchall."""
        ...

    def close(self) -> None:
        """Lets go of the file."""
        ...


Connect = Callable[[Path], Connection]


def sqlite_connection(path: Path) -> sqlite3.Connection:
    """A connection without transactions of its own."""
    return _connection(path, check_same_thread=True)


def lent_connection(path: Path) -> sqlite3.Connection:
    """The same, to be handed from thread to thread; one uses it at a time."""
    return _connection(path, check_same_thread=False)


def _connection(path: Path, check_same_thread: bool) -> sqlite3.Connection:
    return sqlite3.connect(
        f"{path.absolute().as_uri()}?mode=rw",
        uri=True,
        isolation_level=None,
        timeout=BUSY_TIMEOUT_MS / 1000,
        cached_statements=256,
        check_same_thread=check_same_thread,
    )


def open_file(path: Path, connect: Connect = sqlite_connection) -> Connection:
    """A connection to the record at ``path``, up to date and safe to write to."""
    if not path.is_file():
        raise NotFound(
            "there is no record here",
            "Begin a site with “tagkit init”, or name its folder with --site",
            str(path.parent),
        )
    with translated(path):
        connection = connect(path)
        try:
            connection.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")
            _check_version(path, connection)
            make_durable(connection)
        except BaseException:
            connection.close()
            raise
    return connection


def begin(connection: Connection, queue: Queue | None = None) -> None:
    """Takes the write lock, in one's turn; Busy is for the caller to tell.

    The turn is kept until the caller says ``queue.leave()``, after the transaction. Who does not
    queue (a migration, a person with another program) is waited for as SQLite does it.
    """
    if queue:
        queue.enter(BUSY_TIMEOUT_MS / 1000)
    try:
        connection.execute("BEGIN IMMEDIATE")
    except BaseException:
        if queue:
            queue.leave()
        raise


def come_forward(queue: Queue) -> None:
    """Waits until one's turn is the next; :func:`begin` goes on from there."""
    queue.come_forward(BUSY_TIMEOUT_MS / 1000)


def make_durable(connection: Connection) -> None:
    """WAL and synchronous=FULL, asserted."""
    _into_wal(connection)
    connection.execute("PRAGMA synchronous = FULL")
    if _pragma(connection, "journal_mode") != "wal" or _pragma(connection, "synchronous") != 2:
        raise WrongInput(
            "this disk can't keep a record safely (no write-ahead log)",
            "Put the site on a local disk, not on a network drive",
        )


def _into_wal(connection: Connection) -> None:
    """Waits for whoever has the file: here SQLite itself does not, whatever its busy timeout."""
    patience = time.monotonic() + BUSY_TIMEOUT_MS / 1000
    while True:
        try:
            if _pragma(connection, "journal_mode") != "wal":
                _pragma(connection, "journal_mode = WAL")
        except Exception as error:
            if sqlite_code(error) != _BUSY or time.monotonic() > patience:
                raise
            time.sleep(0.01)
        else:
            return


def check_kind(path: Path, connection: Connection) -> int:
    """WrongInput for a file that is no record or too new; else the version of its tables."""
    if _pragma(connection, "application_id") != APPLICATION_ID:
        raise WrongInput("this file is not a record", "Name the folder of a site", str(path))
    version = int(_pragma(connection, "user_version"))
    if version > SCHEMA_VERSION:
        raise WrongInput(
            "this record was written by a newer tagkit", "Update tagkit on this computer", str(path)
        )
    return version


def _check_version(path: Path, connection: Connection) -> None:
    if check_kind(path, connection) < SCHEMA_VERSION:
        with contextlib.closing(sqlite_connection(path)) as own:
            migrate(own)


def _pragma(connection: Connection, text: str) -> Any:
    return connection.execute(f"PRAGMA {text}").fetchone()[0]


def sqlite_code(error: BaseException) -> int | None:
    """SQLite's primary result code of an error of any of its drivers.

    Text or a table of ours that can't be read counts as damage, whatever code came with it.
    """
    if isinstance(error, (MalformedEvent, MalformedState, UnicodeDecodeError)):
        return _CORRUPT
    if isinstance(error, sqlite3.Error) and any(words in str(error) for words in _UNREADABLE):
        return _CORRUPT
    for name in ("sqlite_errorcode", "result"):
        code = getattr(error, name, None)
        if isinstance(code, int):
            return code & 0xFF
    return (
        26 if isinstance(error, sqlite3.DatabaseError) and "not a database" in str(error) else None
    )


@contextlib.contextmanager
def translated(path: Path) -> Iterator[None]:
    """Turns SQLite's errors into ones that a person can mend."""
    try:
        yield
    except UnicodeEncodeError as error:
        around = error.object[max(0, error.start - 10) : error.end + 10]
        raise WrongInput(
            f"{around!a} is no text",
            "Type it again, or check which character set this terminal uses",
        ) from None
    except Exception as error:
        meant = _meaning(sqlite_code(error), path)
        if isinstance(error, MalformedState):
            meant = WrongInput(
                "what is kept of an asset beside its events is damaged",
                "Run “tagkit record rebuild”: it folds everything again from the signed events",
                str(path),
            )
        if meant is None or isinstance(error, TagkitError):
            raise
        raise meant from error


def _meaning(code: int | None, path: Path) -> TagkitError | None:
    where = str(path)
    if code in (5, 6, 15):  # 15: others open and close it at this very moment, again and again
        return Busy("the record is in use by another program", "Try again in a moment", where)
    if code == 10:
        return Busy(
            "the disk can't be read or written; nothing was recorded",
            "Check that it is not full and is connected, and repeat",
            where,
        )
    if code == 13:
        return Busy("the disk is full; nothing was recorded", "Free some space and repeat", where)
    if code in (8, 14):
        return WrongInput(
            "the record can't be written", "Check that this user may write to it", where
        )
    if code in (_CORRUPT, 26):
        return WrongInput(
            "the record's file is damaged",
            "Run “tagkit verify”, and restore the last backup into a new folder",
            where,
        )
    return None


def identity_of(path: Path) -> str:
    """What tells this file from a copy of it: its number on the disk, and the computer."""
    return _identity(path.stat().st_ino, _machine())


@lru_cache(16)
def _identity(number: int, machine: str) -> str:
    return json.dumps({"file": number, "machine": machine})


_known_machine: list[str] = []


def _machine() -> str:
    if not _known_machine:
        _known_machine.append(_read_machine())
    return _known_machine[0]


def _read_machine() -> str:
    for name in ("/etc/machine-id", "/var/lib/dbus/machine-id"):
        with contextlib.suppress(OSError):
            if found := Path(name).read_text(encoding="ascii").strip():
                return found
    try:
        import winreg
    except ImportError:
        pass
    else:  # pragma: no cover
        with contextlib.suppress(OSError):
            key = winreg.OpenKey(  # type: ignore[attr-defined,unused-ignore]
                winreg.HKEY_LOCAL_MACHINE,  # type: ignore[attr-defined,unused-ignore]
                r"SOFTWARE\Microsoft\Cryptography",
            )
            return str(winreg.QueryValueEx(key, "MachineGuid")[0])  # type: ignore[attr-defined,unused-ignore]
    import uuid

    # Made-up addresses (random, or given to a container for the day) tell no computer.
    node = uuid.getnode()
    return "" if node >> 40 & 3 else f"{node:012x}"
