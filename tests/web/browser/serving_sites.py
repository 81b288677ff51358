"""The browser of this computer, and a site served to it."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Callable
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import Any

import uvicorn
from tagkit.jobs.site import system_clock
from tagkit.web.app import create_app
from tagkit.web.options import ServeOptions

FLAGS = (
    "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--use-fake-ui-for-media-stream",
    "--use-fake-device-for-media-stream", "--autoplay-policy=no-user-gesture-required",
)  # fmt: skip
HOW_TO_GET_IT = (
    "needs Chromium: on Debian “apt-get install chromium”, elsewhere put chromium or "
    "google-chrome into the PATH"
)


def chromium() -> str | None:
    """The browser of this computer."""
    if Path("/usr/bin/chromium").exists():
        return "/usr/bin/chromium"
    names = ("chromium", "chromium-browser", "google-chrome", "chrome")
    return next((found for name in names if (found := shutil.which(name))), None)


class Served:
    """A site served on a port of its own, by this process."""

    def __init__(
        self,
        folder: Path,
        clock: Callable[[], datetime] = system_clock,
        **options: Any,
    ) -> None:
        self.folder, self.clock, self.options = folder, clock, options
        with closing(socket.socket()) as free:
            free.bind(("127.0.0.1", 0))
            self.port: int = free.getsockname()[1]
        self.start()

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def start(self) -> None:
        """Serve; returns when it answers."""
        self.app = create_app(ServeOptions(self.folder, port=self.port, **self.options), self.clock)
        self._server = uvicorn.Server(
            uvicorn.Config(
                self.app, port=self.port, log_level="warning", timeout_graceful_shutdown=1
            )
        )
        self._thread = threading.Thread(target=self._server.run, daemon=True)
        self._thread.start()
        end = time.monotonic() + 120
        while not self._server.started and time.monotonic() < end:
            time.sleep(0.02)
        assert self._server.started, "the site is not served"

    def stop(self) -> None:
        """End serving; ``start`` serves again at the same address."""
        self._server.should_exit = True
        self._thread.join(20)
