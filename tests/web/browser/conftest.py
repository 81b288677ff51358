"""A real browser with a camera that tests point at things, and a site served to it."""

from __future__ import annotations

import os
import shutil
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
import uvicorn
from fake_camera import FakeCamera
from tagkit.jobs.site import system_clock
from tagkit.web.app import create_app
from tagkit.web.options import ServeOptions

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

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


@pytest.fixture(scope="session")
def camera(tmp_path_factory: pytest.TempPathFactory) -> FakeCamera:
    """What the browser's camera sees; it shows an empty table until a test shows something."""
    return FakeCamera(tmp_path_factory.mktemp("camera") / "camera.y4m")


@pytest.fixture(scope="session")
def browser(camera: FakeCamera) -> Iterator[Browser]:
    """One browser for the whole run, with a profile of its own."""
    program = chromium()
    if program is None:
        if os.environ.get("TAGKIT_NOTHING_SKIPPED"):
            pytest.fail(HOW_TO_GET_IT)
        pytest.skip(HOW_TO_GET_IT)
    sync_api = pytest.importorskip("playwright.sync_api", reason="needs “pip install playwright”")
    flags = [*FLAGS, f"--use-file-for-fake-video-capture={camera.path}"]
    with sync_api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=program, headless=True, args=flags)
        yield started
        started.close()


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
        end = time.monotonic() + 30
        while not self._server.started and time.monotonic() < end:
            time.sleep(0.02)
        assert self._server.started, "the site is not served"

    def stop(self) -> None:
        """End serving; ``start`` serves again at the same address."""
        self._server.should_exit = True
        self._thread.join(20)


@pytest.fixture(scope="module")
def served() -> Iterator[Callable[..., Served]]:
    """``served(folder, …options of ServeOptions)``: serves a site until the module's tests end."""
    sites: list[Served] = []

    def serve(folder: Path, clock: Callable[[], datetime] = system_clock, **options: Any) -> Served:
        sites.append(Served(folder, clock, **options))
        return sites[-1]

    yield serve
    for site in sites:
        site.stop()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    """A browser window of its own: no cookies, nothing stored; it may use the camera."""
    opened = browser.new_context(
        viewport={"width": 1440, "height": 900}, permissions=["camera"], locale="en-GB"
    )
    opened.set_default_timeout(10_000)
    yield opened
    opened.close()


@pytest.fixture
def page(context: BrowserContext) -> Iterator[Page]:
    """A page; whatever goes wrong in its scripts fails the test, and so does another host."""
    opened = context.new_page()
    problems: list[str] = []
    opened.on("pageerror", lambda error: problems.append(str(error)))
    opened.on(
        "request",
        lambda request: (
            problems.append(request.url)
            if not request.url.startswith(
                ("http://127.0.0.1:", "ws://127.0.0.1:", "blob:", "data:")
            )
            else None
        ),
    )
    yield opened
    assert problems == []
