"""The queue of those who wait to write: one writes, one stands at its head, the rest wait.

SQLite gives its write lock to whoever happens to ask when it is free, so that a program which
writes again and again keeps all others waiting. Here two file locks beside the record make a
turnstile: who has the head's makes ready what it will write, waits for the turn, and gives the
head up once it has the turn, which it keeps until its transaction is over. Whoever has just
written has to come by the head again, but may for some milliseconds look for it often, before the
others: a change by a program whose pages and code are in the processor's cache takes two thirds
of one by a program that has just been woken. The others look seldom, and oftener the longer they
have waited. The locks guard nothing: where they can't be had (a folder that can't be written,
somebody who stopped) writing goes on without them, by SQLite's own waiting.
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

    def come_forward(self, most: float = LONGEST_WAIT) -> None:
        """Waits until one stands at the head, or no longer than ``most`` seconds or than that
        makes sense."""
        began = time.monotonic()
        end = began + min(most, LONGEST_WAIT)
        goes_on = began < self._left + AT_ONCE and began < self._began + QUANTUM
        while not self._head.take():
            now = time.monotonic()
            if now > end:
                break
            goes_on = goes_on and now < began + AT_ONCE
            rest = random.uniform(0.004, 0.008) / (1 + (now - began) * 100)
            time.sleep(BRIEFLY if goes_on else rest)
        if not goes_on:
            self._began = time.monotonic()

    def enter(self, most: float = LONGEST_WAIT) -> None:
        """Waits for one's turn, or no longer than ``most`` seconds or than that makes sense."""
        if not self._head.taken:
            self.come_forward(most)
        began = time.monotonic()
        end = began + min(most, LONGEST_WAIT)
        while not self._turn.take():
            now = time.monotonic()
            if now > end:
                break
            # A short transaction is over in a moment; for a long one a look now and then will do.
            time.sleep(min(max(SOONEST, (now - began) / 20), LATEST))
        self._head.leave()

    def stand_back(self) -> None:
        """Gives up the head, for who came forward and does not want the turn after all."""
        self._head.leave()

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


QUANTUM = 0.005
"""Seconds for which who has come to the head may come again before the others."""
AT_ONCE = 0.001
"""Seconds within which it must come again, and for how long it looks often then."""
BRIEFLY = 0.00003
"""Seconds between two looks meanwhile."""

SOONEST, LATEST = 0.0001, 0.001
"""Seconds between two looks of the one at the head."""


class _Lock:
    """A lock on a file; where none can be had everybody has it."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._file: int | None = None
        self._taken = False

    @property
    def taken(self) -> bool:
        """Whether one has it, as far as one can be had."""
        return self._taken

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
