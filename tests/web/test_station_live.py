"""The line between a station's page and the station: frames and presses in, screens out."""

from __future__ import annotations

import asyncio
import html
import json
import re
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from threading import Barrier, get_ident
from typing import Any
from unittest.mock import patch

import cv2
import numpy as np
import pytest
from fake_camera import flat_label, table_with
from fastapi.testclient import TestClient
from starlette.websockets import WebSocketDisconnect
from station_room import BatteryRoom, station_room
from tagkit.assets.card import Command, CommandCard, badge_for
from tagkit.assets.tag import parse_tag
from tagkit.jobs.hold import hold
from tagkit.language.words import Words
from tagkit.reader.read import Method, Read
from tagkit.record.envelope import Event
from tagkit.web.app import create_app
from tagkit.web.booth.noted import Noted, log_noted
from tagkit.web.eye import Eye
from tagkit.web.eyework import Looked
from tagkit.web.options import ServeOptions
from tagkit.web.visitor import Visitor

ADDRESS, LINE = "http://127.0.0.1:8642", "ws://127.0.0.1:8642"


@pytest.fixture(scope="module")
def room(tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    return station_room(tmp_path_factory.mktemp("live") / "site")


@pytest.fixture(scope="module")
def client(room: BatteryRoom) -> Iterator[TestClient]:
    with TestClient(create_app(ServeOptions(room.folder)), base_url=ADDRESS) as asking:
        yield asking


@pytest.fixture(autouse=True)
def fresh(client: TestClient, room: BatteryRoom) -> None:
    """Nobody's change is left under way by the test before, and nobody's shift open."""
    client.cookies.clear()
    with room.open() as site:
        client.app.state.floor.booth("desk").again(site, "TS")  # type: ignore[attr-defined]


def frame(*texts: str) -> bytes:
    """A picture of labels with these texts, as the browser sends it."""
    return _jpeg(table_with([flat_label(text) for text in texts]))


def _jpeg(grey: np.ndarray) -> bytes:
    return bytes(cv2.imencode(".jpg", grey)[1])


class Page:
    """An open page of the station, without its browser."""

    def __init__(self, client: TestClient, path: str = "/station/live") -> None:
        self.client, self.path = client, path
        self.screen: dict[str, Any] = {}
        self.sight: dict[str, Any] = {}

    def __enter__(self) -> Page:
        self.client.get("/station")
        self._opening = self.client.websocket_connect(f"{LINE}{self.path}")
        self.socket = self._opening.__enter__()
        self.until(lambda: bool(self.screen))
        return self

    def __exit__(self, *_: object) -> None:
        self._opening.__exit__(None, None, None)

    def hear(self) -> None:
        message = self.socket.receive()
        if message["type"] == "websocket.close":
            raise WebSocketDisconnect(message.get("code", 1000))
        if message.get("text"):
            said = json.loads(message["text"])
            if said["is"] == "screen":
                self.screen = said
            elif said["is"] == "sight":
                self.sight = said

    def until(self, true: Callable[[], bool], seconds: float = 90) -> None:
        end = time.monotonic() + seconds
        while not true():
            assert time.monotonic() < end, (self.screen, self.sight)
            self.hear()

    def say(self, **said: object) -> None:
        self.socket.send_text(json.dumps(said))

    def show(self, *texts: str, until: str) -> None:
        """Hold labels up until a stage is reached."""
        picture = frame(*texts)
        self.sight = {"old": True}
        end = time.monotonic() + 90
        while self.screen["stage"] != until:
            assert time.monotonic() < end, (self.screen, self.sight)
            self.socket.send_bytes(picture)
            self.sight = {}
            self.until(lambda: bool(self.sight) or self.screen["stage"] == until)

    def press(self, offer: int = 0) -> None:
        time.sleep(0.45)
        self.say(do="press", screen=self.screen["number"], offer=offer)

    def stage(self, name: str) -> None:
        self.until(lambda: self.screen["stage"] == name)

    def reads(self, words: str) -> None:
        self.until(lambda: words in self.screen["html"])


def test_labels_in_frames_become_an_answer_and_two_presses_a_change(
    client: TestClient, room: BatteryRoom
) -> None:
    with Page(client) as page:
        page.show(room["T1"], room["F1"], until="out")
        assert (page.screen["posture"], page.screen["sound"]) == ("go", "go")
        assert page.screen["initials"] == "TS"
        page.press()
        page.stage("finish")
        page.press()
        page.stage("logged")
    assert room.place("F1") == "T1"


def test_a_number_made_out_first_and_decoded_then_is_not_asked_for_any_longer(
    client: TestClient, room: BatteryRoom, monkeypatch: pytest.MonkeyPatch
) -> None:
    def read(name: str, method: Method, x: float) -> Read:
        corners = ((x, 10.0), (x + 90, 10.0), (x + 90, 100.0), (x, 100.0))
        return Read(parse_tag(room[name]), room[name], method, None, corners, "test")

    decoded = [read("T1", "decoded", 10)]

    async def look(_eye: Eye, _camera: int, _frame: bytes) -> Looked:
        return Looked(tuple(decoded), (640, 480), None, unread=len(decoded) == 1)

    async def recover(_eye: Eye, _camera: int, _frame: bytes, _reads: object) -> list[Read]:
        return [read("F3", "recovered", 300)]

    monkeypatch.setattr(Eye, "look", look)
    monkeypatch.setattr(Eye, "recover", recover)
    with Page(client) as page:
        page.show(room["T1"], until="recovered")
        assert (page.screen["posture"], room["F3"] in page.screen["html"]) == ("ask", False)
        decoded.append(read("F3", "decoded", 300))
        page.show(room["T1"], until="out")
        assert page.screen["posture"] == "go"


def test_the_page_loaded_again_shows_what_was_under_way(
    client: TestClient, room: BatteryRoom
) -> None:
    with Page(client) as page:
        page.say(do="typed", text=room["T2"])
        page.say(do="typed", text=room["F2"])
        page.stage("out")
        page.press()
        page.stage("finish")
        number = page.screen["number"]
    with Page(client) as page:
        assert (page.screen["stage"], page.screen["number"]) == ("finish", number)


def test_two_pages_of_one_station_show_the_same(client: TestClient, room: BatteryRoom) -> None:
    with Page(client) as one, Page(client) as other:
        one.say(do="scan", text=room["T3"])
        other.reads(room["T3"])


def test_a_still_picture_is_vouched_for_and_shown_labels_are_not_shown_again(
    client: TestClient, room: BatteryRoom
) -> None:
    with Page(client) as page:
        page.show(room["T4"], room["F4"], until="out")
        number = page.screen["number"]
        for _ in range(8):
            time.sleep(0.5)
            page.say(do="still")
        page.say(do="beat")
        page.hear()
        assert (page.screen["stage"], page.screen["number"]) == ("out", number)


def test_a_hold_from_elsewhere_reaches_the_screen(client: TestClient, room: BatteryRoom) -> None:
    with Page(client) as page:
        page.say(do="typed", text=room["T5"])
        page.say(do="typed", text=room["F5"])
        page.stage("out")
        with room.open() as site:
            hold(site, room["F5"], "cracked", safety=True, by="SW", station="elsewhere")
        page.stage("stop")


@pytest.mark.parametrize(
    "said",
    ["", "x", "[]", "null", '{"do": 7}', '{"do": "press"}', '{"do": "typed", "text": 4}',
     '{"do": "press", "screen": "1", "offer": 0}', '{"do": "release", "code": "SW"}',
     '{"do": "log"}', "{" * 5000, '{"do":"typed","text":"' + "A" * 9000 + '"}'],
)  # fmt: skip
def test_what_makes_no_sense_does_nothing(client: TestClient, room: BatteryRoom, said: str) -> None:
    before = room.count()
    with Page(client) as page:
        page.socket.send_text(said)
        page.say(do="typed", text=room["T6"])
        page.reads(room["T6"])
    assert room.count() == before


def test_what_a_foreign_code_says_is_text_and_no_page(client: TestClient) -> None:
    with Page(client) as page:
        page.say(do="scan", text="<img src=x onerror=alert(1)>")
        page.reads("Not one of ours")
        assert "<img" not in page.screen["html"] and "&lt;img" in page.screen["html"]
        page.say(do="typed", text="<script>alert(1)</script>")
        page.until(lambda: "Not one of ours" not in page.screen["html"])
        assert "<script" not in page.screen["html"]


@pytest.mark.parametrize(
    "picture",
    [b"", b"no picture at all", b"\xff\xd8\xff\xe0 cut off", b"\x89PNG\r\n\x1a\n" + bytes(40),
     frame("B-QM-00417-D")[:500]],
)  # fmt: skip
def test_what_is_no_picture_is_said_and_the_line_stays(
    client: TestClient, room: BatteryRoom, picture: bytes
) -> None:
    with Page(client) as page:
        page.socket.send_bytes(picture)
        if picture:
            page.until(lambda: bool(page.sight.get("trouble")))
        page.show(room["T6"], until="show")
        page.say(do="typed", text=room["T6"])
        page.reads(room["T6"])


def test_a_picture_too_large_is_not_unpacked(client: TestClient) -> None:
    bomb = _jpeg(np.zeros((9000, 9000), np.uint8))
    with Page(client) as page:
        page.socket.send_bytes(bomb)
        page.until(lambda: "too large" in page.sight.get("trouble", ""))


def test_camera_trouble_is_named_with_what_to_do(client: TestClient) -> None:
    night = _jpeg(np.full((480, 640), 8, np.uint8))
    with Page(client) as page:
        end = time.monotonic() + 90
        while "Too dark" not in page.sight.get("trouble", ""):
            assert time.monotonic() < end
            page.socket.send_bytes(night)
            page.sight = {}
            page.until(lambda: bool(page.sight))


def test_a_reader_that_died_is_started_again(client: TestClient, room: BatteryRoom) -> None:
    with Page(client) as page:
        page.socket.send_bytes(frame())
        page.until(lambda: bool(page.sight))
        eye = client.app.state.floor.eye  # type: ignore[attr-defined]
        for worker in eye._readers:
            if worker._pool is not None:
                for process in worker._pool._processes.values():
                    process.kill()
        page.show(room["T7"], room["F7"], until="out")


def test_where_no_process_can_be_made_the_server_reads_by_itself(
    room: BatteryRoom, monkeypatch: pytest.MonkeyPatch
) -> None:
    def locked_down(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("tagkit.web.eye.ProcessPoolExecutor", locked_down)
    eye = Eye()
    look = eye.look(eye.open_camera(), frame(room["T1"]))
    with ThreadPoolExecutor(1) as aside:  # a browser's test may have a loop running in this thread
        looked = aside.submit(asyncio.run, look).result()
    eye.close()
    assert [read.text for read in looked.reads] == [room["T1"]]


def test_a_card_that_is_scanned_presses_for_the_screen_that_stands(
    client: TestClient, room: BatteryRoom
) -> None:
    with Page(client) as page:
        page.say(do="scan", text=room["T8"])
        page.say(do="scan", text=room["F8"])
        page.stage("out")
        time.sleep(0.45)
        page.say(do="scan", text=str(CommandCard("QM", Command.NEXT)))
        page.stage("finish")


def test_a_badge_opens_a_shift_and_the_change_is_that_persons(
    client: TestClient, room: BatteryRoom
) -> None:
    with Page(client) as page:
        page.say(do="scan", text=str(badge_for("QM", "KM")))
        page.until(lambda: page.screen["initials"] == "KM")
        page.say(do="typed", text=room["T9"])
        page.say(do="typed", text=room["F9"])
        page.stage("out")
        for stage in ("finish", "logged"):
            page.press()
            page.stage(stage)
        page.say(do="scan", text=str(badge_for("QM", "NOBODY")))
        page.reads("opens no shift")
    (change,) = [event for event in room.events("changed") if event.body["truck"] == room["T9"]]
    assert change.by == "KM"


def test_the_station_speaks_spanish_where_the_visitor_does(client: TestClient) -> None:
    client.get("/station")
    client.cookies.set("language", "es")
    with Page(client) as page:
        assert page.screen["typed"] == Words("es", "metric", None)("Type a number")


def test_another_site_s_page_gets_no_line(client: TestClient) -> None:
    client.get("/station")
    with (
        pytest.raises(WebSocketDisconnect),
        client.websocket_connect(f"{LINE}/station/live", headers={"origin": "http://evil.example"}),
    ):
        pass


def test_words_that_make_no_sense_leave_the_line_open(client: TestClient) -> None:
    with Page(client) as page:
        page.socket.send_text("[" * 3000)
        page.say(do="release", screen=1, code="\ud800", reason="odd")
        page.say(do="typed", text="B-QM")
        page.until(lambda: "B-QM" in page.screen["html"])


def test_the_server_s_own_camera_is_looked_through(room: BatteryRoom, tmp_path: Path) -> None:
    video = tmp_path / "labels.avi"
    writer = cv2.VideoWriter(
        str(video), cv2.CAP_OPENCV_MJPEG, cv2.VideoWriter.fourcc(*"MJPG"), 10, (960, 720)
    )
    seen = table_with([flat_label(room["T10"]), flat_label(room["F10"])])
    for _ in range(20):
        writer.write(cv2.cvtColor(seen, cv2.COLOR_GRAY2BGR))
    writer.release()
    app = create_app(ServeOptions(room.folder, camera=str(video)))
    with (
        TestClient(app, base_url=ADDRESS) as client,
        Page(client, "/station/live?camera=own") as page,
    ):
        assert 'data-camera="own"' in client.get("/station").text
        pictures = 0
        end = time.monotonic() + 90
        while page.screen["stage"] != "out" or not pictures:
            assert time.monotonic() < end
            message = page.socket.receive()
            if message.get("bytes"):
                pictures += 1
            elif message.get("text") and (said := json.loads(message["text"]))["is"] == "screen":
                page.screen = said


def test_a_camera_that_is_not_there_is_said(room: BatteryRoom, tmp_path: Path) -> None:
    app = create_app(ServeOptions(room.folder, camera=str(tmp_path / "none.avi")))
    with (
        TestClient(app, base_url=ADDRESS) as client,
        Page(client, "/station/live?camera=own") as page,
    ):
        page.until(lambda: bool(page.sight.get("trouble")))


def noted(room: BatteryRoom, **other: object) -> dict[str, object]:
    at = datetime.now(UTC) - timedelta(minutes=7)
    usual = {"key": "8c0f9e0a-note", "truck": room["T11"], "battery": room["F11"],
             "at": at.isoformat(), "by": "KM"}  # fmt: skip
    return {**usual, **other}


def send(client: TestClient, note: dict[str, object], **headers: str) -> Any:
    page = client.get("/station").text
    token = page.split('name="csrf" content="')[1].split('"')[0]
    return client.post("/station/noted", json=note, headers={"X-CSRF": token, **headers})


def test_a_note_is_recorded_as_seen_once_however_often_it_comes(
    client: TestClient, room: BatteryRoom
) -> None:
    note = noted(room)
    first = send(client, note)
    assert first.status_code == 200 and first.json()["already"] is False
    again = send(client, note)
    assert again.status_code == 200
    client.cookies.clear()  # another browser's memory of answers does not know it
    other = send(client, {**note, "key": "another-key-1"})
    assert other.json()["already"] is True
    seen = [event for event in room.events("seen_at") if event.body["battery"] == room["F11"]]
    assert len(seen) == 1
    assert (seen[0].by, room.place("F11")) == ("KM", "T11")
    assert seen[0].happened.isoformat()[:19] == str(note["at"])[:19]


def test_a_note_that_several_browsers_send_at_once_is_recorded_once(
    client: TestClient, room: BatteryRoom
) -> None:
    """Each has its own key, and all look for the note before any of them has written it."""
    client.get("/station")
    note = Noted(**noted(room, truck=room["T8"], battery=room["F8"]))
    together = Barrier(4)

    def sent(number: int) -> bool:
        visitor = Visitor("KM", "KM", "attendant", "desk", "en", "metric", "")
        with room.open() as site:
            together.wait(60)
            with patch.object(site.record, "timeline", partial(looked, site.record.timeline)):
                told = log_noted(site, note.model_copy(update={"key": f"key-{number}-4"}), visitor)
        return bool(told["already"])

    met: set[int] = set()

    def looked(timeline: Callable[..., list[Event]], tag: str) -> list[Event]:
        found = timeline(tag)
        if get_ident() not in met:  # the first look of each
            met.add(get_ident())
            together.wait(60)
        return found

    with ThreadPoolExecutor(4) as browsers:
        assert sorted(browsers.map(sent, range(4))) == [False, True, True, True]
    assert len([one for one in room.events("seen_at") if one.body["battery"] == room["F8"]]) == 1


def test_a_note_of_a_tablet_whose_clock_is_ahead_is_recorded_once_too(
    client: TestClient, room: BatteryRoom
) -> None:
    ahead = (datetime.now(UTC) + timedelta(minutes=3)).isoformat()
    note = noted(room, key="ahead-note-1", truck=room["T9"], battery=room["F9"], at=ahead)
    assert send(client, note).json()["already"] is False
    client.cookies.clear()
    assert send(client, {**note, "key": "ahead-note-2"}).json()["already"] is True
    (seen,) = [event for event in room.events("seen_at") if event.body["battery"] == room["F9"]]
    assert seen.happened <= datetime.now(UTC)
    assert seen.body["noted_at"][:19] == ahead[:19]


def test_a_note_that_comes_late_does_not_undo_what_happened_since(
    client: TestClient, room: BatteryRoom
) -> None:
    assert room.run("seen", "F12", room["T12"], "--by", "TS").code == 0
    late = noted(room, key="late-note-1", truck=room["T11"], battery=room["F12"])
    assert send(client, late).status_code == 200
    assert room.place("F12") == "T12"


@pytest.mark.parametrize(
    ("other", "status"),
    [({"truck": "T-QM-00001-Z"}, 400), ({"battery": "<script>"}, 400), ({"key": "short"}, 422),
     ({"at": "2031-01-01T00:00:00+00:00"}, 400), ({"at": "2001-01-01T00:00:00+00:00"}, 400),
     ({"at": "yesterday"}, 422), ({"truck": "T-QM-09999-Q"}, 400)],
)  # fmt: skip
def test_a_note_that_can_t_be_is_refused_with_what_to_do(
    client: TestClient, room: BatteryRoom, other: dict[str, str], status: int
) -> None:
    before = room.count()
    answer = send(
        client, noted(room, **{"key": "refused-note", **other}), Accept="application/json"
    )
    assert answer.status_code == status
    assert room.count() == before


def test_a_note_without_the_page_s_token_is_refused(client: TestClient, room: BatteryRoom) -> None:
    client.get("/station")
    before = room.count()
    answer = client.post("/station/noted", json=noted(room, key="forged-note"))
    assert answer.status_code == 403
    assert room.count() == before


def test_the_check_at_the_bay_logs_nothing_whatever_is_pressed(
    client: TestClient, room: BatteryRoom
) -> None:
    with Page(client) as station:
        station.say(do="typed", text=room["T12"])
        station.reads(room["T12"])
    before = room.count()
    with Page(client, "/check/live") as bay:
        assert room["T12"] in bay.screen["html"]
        bay.show(room["F14"], until="show")
        bay.reads(room["T12"])
        bay.press()
        bay.say(do="typed", text=room["F14"])
        bay.until(lambda: bay.screen["posture"] == "go")
        assert "Done: LOG" not in bay.screen["html"]
        for said in ({"do": "undo"}, {"do": "hold"}, {"do": "press", "offer": 0},
                     {"do": "scan", "text": str(CommandCard("QM", Command.LOG))}):  # fmt: skip
            bay.say(**{"screen": bay.screen["number"], **said})
        bay.reads("only checks")
        bay.say(do="again")
        bay.stage("show")
        bay.say(do="typed", text="T1")
        bay.reads(room["T1"])
        bay.say(do="typed", text=room["LIGHT"])
        bay.until(lambda: bay.screen["posture"] == "stop")
    # A link from a battery's page or the rotation has shown it already.
    led = client.get(f"/check?number={room['F14']}&truck=T1").text
    address = re.search(r'data-live="([^"]+)"', led)
    assert address
    with Page(client, html.unescape(address[1])) as bay:
        bay.reads(room["F14"])
        bay.until(lambda: bay.screen["posture"] == "go")
    assert room.count() == before
