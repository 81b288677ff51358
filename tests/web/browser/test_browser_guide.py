"""The guide in a real browser: its pictures are there, and are pictures of this program."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from fake_camera import FakeCamera
from serving_sites import Served

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from guide_pictures import FOLDER, at_station, on_pages, speak
from station_room import BatteryRoom, station_room
from tagkit.web.views.guide import TOPICS

if TYPE_CHECKING:
    from playwright.sync_api import Page

LANGUAGES = ("en", "es")


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    return station_room(tmp_path_factory.mktemp("guide") / "site")


@pytest.fixture(scope="module")
def site(room: BatteryRoom, served: Callable[..., Served]) -> Served:
    return served(room.folder)


def test_the_guides_pictures_are_shown(
    page: Page, camera: FakeCamera, room: BatteryRoom, site: Served
) -> None:
    """With TAGKIT_MAKE_GUIDE=1 they are made anew from this room first."""
    if os.environ.get("TAGKIT_MAKE_GUIDE"):
        FOLDER.mkdir(exist_ok=True)
        for language in LANGUAGES:
            speak(page, site.address, language)
            on_pages(page, room, site, language)
            at_station(page, camera, room, site, language)
    for language in LANGUAGES:
        speak(page, site.address, language)
        for topic in TOPICS:
            page.goto(f"{site.address}/guide/{topic}")
            broken = page.evaluate(
                """async () => {
                    const pictures = [...document.querySelectorAll(".shot img")];
                    for (const one of pictures) { one.loading = "eager"; await one.decode(); }
                    return pictures.filter(one => !one.naturalWidth).map(one => one.src);
                }"""
            )
            assert broken == []
    speak(page, site.address, "en")
    camera.show()
