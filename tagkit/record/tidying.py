"""Taking what is in the write-ahead log over into the record's file, beside the writing.

SQLite does that within a commit whenever the log is long, and with many writers it is always
long: each of them then waits for the file to be written and synced. Here a thread does it, once a
second at most among all programs, and now and then begins the log anew while nobody writes.
Nothing depends on it: a thread that is cut off leaves the log as it was.
"""

from __future__ import annotations

import contextlib
import sqlite3
import threading
import time
from pathlib import Path

from tagkit.record.queue import Queue, queue_file
from tagkit.record.store import begin, make_durable, sqlite_connection

EVERY_COMMITS = 40
EVERY_SECONDS = 1.0
LONGEST_LOG = 64_000
"""Pages (256 MB) from which on a commit does it itself after all."""
LONG_LOG = 8_000
"""Pages (32 MB) from which on the log is begun anew, for which writers are kept waiting."""
SLOW = 0.1
"""Seconds of taking over after which the disk is taken for slow: the log is let grow rather."""


class Tidying:
    """What one open record does about it."""

    def __init__(self, path: Path, connection: object) -> None:
        self._path = path
        self._commits = 0
        self._thread: threading.Thread | None = None
        self._does = isinstance(connection, sqlite3.Connection)
        if isinstance(connection, sqlite3.Connection):
            connection.execute(f"PRAGMA wal_autocheckpoint = {LONGEST_LOG}")

    def committed(self) -> None:
        """Counts a commit; begins to tidy when there were many."""
        self._commits += 1
        if not self._does or self._commits % EVERY_COMMITS or not _is_due(self._path):
            return
        if self._thread is None or not self._thread.is_alive():
            self._thread = threading.Thread(
                target=tidy, args=(self._path,), name="tidying", daemon=True
            )
            self._thread.start()

    def close(self) -> None:
        """Waits until it is over."""
        if self._thread:
            self._thread.join()


def _is_due(path: Path) -> bool:
    """Whether nobody has done it for a second, by the time of the queue's file."""
    mark = queue_file(path)
    with contextlib.suppress(OSError):
        if abs(time.time() - mark.stat().st_mtime) > EVERY_SECONDS:
            mark.touch()
            return True
    return False


def tidy(path: Path) -> None:
    """Takes the log over; what keeps it from that is no mishap, somebody will do it later."""
    with (
        contextlib.suppress(Exception),
        contextlib.closing(sqlite_connection(path)) as connection,
    ):
        make_durable(connection)
        began = time.monotonic()
        busy, pages, _ = connection.execute("PRAGMA wal_checkpoint(PASSIVE)").fetchone()
        slow = time.monotonic() - began > SLOW
        if busy or pages < (LONGEST_LOG // 2 if slow else LONG_LOG):
            return
        # The few pages that came meanwhile, while nobody adds more: the next one to write then
        # begins at the start of the log.
        with (
            contextlib.closing(sqlite_connection(path)) as holding,
            contextlib.closing(Queue(path)) as queue,
        ):
            begin(holding, queue)
            try:
                connection.execute("PRAGMA wal_checkpoint(PASSIVE)")
                holding.execute("ROLLBACK")
            finally:
                queue.leave()
