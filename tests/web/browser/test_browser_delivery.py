"""Delivery day in a real browser, at the width of a phone, from the sheet to the married label."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
import pytest
from serving_sites import Served
from tagkit.assets.tag import Kind
from tagkit.jobs.assets import is_married
from tagkit.jobs.people import authorise
from tagkit.jobs.site import create_site, open_site
from tagkit.record.state import AssetState
from tagkit.symbol.encode import encode

if TYPE_CHECKING:
    from playwright.sync_api import Page

SHEET = """\
Maker's serial;Voltage (V);Service weight (kg);Chemistry;Capacity C5 (Ah)
B1;48;1100;vented lead-acid;775
B2;48;zu schwer;vented lead-acid;775
"""


@pytest.fixture(scope="module")
def room(
    served: Callable[..., Served], tmp_path_factory: pytest.TempPathFactory
) -> tuple[str, Path]:
    """A served site where TT is a technician."""
    folder = tmp_path_factory.mktemp("delivery") / "site"
    with create_site(folder, "QM") as site:
        authorise(site, "SW", "SW", "supervisor", None, None, by="SW", station="desk")
        authorise(site, "TT", "TT", "technician", None, None, by="SW", station="desk")
    return served(folder).address, folder


def batteries(folder: Path) -> list[AssetState]:
    with open_site(folder) as site:
        return sorted(site.record.states(Kind.BATTERY), key=lambda one: one.tag)


def photo_of(tag: str) -> bytes:
    modules = np.pad(np.array(encode(tag).matrix), 4)
    picture = np.where(np.kron(modules, np.ones((8, 8))), 20, 235).astype(np.uint8)
    return cv2.imencode(".jpg", picture)[1].tobytes()


def test_a_delivery_is_mended_taken_in_printed_and_married_on_a_phone(
    page: Page, room: tuple[str, Path], tmp_path: Path
) -> None:
    address, folder = room
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{address}/shift")
    page.locator("input[name=who]").first.fill("TT")
    with page.expect_navigation():
        page.locator("input[name=who]").first.press("Enter")

    page.goto(f"{address}/delivery")
    page.set_input_files(
        "input[name=sheet]",
        {"name": "delivery.csv", "mimeType": "text/csv", "buffer": SHEET.encode()},
    )
    page.get_by_role("button", name="See what is understood").click()
    assert page.get_by_text("1 row to mend").is_visible()
    assert batteries(folder) == []
    page.locator(".field.wrong input").fill("1120")
    page.get_by_role("button", name="Read the row again").click()
    page.get_by_role("button", name="Take in all 2").click()
    assert page.get_by_text("2 assets are taken in").is_visible()
    first, second = batteries(folder)

    page.get_by_role("link", name="Print their labels").click()
    page.get_by_role("button", name="Print and read back").click()
    with page.expect_download(timeout=60_000) as loading:
        page.get_by_role("link", name="Fetch the file").click(timeout=60_000)
    assert Path(loading.value.path()).read_bytes().startswith(b"%PDF")

    page.goto(f"{address}/marry")
    page.set_input_files(
        "input[name=photo]",
        {"name": "label.jpg", "mimeType": "image/jpeg", "buffer": photo_of(first.tag)},
    )
    page.get_by_role("button", name="Read it").click()
    page.get_by_label("maker's serial").fill("B1")
    page.get_by_label("voltage").fill("48")
    page.get_by_label("service weight").fill("1180 kg")
    page.get_by_role("button", name="Compare and marry").click()
    assert not is_married(batteries(folder)[0])
    page.get_by_role("button", name="The stamp is right as keyed in").click()
    assert page.get_by_text(f"{first.tag} is married").is_visible()
    assert is_married(batteries(folder)[0])
    assert page.get_by_role("link", name=second.tag).is_visible()
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width <= 390, "the page is wider than the phone"


@pytest.mark.parametrize("width", [390, 1440])
def test_nothing_moves_when_the_picture_of_a_template_comes(
    page: Page, room: tuple[str, Path], width: int
) -> None:
    address, _ = room
    page.set_viewport_size({"width": width, "height": 844})
    page.goto(f"{address}/shift")
    page.locator("input[name=who]").first.fill("TT")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    cards = "document.querySelector('.caution').getBoundingClientRect().top + scrollY"
    page.route("**/labels/looks/*.png", lambda route: route.abort())
    page.goto(f"{address}/labels")
    without = page.evaluate(cards)
    page.unroute("**/labels/looks/*.png")
    page.goto(f"{address}/labels")
    page.locator("#look img").evaluate("one => one.decode()")
    assert page.evaluate(cards) == without
    for template in ("battery-cable", "plate-a5", "sheet-letter-small"):
        with page.expect_response(f"**/labels/looks/{template}.png"):
            page.locator("#template").select_option(template)
        page.locator("#look img").evaluate("one => one.decode()")
        assert page.evaluate(cards) == without, template
