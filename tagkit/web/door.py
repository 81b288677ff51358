"""The site behind the pages: opened records, lent to one request at a time."""

from __future__ import annotations

import contextlib
from collections import deque
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

from tagkit.errors import WrongInput
from tagkit.jobs.site import SETTINGS_FILE, Site, open_site, system_clock


class SiteDoor:
    """Keeps opened sites for the next request; opens them anew when the settings were edited.

    Requests answered side by side never share a connection, so that none sees another's
    unfinished transaction.
    """

    def __init__(self, directory: Path, clock: Callable[[], datetime] = system_clock) -> None:
        self.directory = directory
        self.clock = clock
        self._idle: deque[tuple[int, int, Site]] = deque()

    @contextlib.contextmanager
    def borrow(self) -> Iterator[Site]:
        """A site for this request alone."""
        try:
            edited = (self.directory / SETTINGS_FILE).stat().st_mtime_ns
        except FileNotFoundError:
            raise WrongInput(
                f"{SETTINGS_FILE} is not in the site's folder any more",
                "Put it back, at the computer that serves",
            ) from None
        opened, file, site = self._take(edited)
        try:
            yield site
        except BaseException:
            site.record.close()
            raise
        self._idle.append((opened, file, site))

    def _take(self, edited: int) -> tuple[int, int, Site]:
        while self._idle:
            with contextlib.suppress(IndexError):
                opened, file, site = self._idle.pop()
                # Where another record was put in its place, nothing more goes into the old file.
                same = opened == edited and file == _file_of(site)
                if same and not site.record.outdated():
                    return opened, file, site
                site.record.close()
        site = open_site(self.directory, self.clock, lent=True)
        return edited, _file_of(site), site

    def close(self) -> None:
        """Let go of every record."""
        while self._idle:
            self._idle.pop()[2].record.close()


def _file_of(site: Site) -> int:
    """What tells the record's file from another under its name; 0 when there is none."""
    try:
        return site.record.path.stat().st_ino
    except FileNotFoundError:
        return 0
