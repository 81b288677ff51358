"""Turns among the sites that something is fetched of: a part of each, round and round."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterator

from tagkit.errors import TagkitError
from tagkit.exchange.address import driver

TOGETHER = 30.0
"""Seconds of turns, after which is looked whether others have sent something meanwhile."""


OF_ALL = (TagkitError, OSError, MemoryError)
"""What stops everybody's work: the disk, the line, the memory."""


class Turns:
    """Work under the names of those it is for. ``step`` hears how many are through, ``faulty``
    whose work broke off by a fault of ours: whoever finds one must not stop all others by it."""

    def __init__(
        self,
        step: Callable[[str, int, int], None],
        faulty: Callable[[str, Exception], None],
    ) -> None:
        self._waiting: deque[tuple[str, Iterator[None]]] = deque()
        self._step = step
        self._faulty = faulty
        self._added = 0

    def __contains__(self, name: str) -> bool:
        return any(name == one for one, _ in self._waiting)

    def add(self, name: str, work: Iterator[None]) -> None:
        """One more; each ``yield`` of it gives the turn to the next."""
        self._waiting.append((name, work))
        self._added += 1

    def take(self) -> bool:
        """Takes turns until all are through, or for some seconds; whether there is more to do."""
        end = time.monotonic() + TOGETHER
        while self._waiting:
            name, work = self._waiting.popleft()
            if self._is_through(name, work):
                self._step("fetching", self._added - len(self._waiting), self._added)
            else:
                self._waiting.append((name, work))
            if time.monotonic() >= end:
                return bool(self._waiting)
        return False

    def _is_through(self, name: str, work: Iterator[None]) -> bool:
        try:
            return next(work, self) is self
        except OF_ALL:
            raise
        except Exception as error:
            errors = driver().errors
            # An answer that the server can't give in time or at all is of that site alone.
            its_own = isinstance(error, errors.QueryCanceled | errors.DataError)
            if isinstance(error, driver().Error) and not its_own:
                raise
            self._faulty(name, error)
            return True
