"""Every page by axe-core, in light and dark, for gloves, for the keyboard, and on a phone."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from serving_sites import Served

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from guide_pictures import SHEET, speak
from looking_over import (
    HOW_TO_GET_IT,
    axe_source,
    too_small,
    violations,
    walk,
    wider_than_the_screen,
)
from station_room import BatteryRoom, station_room
from tagkit.jobs.rounds import CellWords, record_round
from tagkit.web.views.guide import TOPICS

if TYPE_CHECKING:
    from playwright.sync_api import Browser, BrowserContext, Page

CARE = ("charge", "charged", "water", "inspect", "wash", "leakage", "capacity", "repair")
PAGES = (
    "/", "/assets", "/assets?q=nothing", "/rotation", "/rotation?truck={T1}", "/A/{F1}",
    "/A/{T1}", "/A/{C1}", "/A/{F1}/fits", "/A/{F1}/report", "/A/{F1}/amend", "/corrections",
    "/today", "/care", "/care/{F1}", *(f"/care/{{F1}}/{act}" for act in CARE),
    "/rounds/{F1}", "/rounds/{F2}", "/rounds/{F1}/new", "/incidents", "/planning",
    "/planning/ventilation", "/planning/pool", "/planning/pool?shifts=6-14,14-22",
    "/planning/retirement", "/planning/acid", "/steps", "/steps/charging", "/delivery",
    "/assets/new", "/assets/new?kind=battery", "/marry", "/marry?number={NEW}", "/labels",
    "/labels?number={F1}", "/shift", "/stations", "/stations/enrol", "/people", "/check",
    "/station", "/guide", *(f"/guide/{topic}" for topic in TOPICS), "/A/B-QM-99999-X",
)  # fmt: skip
ALIKE = frozenset(f"/care/{{F1}}/{act}" for act in CARE[1:])
"""Forms of one template: one of them in dark stands for all."""
WALKED = ("/", "/shift", "/delivery", "/care/{F1}/charge", "/rounds/{F1}/new", "/marry",
          "/labels?number={F1}", "/station", "/check")  # fmt: skip
SCREENS = {
    "go": ("T1", "F1"), "no fit": ("T1", "LIGHT"), "not confirmed": ("T1", "NEW"),
    "not ready": ("T1", "RESTS"), "several": ("T1",),
}  # fmt: skip


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    made = station_room(tmp_path_factory.mktemp("access") / "site")
    cells = [CellWords(cell, f"1.2{70 + cell % 3}", "25", "", "") for cell in range(1, 24)]
    cells.append(CellWords(24, "1.210", "25", "", "low"))
    with made.open() as opened:
        for _ in range(2):
            record_round(
                opened, made["F2"], cells, extent="full", voltage_taken="at rest",
                temperature_unit="°C", after_charge=True, hours_rested=6.0,
                confirmed=[24], by="TS", station="desk",
            )  # fmt: skip
    return made


@pytest.fixture(scope="module")
def site(room: BatteryRoom, served: Callable[..., Served]) -> Served:
    return served(room.folder)


@pytest.fixture(scope="module")
def window(browser: Browser) -> Iterator[BrowserContext]:
    """One window for the whole module."""
    if axe_source() is None:
        if os.environ.get("TAGKIT_NOTHING_SKIPPED"):
            pytest.fail(HOW_TO_GET_IT)
        pytest.skip(HOW_TO_GET_IT)
    opened = browser.new_context(viewport={"width": 1440, "height": 900}, locale="en-GB")
    opened.set_default_timeout(60_000)
    yield opened
    opened.close()


@pytest.fixture(scope="module")
def sheet(window: BrowserContext, site: Served) -> str:
    """A delivery with a row to be mended: the address of its page."""
    page = window.new_page()
    page.goto(f"{site.address}/delivery")
    page.set_input_files(
        "input[name=sheet]",
        {"name": "delivery.csv", "mimeType": "text/csv", "buffer": SHEET.encode()},
    )
    with page.expect_navigation():
        page.locator("main form button.large").first.click()
    address = page.url
    page.close()
    return address


@pytest.fixture
def page(window: BrowserContext) -> Iterator[Page]:
    opened = window.new_page()
    yield opened
    opened.close()


def looked_over(page: Page, least: int = 44, dark: bool = True) -> list[str]:
    """All that is wrong with the page that is open: light, dark, as a phone sees it."""
    page.set_viewport_size({"width": 1440, "height": 900})
    page.emulate_media(color_scheme="light")
    found = violations(page)
    if dark:
        page.emulate_media(color_scheme="dark")
        found += [f"dark: {one}" for one in violations(page, ["color-contrast"])]
        page.emulate_media(color_scheme="light")
    page.set_viewport_size({"width": 390, "height": 844})
    found += [f"at 390 px: {one} is wider" for one in wider_than_the_screen(page)]
    found += [f"small at 390 px: {one}" for one in too_small(page, least)]
    return found


def test_what_is_wrong_would_be_found(page: Page, site: Served) -> None:
    page.goto(f"{site.address}/guide/safety")
    assert looked_over(page) == []
    page.evaluate(
        """() => {
          const wrong = document.createElement("div");
          wrong.innerHTML = '<input><button></button><p>faint</p>';
          document.querySelector("main").append(wrong);
          wrong.lastChild.style.cssText = "color: #999; background: #aaa; width: 500px";
        }"""
    )
    found = " ".join(looked_over(page))
    for rule in ("label:", "button-name:", "color-contrast:", "dark: color-contrast:",
                 "at 390 px:", "small at 390 px:"):  # fmt: skip
        assert rule in found


def test_no_serious_violation_on_any_page(
    page: Page, room: BatteryRoom, site: Served, sheet: str
) -> None:
    wrong = {}
    for address in (*PAGES, sheet.removeprefix(site.address)):
        page.goto(f"{site.address}{address.format_map(room.tags)}")
        if found := looked_over(page, dark=address not in ALIKE):
            wrong[address] = found
    assert wrong == {}


def test_spanish_is_no_wider_than_the_phone(
    page: Page, room: BatteryRoom, site: Served, sheet: str
) -> None:
    speak(page, site.address, "es")
    page.set_viewport_size({"width": 390, "height": 844})
    wrong = {}
    for address in (*PAGES, sheet.removeprefix(site.address)):
        page.goto(f"{site.address}{address.format_map(room.tags)}")
        if found := wider_than_the_screen(page):
            wrong[address] = found
    speak(page, site.address, "en")
    assert wrong == {}


@pytest.mark.parametrize("screen", SCREENS)
def test_the_station_in_every_posture(
    page: Page, room: BatteryRoom, site: Served, screen: str
) -> None:
    with room.open() as opened:
        site.app.state.floor.booth("desk").again(opened, "TS")
    page.goto(f"{site.address}/station")
    page.set_viewport_size({"width": 1440, "height": 900})
    page.locator('#screen .answer[data-stage="show"]').wait_for()
    for name in SCREENS[screen]:
        page.locator("#typed").fill(room[name])
        page.locator("#typed").press("Enter")
        page.locator("#screen", has_text=room[name]).wait_for()
    share = page.evaluate(
        "document.querySelector('#screen .answer').getBoundingClientRect().height / innerHeight"
    )
    assert share >= 0.12
    assert looked_over(page) == []
    assert too_small(page, 96) == []


QUIET = """() => new Promise((done) => {
  let timer = setTimeout(done, 2500);
  new MutationObserver(() => { clearTimeout(timer); timer = setTimeout(done, 2500); })
    .observe(document.getElementById("screen"), { childList: true, subtree: true });
})"""


@pytest.mark.parametrize("address", WALKED)
def test_the_tab_key_reaches_everything_in_turn_and_is_seen(
    page: Page, room: BatteryRoom, site: Served, address: str
) -> None:
    page.set_viewport_size({"width": 1440, "height": 900})
    page.goto(f"{site.address}{address.format_map(room.tags)}")
    if address in ("/station", "/check"):
        page.locator("#screen .answer[data-stage]").wait_for()
        page.evaluate(QUIET)  # what other tests left open at the stations has come in
    reached, expected = walk(page)
    assert reached == expected
