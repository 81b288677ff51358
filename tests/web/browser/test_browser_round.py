"""A round of 24 cells keyed in by keyboard alone; a reload in the middle loses nothing."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from serving_sites import Served

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from battery_room import ago
from station_room import BatteryRoom, station_room  # type: ignore[import-not-found]

if TYPE_CHECKING:
    from playwright.sync_api import Page


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    return station_room(tmp_path_factory.mktemp("rounds") / "site")


def test_a_round_of_24_cells_by_keyboard_with_a_reload_in_the_middle(
    page: Page, room: BatteryRoom, served: Callable[..., Served]
) -> None:
    address = served(room.folder).address
    page.goto(f"{address}/shift")
    page.locator("input[name=who]").first.fill("TS")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    page.goto(f"{address}/rounds/{room['F1']}/new")
    page.locator("#temperature").focus()
    page.keyboard.type("25")
    page.locator("[name=gravity-1]").focus()
    for cell in range(1, 13):
        page.keyboard.type(f"12{70 + cell % 3}")
        if cell == 12:
            break
        assert page.evaluate("document.activeElement.name") == f"gravity-{cell + 1}"
    page.keyboard.press("Tab")
    page.reload()
    assert page.locator("#restored").is_visible()
    assert page.evaluate("document.activeElement.name") == "gravity-13"
    for cell in range(13, 25):
        page.keyboard.type("1180" if cell == 20 else f"12{70 + cell % 3}")
    assert page.locator("#read-value").inner_text() == "1.270"
    page.locator("[data-cell='20'] [data-says]").wait_for()
    assert page.evaluate("document.activeElement.id") == "record"
    page.keyboard.press("Enter")
    page.get_by_text("The round is recorded").wait_for()
    (event,) = room.events("cells_read")
    assert len(event.body["cells"]) == 24
    assert page.locator(".cell.act, .cell.stop").count() == 1
    page.goto(f"{address}/rounds/{room['F1']}/new")
    assert page.locator("#restored").is_hidden()
    assert page.locator("[name=gravity-1]").input_value() == ""


def test_all_of_the_chart_is_seen_at_once_on_a_phone_in_letters_of_9_px_and_more(
    page: Page, room: BatteryRoom, served: Callable[..., Served]
) -> None:
    for days, lowest in ((60, 1260), (30, 1250), (1, 1240)):
        cells = " ".join(f"{lowest if cell == 7 else 1275 + cell % 4}/25" for cell in range(1, 25))
        at = ago(days=days).isoformat()
        entered = room.run("round", "enter", "F2", "--cells", cells, "--at", at, "--by", "TS")
        assert entered.code == 0, entered.err
    address = served(room.folder).address
    page.goto(f"{address}/shift")
    page.locator("input[name=who]").first.fill("TS")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    for width in (390, 320):
        page.set_viewport_size({"width": width, "height": 844})
        page.goto(f"{address}/rounds/{room['F2']}")
        chart = page.locator("img.chart")
        chart.scroll_into_view_if_needed()
        chart.evaluate("one => one.decode()")
        source, drawn, right, hidden = chart.evaluate(
            """one => [one.currentSrc, one.clientWidth, one.getBoundingClientRect().right,
                       one.closest("section").scrollWidth - one.closest("section").clientWidth]"""
        )
        assert right <= width and hidden <= 0
        svg = page.request.get(source).text()
        least = min(map(float, re.findall(r"font-size: ([\d.]+)", svg)))
        wide = float(re.findall(r'viewBox="0 0 ([\d.]+)', svg)[0])
        assert least * drawn / wide >= 9, (width, least, drawn, wide)
