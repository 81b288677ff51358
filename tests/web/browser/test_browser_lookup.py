"""Looking things up in a real browser: from a label on a phone, and the rotation that follows."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from serving_sites import Served

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from lookup_room import BatteryRoom, lookup_room  # type: ignore[import-not-found]

if TYPE_CHECKING:
    from playwright.sync_api import Page

PAGES = ("/", "/assets", "/rotation", "/corrections", "/A/{B1}", "/A/{T1}", "/A/{B1}/fits",
         "/A/{B1}/report", "/A/{B1}/amend", "/rotation?truck={T1}")  # fmt: skip


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    return lookup_room(tmp_path_factory.mktemp("lookup") / "site")


def sign_in(page: Page, address: str, who: str) -> None:
    page.goto(f"{address}/shift")
    page.locator("input[name=who]").first.fill(who)
    with page.expect_navigation():
        page.keyboard.press("Enter")


def test_a_label_read_by_a_phone_leads_to_an_answer_and_to_a_report(
    page: Page, room: BatteryRoom, served: Callable[..., Served]
) -> None:
    address = served(room.folder).address
    page.set_viewport_size({"width": 390, "height": 844})
    sign_in(page, address, "KM")
    page.goto(f"{address}/a/{room['B1'].lower()}")
    for answer in (room["B1"], "ready", "at charger", "Last charged"):
        seen = page.get_by_text(answer, exact=answer == "ready").first
        box = seen.bounding_box()
        assert box is not None and box["y"] + box["height"] <= 844, f"{answer} is below the fold"
    # What it goes with comes by itself, without leaving the page.
    page.locator("#fits .mark.go").first.wait_for()
    page.get_by_role("link", name="Report a problem").click()
    page.get_by_label("What did you see?").fill("cable rubs on the lug")
    page.get_by_label("No: hold it until someone has looked").check()
    page.get_by_role("button", name="Record the report").click()
    page.get_by_text("Your report is recorded.").wait_for()
    assert page.get_by_role("heading", name="HELD: do not use").is_visible()
    assert room.state("B1").held


def test_the_pages_fold_behind_one_key_on_a_phone(
    page: Page, room: BatteryRoom, served: Callable[..., Served]
) -> None:
    address = served(room.folder).address
    page.set_viewport_size({"width": 390, "height": 844})
    page.goto(f"{address}/assets")
    link = page.get_by_role("link", name="Rotation", exact=True)
    assert not link.is_visible()
    page.get_by_role("button", name="Pages").focus()
    page.keyboard.press("Enter")
    assert link.is_visible()
    page.keyboard.press("Escape")
    assert not link.is_visible()
    page.set_viewport_size({"width": 1440, "height": 900})
    assert link.is_visible()


def test_the_rotation_follows_what_is_recorded_elsewhere(
    page: Page, room: BatteryRoom, served: Callable[..., Served]
) -> None:
    address = served(room.folder).address
    page.goto(f"{address}/rotation")
    page.get_by_text("Live: this list follows the record.").wait_for()
    row = page.locator("tr", has_text=room["B2"])
    assert "aisle 7" not in row.inner_text()
    with room.open() as site, site.record.writing("KM", "bay-1") as writing:
        body = {"battery": room["B2"], "place": {"kind": "elsewhere", "name": "aisle 7"}}
        writing.append("seen_at", [room["B2"]], body)
    page.locator("tr", has_text="aisle 7").wait_for()


@pytest.mark.parametrize("width", [390, 820, 1440])
def test_no_page_is_wider_than_the_screen_and_every_target_is_large_enough(
    page: Page, room: BatteryRoom, served: Callable[..., Served], width: int
) -> None:
    address = served(room.folder).address
    page.set_viewport_size({"width": width, "height": 900})
    sign_in(page, address, "SW")
    for name in PAGES:
        page.goto(address + name.format_map(room.tags))
        wider = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert wider <= 0, f"{name} is {wider} px too wide at {width}"
        small = page.evaluate(
            """() => [...document.querySelectorAll('button, .press, select, input:not([type=hidden])')]
              .filter(one => !one.closest('[popover]:not(:popover-open)'))
              .filter(one => one.offsetParent && !['checkbox', 'radio'].includes(one.type))
              .filter(one => one.getBoundingClientRect().height < 43.5)
              .map(one => one.outerHTML.slice(0, 80))"""
        )
        assert small == [], f"{name} at {width}"


def test_pages_on_paper_keep_their_tables_and_begin_on_the_first_sheet(
    page: Page, room: BatteryRoom, served: Callable[..., Served]
) -> None:
    address = served(room.folder).address
    page.set_viewport_size({"width": 703, "height": 1000})  # A4 between margins of 12 mm
    sign_in(page, address, "SW")
    page.emulate_media(media="print")

    def style(selector: str, name: str) -> str:
        given = page.locator(selector).first.evaluate(
            "(one, name) => getComputedStyle(one)[name]", name
        )
        return str(given)

    page.goto(f"{address}/planning/retirement")
    assert style("table.fold tbody td", "display") == "table-cell"
    assert style("table.fold tr", "breakInside") == "avoid"
    page.goto(f"{address}/today")
    assert style("main :is(.plate, .panel)", "breakInside") == "auto"
    page.goto(address)
    assert style(".moment.first", "color") == "rgb(0, 0, 0)"
    assert style(".moment.first", "backgroundColor") == "rgb(255, 255, 255)"
