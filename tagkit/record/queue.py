"""The queue of those who wait to write: one writes, one stands at its head, the rest wait.

SQLite gives its write lock to whoever happens to ask when it is free, so that a program which
writes again and again keeps all others waiting. Here two file locks beside the record make a
turnstile: who has the head's waits for the turn, and gives the head up once it has the turn, which
it keeps until its transaction is over. Whoever has just written has to come by the head again,
where somebody stands already, but for two milliseconds in which it may go on while everything it
needs is at hand. The head looks often, so that the turn changes hands in a tenth of
a millisecond; the others look less often, and oftener the longer they have waited. The locks
guard nothing: where they can't be had (a folder that can't be written, somebody who stopped)
writing goes on without them, by SQLite's own waiting.
"""

from __future__ import annotations

import contextlib
import os
import random
import sys
import time
from pathlib import Path

QUEUE_END, TURN_END = "-queue", "-turn"
"""The files beside the record; they stay empty."""

LONGEST_WAIT = 2.0
"""Seconds after which whoever has the head or the turn is taken for stopped."""


class Queue:
    """One writer's place in the queue. Each has its own, threads too."""

    def __init__(self, path: Path) -> None:
        self._head = _Lock(queue_file(path))
        self._turn = _Lock(path.with_name(path.name + TURN_END))
        self._began = self._left = -1.0

    def enter(self, most: float = LONGEST_WAIT) -> None:
        """Waits for one's turn, or no longer than ``most`` seconds or than that makes sense."""
        began = time.monotonic()
        if began < self._left + AT_ONCE and began < self._began + QUANTUM and self._turn.take():
            return
        end = began + min(most, LONGEST_WAIT)
        while not self._head.take():
            now = time.monotonic()
            if now > end:
                return
            time.sleep(random.uniform(0.004, 0.008) / (1 + (now - began) * 100))
        began = time.monotonic()
        while not self._turn.take():
            now = time.monotonic()
            if now > end:
                break
            # A short transaction is over in a moment; for a long one a look now and then will do.
            time.sleep(min(max(SOONEST, (now - began) / 20), LATEST))
        self._head.leave()
        self._began = time.monotonic()

    def leave(self) -> None:
        """Gives the turn to the one at the head."""
        self._turn.leave()
        self._left = time.monotonic()

    def awaited(self) -> bool:
        """Whether somebody stands at the head."""
        if not self._head.take():
            return True
        self._head.leave()
        return False

    def close(self) -> None:
        """Lets go of the files."""
        self._head.close()
        self._turn.close()


QUANTUM = 0.002
"""Seconds for which who has come to the turn may take it again without queueing."""
AT_ONCE = 0.001
"""Seconds within which it must come again."""

SOONEST, LATEST = 0.0001, 0.001
"""Seconds between two looks of the one at the head."""


class _Lock:
    """A lock on a file; where none can be had everybody has it."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file: int | None = None
        self._taken = False

    def take(self) -> bool:
        if self._file is None:
            self._file = _opened(self._path)
        if self._file is None:
            return True
        self._taken = _lock(self._file)
        return self._taken

    def leave(self) -> None:
        if self._taken and self._file is not None:
            self._taken = False
            _unlock(self._file)

    def close(self) -> None:
        self.leave()
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
