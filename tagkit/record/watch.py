"""Noticing that something was recorded, by anyone, without reading what."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from tagkit.record.store import FILE_NAME, translated


class Watch:
    """Tells cheaply whether the record has grown. One thread uses it at a time."""

    def __init__(self, directory: Path) -> None:
        self._path = directory / FILE_NAME
        with translated(self._path):
            self._connection = sqlite3.connect(
                f"{self._path.absolute().as_uri()}?mode=ro", uri=True, check_same_thread=False
            )
        self._version = -1
        self._mark = -1

    def mark(self) -> int:
        """A number that rises with every event; the file's counter is asked first."""
        with translated(self._path):
            (version,) = self._connection.execute("PRAGMA data_version").fetchone()
            if version != self._version:
                self._version = version
                (last,) = self._connection.execute("SELECT max(n) FROM events").fetchone()
                self._mark = last or 0
        return self._mark

    def close(self) -> None:
        """Lets go of the file."""
        self._connection.close()
