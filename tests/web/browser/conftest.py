"""A real browser with a camera that tests point at things, and a site served to it."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from fake_camera import FakeCamera
from serving_sites import FLAGS, HOW_TO_GET_IT, Served, chromium
from tagkit.jobs.site import system_clock

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page


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
    opened.set_default_timeout(60_000)
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
