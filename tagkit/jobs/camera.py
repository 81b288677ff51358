"""Watching a camera that reads nothing: its trouble is named, once each time it begins."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tagkit.jobs.looking import Look

QUIET_SECONDS = 2.0
"""So long nothing is read before the picture is asked for its trouble, and between askings."""


class CameraWatch:
    """One camera or video; keeps when it last read something and what was said."""

    def __init__(self) -> None:
        self._asked_at = 0.0
        self._said: str | None = None

    def trouble(self, look: Look) -> str | None:
        """A sentence to show now, or None. Times are those of the frames."""
        if look.labels or look.foreign or look.in_view:
            self._asked_at, self._said = look.frame.at, None
            return None
        if not look.frame.still and look.frame.at < self._asked_at + QUIET_SECONDS:
            return None
        from tagkit.reader.trouble import camera_trouble

        self._asked_at = look.frame.at
        found = camera_trouble(look.frame.picture)
        before, self._said = self._said, found
        return found if found != before else None
