"""One answer for all pages that ask the same after the same change.

When something is recorded, every open page of the rotation fetches the list anew. The first that
asks has it made; the others, within a moment, are given the same.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path

from tagkit.record.watch import Watch

OLDEST = timedelta(seconds=2)
"""Times left are shown in minutes, and what is judged beside the pages follows soon."""
MOST = 64
"""Answers that are kept at a time: by page of the list, language, units."""


@dataclass
class _Kept:
    lock: threading.Lock = field(default_factory=threading.Lock)
    mark: int = -1
    made: datetime | None = None
    body: bytes = b""


class Shared:
    """Answers that several pages share. Only what depends on nothing but the record, the time and
    the key belongs here: nothing of the visitor."""

    def __init__(self, directory: Path) -> None:
        self._directory = directory
        self._lock = threading.Lock()
        self._watch: Watch | None = None
        self._kept: dict[Hashable, _Kept] = {}

    def answer(self, key: Hashable, now: datetime, make: Callable[[], bytes]) -> bytes:
        """What ``make`` gave for this key, if nothing was recorded since; else it is made."""
        with self._lock:
            if key not in self._kept and len(self._kept) >= MOST:
                self._kept.clear()
            kept = self._kept.setdefault(key, _Kept())
        with kept.lock:
            mark = self._mark()  # before it is made: what comes meanwhile makes it old
            fresh = kept.made is not None and timedelta(0) <= now - kept.made < OLDEST
            if kept.mark != mark or not fresh:
                kept.body = make()
                kept.mark, kept.made = mark, now
            return kept.body

    def close(self) -> None:
        """Let go of the record's file."""
        with self._lock:
            if self._watch:
                self._watch.close()
                self._watch = None

    def _mark(self) -> int:
        with self._lock:
            if self._watch is None:
                self._watch = Watch(self._directory)
            return self._watch.mark()
