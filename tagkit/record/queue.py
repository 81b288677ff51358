"""The queue of those who wait to write: one at a time stands at its head.

SQLite gives its write lock to whoever happens to ask when it is free, so that a program which
writes again and again keeps all others waiting. Here whoever is to write next holds a file lock
beside the record and lets it go once it has SQLite's; nobody comes in past the head. The longer
one waits, the more often one asks. The lock guards nothing: where it can't be had (a folder that
can't be written, somebody who stopped at the head) writing goes on without it.
"""

from __future__ import annotations

import contextlib
import os
import random
import sys
import time
from pathlib import Path

QUEUE_END = "-queue"
"""The file beside the record; it stays empty."""

LONGEST_WAIT = 2.0
"""Seconds after which whoever stands at the head is taken for stopped."""


class Queue:
    """One writer's place in the queue. Each has its own, threads too."""

    def __init__(self, path: Path) -> None:
        self._path = queue_file(path)
        self._file: int | None = None
        self._at_head = False

    def come_to_head(self) -> None:
        """Waits until nobody else stands at the head, or no longer than that makes sense."""
        if self._file is None:
            self._file = _opened(self._path)
        if self._file is None:
            return
        began = time.monotonic()
        while not _lock(self._file):
            waited = time.monotonic() - began
            if waited > LONGEST_WAIT:
                return
            time.sleep(random.uniform(0.004, 0.008) / (1 + waited * 100))
        self._at_head = True

    def leave_head(self) -> None:
        """Lets the next one come to the head."""
        if self._at_head and self._file is not None:
            self._at_head = False
            _unlock(self._file)

    def close(self) -> None:
        """Lets go of the file."""
        self.leave_head()
        if self._file is not None:
            os.close(self._file)
            self._file = None


def queue_file(path: Path) -> Path:
    """The file of the queue for the record at ``path``."""
    return path.with_name(path.name + QUEUE_END)


def _opened(path: Path) -> int | None:
    for flags in (os.O_RDWR | os.O_CREAT, os.O_RDONLY):
        with contextlib.suppress(OSError):
            return os.open(path, flags, 0o666)
    return None


if sys.platform == "win32":  # pragma: no cover
    import msvcrt

    def _lock(file: int) -> bool:
        try:
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        except OSError:
            return False
        return True

    def _unlock(file: int) -> None:
        with contextlib.suppress(OSError):
            msvcrt.locking(file, msvcrt.LK_UNLCK, 1)

else:
    import fcntl

    def _lock(file: int) -> bool:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return False
        except OSError:
            return True  # this disk knows no such locks
        return True

    def _unlock(file: int) -> None:
        with contextlib.suppress(OSError):
            fcntl.flock(file, fcntl.LOCK_UN)
