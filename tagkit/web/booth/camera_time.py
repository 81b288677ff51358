"""The time by which a camera's looks are compared: seconds without what a busy computer took.

Two looks in a row agree about a label however long each took, be it that the reader was busy or
that the tablet was. A label is not away because nobody looked.
"""

from __future__ import annotations

import time
from collections.abc import Callable

PROMPT = 0.4
"""Seconds that reading a frame may take without being made good."""

AT_ONCE = 0.5
"""Seconds after which a page looks again at the latest while there is something to see. Less than
a read counts for (see sightings.py), or a slow tablet would never have two that agree."""

GONE = 10.0
"""Seconds after which whoever stood there may have left: the page slept, or the line was cut."""


class CameraTime:
    """Of one camera. ``more_to_come``: the last look saw something, so that the page looks again
    at once."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._looked_at = clock()
        self._waited = self._seconds = 0.0
        self.more_to_come = False

    def waited(self, seconds: float) -> None:
        """The last frame waited so long for the reader."""
        self._waited += max(0.0, seconds - PROMPT)

    def now(self) -> float:
        """The seconds at this look."""
        now = self._clock()
        passed, self._looked_at = now - self._looked_at, now
        counted = max(0.0, passed - self._waited)
        if self.more_to_come and passed < GONE:
            counted = min(counted, AT_ONCE)
        self._waited = max(0.0, self._waited - passed)
        self._seconds += counted
        return self._seconds
