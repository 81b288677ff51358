"""A battery room with people, for the tests of the pages that look things up and put them right."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "jobs"))

from battery_room import BATTERIES, CHARGERS, TRUCKS, BatteryRoom
from fastapi.testclient import TestClient
from httpx import Response
from known_browsers import known_browser
from tagkit.web.app import create_app
from tagkit.web.options import ServeOptions


def lookup_room(folder: Path) -> BatteryRoom:
    """Trucks T1, T2 (48 V, 1000 to 1200 kg); B1 charged 12 hours ago, B2 and B3 not known to be,
    LIGHT and SMALL that fit neither. SW, JT and KM are supervisor, technician, attendant."""
    room = BatteryRoom(folder)
    for text in (TRUCKS, BATTERIES, CHARGERS):
        room.take_in(text)
    room.staff()
    room.charge("B1")
    return room


class Pages:
    """The pages of a room, as one browser on the computer that serves sees them."""

    def __init__(self, room: BatteryRoom, client: TestClient) -> None:
        self.room, self.client = room, client

    def __getitem__(self, name: str) -> str:
        return self.room[name]

    def get(self, address: str, **options: Any) -> Response:
        return self.client.get(address, **options)

    def text(self, address: str) -> str:
        answer = self.client.get(address)
        assert answer.status_code == 200, answer.text
        return answer.text.replace("\N{NO-BREAK SPACE}", " ")

    def post(self, address: str, data: dict[str, str], **options: Any) -> Response:
        return self.client.post(address, data=data, follow_redirects=False, **options)

    def shift(self, who: str) -> None:
        """Begin a shift here."""
        assert self.post("/shift/open", {"who": who}).status_code == 303


@contextmanager
def pages_of(room: BatteryRoom) -> Iterator[Pages]:
    app = create_app(ServeOptions(room.folder))
    with TestClient(app, base_url="http://127.0.0.1:8642") as client:
        known_browser(app, client)
        yield Pages(room, client)
