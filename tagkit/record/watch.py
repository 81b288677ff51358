"""Noticing that something was recorded, by anyone, without reading what."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

from tagkit.record.read_only import ReadOnly, bar_of, open_to_read
from tagkit.record.store import FILE_NAME, translated


class Watch:
    """Tells cheaply whether the record has grown. One thread uses it at a time."""

    def __init__(self, directory: Path) -> None:
        self._path = directory / FILE_NAME
        self._read_only: ReadOnly | None = None
        self._connection = self._opened()
        self._version = -1
        self._last = -1
        self._mark = -1

    def _opened(self) -> sqlite3.Connection:
        with translated(self._path):
            self._file = self._file_there()
            if bar := bar_of(self._path) if self._path.is_file() else None:
                self._read_only = open_to_read(self._path, bar)
                return self._read_only.connection
            self._read_only = None
            return sqlite3.connect(
                f"{self._path.absolute().as_uri()}?mode=ro", uri=True, check_same_thread=False
            )

    def _file_there(self) -> tuple[int, int] | None:
        with contextlib.suppress(OSError):
            there = self._path.stat()
            return there.st_dev, there.st_ino
        return None

    def mark(self) -> int:
        """A number that rises with every event; the file's counter is asked first.

        It rises too when another record was put in this one's place, as by restoring it.
        """
        other = self._file_there() not in (self._file, None)
        other = other or (self._read_only is not None and self._read_only.outdated())
        if other:
            self.close()
            self._connection = self._opened()
        with translated(self._path):
            (version,) = self._connection.execute("PRAGMA data_version").fetchone()
            if other or version != self._version:
                self._version = version
                (last,) = self._connection.execute("SELECT max(n) FROM events").fetchone()
                if other or last != self._last:
                    self._last = last
                    self._mark = max(self._mark + 1, last or 0)
        return self._mark

    def close(self) -> None:
        """Lets go of the file."""
        (self._read_only or self._connection).close()
