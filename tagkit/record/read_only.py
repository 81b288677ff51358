"""A record that can't be written, opened to be looked up all the same.

Its disk is read-only, or full to the last page while nobody has the record open, or this user may
not write to its file or folder. Three ways to open it, the
first that serves:

- as it lies, beside whoever writes to it: SQLite needs its log and the log's index for that;
- as it lies, without locks, where nobody can change it: there is no log, and the disk itself is
  mounted read-only, not only the path to it;
- a copy in a private folder, for as long as it is open: where the log's index would have to be
  made, or where an older tagkit wrote the record, so that it is brought up to date there.

What a look-up would keep beside the journal goes into tables in memory (:func:`shadow`).
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import sqlite3
import tempfile
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tagkit.errors import Busy, WrongInput
from tagkit.record.folder import states_are_current
from tagkit.record.schema import SCHEMA_VERSION
from tagkit.record.store import (
    Connection,
    check_kind,
    lent_connection,
    open_file,
    sqlite_code,
    translated,
)

Stamp = tuple[tuple[int, int, int] | None, ...]


@dataclass(frozen=True)
class Bar:
    """Why a record can't be written."""

    why: str
    remedy: str
    path: Path

    def error(self) -> WrongInput:
        """For whoever would write."""
        return WrongInput(
            f"this record can only be looked up here, nothing was recorded: {self.why}",
            self.remedy,
            str(self.path),
        )


def bar_of(path: Path) -> Bar | None:
    """Why this user can't write to the record at ``path``; None: nothing is known against it."""
    for one, (why, remedy) in ((path, _FILE), (path.parent, _FOLDER)):
        if not os.access(one, os.W_OK):
            return Bar(*(_DISK if _mounted_read_only(one) else (why, remedy)), one)
    return Bar(*_FULL, path) if no_room_to_open(path) else None


_DISK = (
    "its disk is read-only",
    "Record it at the computer that keeps the record, or have the disk made writable",
)
_FULL = ("its disk is full", "Free some space there, then record it again")
_FILE = (
    "this user may not write to its file",
    "Record it as the user who keeps the record, or have this one be allowed to",
)
_FOLDER = ("this user may not write to its folder", _FILE[1])


INDEX_BYTES = 32_768
"""The least that the index of SQLite's log takes. Who opens a record makes it, even to read."""


def no_room_to_open(path: Path) -> bool:
    """Whether the disk of a database has no room for the index of its log, and nobody has made
    it before."""
    if not hasattr(os, "statvfs"):  # pragma: no cover
        return False
    index = path.with_name(path.name + "-shm")
    try:
        there = index.stat().st_size if index.exists() else None
        disk = os.statvfs(path.parent)
    except OSError:
        return False
    if there is not None and there >= INDEX_BYTES:
        return False
    rooted = os.geteuid() == 0
    room = (disk.f_bfree if rooted else disk.f_bavail) * disk.f_frsize
    files = disk.f_ffree if rooted else disk.f_favail
    return room < INDEX_BYTES or (there is None and disk.f_files > 0 and files == 0)


def _mounted_read_only(path: Path) -> bool:
    if not hasattr(os, "statvfs"):  # pragma: no cover
        return False
    return bool(os.statvfs(path).f_flag & os.ST_RDONLY)


@dataclass
class ReadOnly:
    """A record that was opened to be read only."""

    path: Path
    bar: Bar
    connection: sqlite3.Connection
    stamp: Stamp | None
    """Of the files it was read from without locks; None: it is read beside others."""
    copy: _Copy | None = None
    _version: int = 0

    def __post_init__(self) -> None:
        self._version = _data_version(self.connection)

    @property
    def file(self) -> Path:
        """The file that is open."""
        return self.copy.folder / self.path.name if self.copy else self.path

    def outdated(self) -> bool:
        """Whether it must be opened anew, to see what others have recorded or to be written to."""
        if bar_of(self.path) != self.bar:
            return True
        if self.stamp is None:
            return _data_version(self.connection) != self._version
        return _stamp(self.path) != self.stamp

    def close(self) -> None:
        """Lets go of the file."""
        self.connection.close()
        if self.copy:
            self.copy.leave()


def open_to_read(path: Path, bar: Bar) -> ReadOnly:
    """The record at ``path``, to be looked up only. One thread at a time uses it."""
    with translated(path):
        try:
            return _as_it_lies(path, bar) or _copied(path, bar)
        except PermissionError:
            raise WrongInput(
                "the record can't be read", "Check that this user may read it", str(path)
            ) from None


@contextlib.contextmanager
def looked_into(path: Path) -> Iterator[Connection]:
    """A connection to the record at ``path``, whether or not it can be written."""
    if bar := bar_of(path) if path.is_file() else None:
        with contextlib.closing(open_to_read(path, bar)) as opened:
            yield opened.connection
    else:
        with contextlib.closing(open_file(path)) as connection:
            yield connection


def _as_it_lies(path: Path, bar: Bar) -> ReadOnly | None:
    """None where that would not do."""
    if bar.why == _FULL[0]:
        return None
    stamp = _stamp(path)
    log = stamp[1] is not None
    index = path.with_name(path.name + "-shm").exists()
    if not (log and index) and (log or not cannot_change(path)):
        return None
    how = "mode=ro" if log else "mode=ro&immutable=1"
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?{how}",
        uri=True,
        isolation_level=None,
        timeout=10,
        cached_statements=256,
        check_same_thread=False,
    )
    try:
        connection.execute("PRAGMA temp_store = MEMORY")
        version = check_kind(path, connection)
        if version == SCHEMA_VERSION and states_are_current(connection):
            return ReadOnly(path, bar, connection, None if log else stamp)
    except sqlite3.Error as error:
        connection.close()
        if sqlite_code(error) not in _UNOPENED:
            raise
        return None
    except BaseException:
        connection.close()
        raise
    connection.close()
    return None


_UNOPENED = (8, 14)
"""SQLite's result codes where it would have to write first, and where it can't open a file."""


def _data_version(connection: sqlite3.Connection) -> int:
    return int(connection.execute("PRAGMA data_version").fetchone()[0])


DISKS = frozenset(
    ("ext2", "ext3", "ext4", "xfs", "btrfs", "f2fs", "iso9660", "udf", "squashfs", "erofs", "vfat",
     "exfat", "ntfs", "ntfs3", "tmpfs")
)  # fmt: skip
"""Kinds of file system that only this computer can change."""


def cannot_change(path: Path, mounts: Path = Path("/proc/self/mountinfo")) -> bool:
    """Whether nobody can write to this file: its file system itself is mounted read-only.

    That the way to it is (as in a container that was given it to read) is not enough: others may
    write by another one. Known on Linux only; elsewhere False.
    """
    try:
        device = path.stat().st_dev
        lines = mounts.read_text(encoding="utf-8", errors="replace").splitlines()
        number = f"{os.major(device)}:{os.minor(device)}"
    except (OSError, AttributeError):
        return False
    for words in map(str.split, lines):
        if number in words[2:3] and "-" in words[6:]:
            kind, _, options = words[words.index("-", 6) + 1 :][:3]
            if kind in DISKS and "ro" in options.split(","):
                return True
    return False


def _stamp(path: Path) -> Stamp:
    """What tells whether the record's files have changed: number, size, time of each."""
    found: list[tuple[int, int, int] | None] = []
    for end in PARTS:
        try:
            there = path.with_name(path.name + end).stat()
        except FileNotFoundError:
            found.append(None)
        else:
            found.append((there.st_ino, there.st_size, there.st_mtime_ns))
    return tuple(found)


PARTS = ("", "-wal", "-journal")
"""The files that hold what was recorded."""


# Copies: one for all who have the same record open in this process.


@dataclass
class _Copy:
    """A copy of the record's files, brought up to date."""

    folder: Path
    key: tuple[Path, Stamp]
    users: int = 0

    def leave(self) -> None:
        """One user less; it goes with the last."""
        with _LOCK:
            self.users -= 1
            if self.users > 0:
                return
            _COPIES.pop(self.key, None)
        shutil.rmtree(self.folder, ignore_errors=True)


_LOCK = threading.Lock()
_COPIES: dict[tuple[Path, Stamp], _Copy] = {}
ATTEMPTS = 3


def _copied(path: Path, bar: Bar) -> ReadOnly:
    copy = _copy_of(path)
    try:
        connection = open_file(copy.folder / path.name, lent_connection)
        connection.execute("PRAGMA temp_store = MEMORY")
    except BaseException:
        copy.leave()
        raise
    assert isinstance(connection, sqlite3.Connection)
    return ReadOnly(path, bar, connection, copy.key[1], copy)


def _copy_of(path: Path) -> _Copy:
    with _LOCK:
        for _ in range(ATTEMPTS):
            stamp = _stamp(path)
            key = (path.absolute(), stamp)
            if key not in _COPIES:
                folder = files_copied(path)
                if _stamp(path) != stamp:  # somebody wrote to it meanwhile
                    shutil.rmtree(folder, ignore_errors=True)
                    continue
                _COPIES[key] = _Copy(folder, key)
            _COPIES[key].users += 1
            return _COPIES[key]
    raise Busy("the record is in use by another program", "Try again in a moment", str(path))


def files_copied(path: Path) -> Path:
    """A private folder with a copy of a database's files; OSError, or Busy where there is no room."""
    folder = None
    try:
        folder = Path(tempfile.mkdtemp(prefix="tagkit-looked-up-", dir=_roomy(path)))
        for end in PARTS:
            with contextlib.suppress(FileNotFoundError):
                shutil.copyfile(path.with_name(path.name + end), folder / (path.name + end))
        return folder
    except PermissionError:
        if folder:
            shutil.rmtree(folder, ignore_errors=True)
        raise
    except OSError as error:
        if folder:
            shutil.rmtree(folder, ignore_errors=True)
        raise Busy(
            f"the record is looked up in a copy, and that can't be written: {error.strerror}",
            "Free some space, or name another folder in the variable TMPDIR",
            str(folder or tempfile.gettempdir()),
        ) from None


MEMORY = Path("/dev/shm")
SPARE = 1_000_000
"""Bytes that a copy takes beside the record's files while it is open."""


def _roomy(path: Path) -> Path:
    """Where a copy has room: in TMPDIR, else in memory where files can lie there (Linux)."""
    usual = Path(tempfile.gettempdir())
    needed = SPARE
    for end in PARTS:
        with contextlib.suppress(FileNotFoundError):
            needed += path.with_name(path.name + end).stat().st_size
    for folder in (usual, MEMORY):
        with contextlib.suppress(OSError):
            if os.access(folder, os.W_OK) and shutil.disk_usage(folder).free >= needed:
                return folder
    return usual


# What is kept for the time that the record is open

SHADOWED = ("meta", "outlook", "notices", "told", "unjudged")


def shadow(connection: sqlite3.Connection) -> None:
    """Lets what is judged be written: to tables in memory, which stand before the record's own
    of the same names."""
    there = connection.execute("SELECT 1 FROM temp.sqlite_master WHERE name = 'outlook'")
    if there.fetchone():
        return
    marks = ", ".join("?" * len(SHADOWED))
    rows = connection.execute(
        "SELECT type, name, sql FROM main.sqlite_master "
        f"WHERE tbl_name IN ({marks}) AND sql IS NOT NULL ORDER BY type DESC",
        SHADOWED,
    ).fetchall()
    with _all_or_nothing(connection):
        for kind, name, sql in rows:
            if kind == "table":
                connection.execute(re.sub(r"^CREATE TABLE ", "CREATE TEMP TABLE ", sql))
                connection.execute(f"INSERT INTO temp.{name} SELECT * FROM main.{name}")
            else:
                connection.execute(re.sub(rf"\b{name}\b", f"temp.{name}", sql, count=1))


@contextlib.contextmanager
def _all_or_nothing(connection: sqlite3.Connection) -> Iterator[None]:
    connection.execute("BEGIN")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise
