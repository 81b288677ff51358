"""The pictures of the guide, made from a served room: TAGKIT_MAKE_GUIDE=1 makes them anew."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING

import cv2
import numpy as np
from fake_camera import FakeCamera
from serving_sites import Served
from station_room import BatteryRoom
from tagkit.web.app import STATIC

if TYPE_CHECKING:
    from playwright.sync_api import Page

FOLDER = STATIC / "guide"
LARGEST = 60_000
DESK, TABLET, PHONE = (1280, 800), (1024, 768), (390, 780)
SHEET = """\
Maker's serial;Voltage (V);Service weight (kg);Chemistry;Capacity C5 (Ah)
N-4711;48;1100;vented lead-acid;775
N-4712;48;too heavy;vented lead-acid;775
N-4713;48;1115;vented lead-acid;775
"""


def speak(page: Page, address: str, language: str) -> None:
    """The person reads this language from now on."""
    page.goto(f"{address}/shift")
    page.locator(f"input[name=language][value={language}]").check()
    with page.expect_navigation():
        page.locator("form[action='/shift/reading'] button").click()


def take(page: Page, name: str, language: str, folder: Path = FOLDER) -> None:
    """What the page shows now, as a small file."""
    page.wait_for_timeout(350)
    shot = cv2.imdecode(np.frombuffer(page.screenshot(), np.uint8), cv2.IMREAD_COLOR)
    assert shot is not None
    if shot.shape[1] > 960:
        scale = 960 / shot.shape[1]
        shot = cv2.resize(shot, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA)
    for quality in (82, 70, 55, 40):
        data = cv2.imencode(".webp", shot, [cv2.IMWRITE_WEBP_QUALITY, quality])[1].tobytes()
        if len(data) <= LARGEST:
            break
    (folder / f"{name}.{language}.webp").write_bytes(data)


def at_station(
    page: Page, camera: FakeCamera, room: BatteryRoom, site: Served, language: str
) -> None:
    """Every answer that a station gives."""

    def begin(*names: str) -> None:
        camera.show()
        with room.open() as opened:
            site.app.state.floor.booth("desk").again(opened, "TS")
        page.goto(f"{site.address}/station")
        page.locator('#screen .answer[data-stage="show"]').wait_for()
        page.wait_for_function("() => document.getElementById('video').readyState >= 2")
        if names:
            camera.show(*(room[name] for name in names))

    page.set_viewport_size({"width": DESK[0], "height": DESK[1]})
    begin()
    take(page, "station-show", language)
    for name, shown, posture in (
        ("station-fit", ("T1", "F1"), "go"),
        ("station-no-fit", ("T1", "LIGHT"), "stop"),
        ("station-not-confirmed", ("T1", "NEW"), "stop"),
        ("station-not-ready", ("T1", "RESTS"), "stop"),
    ):
        begin(*shown)
        page.locator(f"#screen .answer.{posture}").wait_for()
        take(page, name, language)
    begin("T1", "F1")
    page.locator("#screen .answer.go").wait_for()
    time.sleep(0.5)
    page.keyboard.press("Enter")
    page.locator('#screen .answer[data-stage="finish"]').wait_for()
    take(page, "station-finish", language)
    begin()
    page.context.set_offline(True)
    page.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    site.stop()
    page.locator("#cut").wait_for(state="visible")
    take(page, "connection-lost", language)
    page.context.set_offline(False)
    site.start()


def on_pages(page: Page, room: BatteryRoom, site: Served, language: str) -> None:
    """The other pages that the guide shows."""
    address = site.address
    for name, path, size in (
        ("check", f"/check?number={room['F2']}", PHONE),
        ("marry", f"/marry?number={room['NEW']}", PHONE),
        ("number", f"/A/{room['F1']}", PHONE),
        ("labels", f"/labels?number={room['F1']}", DESK),
        ("round", f"/rounds/{room['F1']}/new", TABLET),
        ("rotation", "/rotation", DESK),
        ("shift", "/shift", DESK),
        ("start", "/", DESK),
    ):
        page.set_viewport_size({"width": size[0], "height": size[1]})
        page.goto(f"{address}{path}", wait_until="load")
        if name == "check":
            page.locator("#screen .answer[data-stage]").wait_for()
        if name == "labels":
            page.locator("#look").scroll_into_view_if_needed()
            page.wait_for_function("() => document.querySelector('#look img').naturalWidth")
            page.evaluate("scrollTo(0, 0)")
        take(page, name, language)
    page.set_viewport_size({"width": DESK[0], "height": DESK[1]})
    page.goto(f"{address}/delivery")
    page.set_input_files(
        "input[name=sheet]",
        {"name": "delivery.csv", "mimeType": "text/csv", "buffer": SHEET.encode()},
    )
    with page.expect_navigation():
        page.locator("main form button.large").first.click()
    take(page, "delivery", language)
