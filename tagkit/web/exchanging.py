"""The exchange with the company's other sites, beside the pages."""

from __future__ import annotations

import logging
import threading
from pathlib import Path

from tagkit.errors import TagkitError
from tagkit.jobs.exchange import LONGEST_WAIT, address_for, keep_exchanging, log_exchange
from tagkit.web.door import SiteDoor

log = logging.getLogger(__name__)


class Exchanging:
    """Exchanges again and again while the app runs, where site.toml names an exchange."""

    def __init__(self, door: SiteDoor) -> None:
        self._door = door
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begins in a thread of its own; does nothing for a site that stands alone."""
        with self._door.borrow() as site:
            if address_for(site) is None:
                return
        self._thread = threading.Thread(
            target=self._work, args=(self._door.directory,), name="exchange", daemon=True
        )
        self._thread.start()

    def stop(self) -> None:
        """Ends after what is being sent or fetched."""
        self._stop.set()
        if self._thread is not None:
            self._thread.join(5)

    def _work(self, directory: Path) -> None:
        # Whatever ended it (a read-only disk, a fault of ours), it is begun with again later.
        while not self._stop.is_set():
            try:
                keep_exchanging(directory, None, None, self._stop, log_exchange)
            except TagkitError as error:
                log.warning("not exchanging: %s", error)
            except Exception:
                log.exception("the exchange broke off")
            self._stop.wait(LONGEST_WAIT)
