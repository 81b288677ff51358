"""Keeping the outlook up to date for the pages: a little when asked, much of it at the start."""

from __future__ import annotations

import logging
import threading

from tagkit.errors import TagkitError
from tagkit.jobs.judging import catch_up
from tagkit.jobs.site import Site
from tagkit.web.door import SiteDoor

log = logging.getLogger(__name__)

AT_ONCE = 400
"""Assets that may be judged while a person waits for a page."""


def up_to_date(site: Site) -> bool:
    """Judges what has changed; False when that is too much to wait for, and goes on by itself."""
    if len(site.record.outlook().unjudged(AT_ONCE + 1)) > AT_ONCE:
        return False
    catch_up(site)
    return True


class JudgingAtStart:
    """Judges a whole fleet when the app starts, beside the pages, until it is done or stopped."""

    def __init__(self, door: SiteDoor) -> None:
        self._door = door
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, name="judging", daemon=True)

    def start(self) -> None:
        """Begins in a thread of its own."""
        self._thread.start()

    def stop(self) -> None:
        """Ends it soon; what was judged is kept."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(5)

    def _work(self) -> None:
        try:
            with self._door.borrow() as site:
                catch_up(site, self._progress)
        except _Stopped:
            pass
        except TagkitError as error:
            log.warning("the fleet could not be judged at the start: %s", error)

    def _progress(self, _done: int, _of: int) -> None:
        if self._stop.is_set():
            raise _Stopped


class _Stopped(Exception):
    """The app ends."""
