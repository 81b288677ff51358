"""A site with three people and a clock to turn, served to this computer or to a network."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from unittest.mock import patch

from argon2 import PasswordHasher
from fastapi import FastAPI
from fastapi.testclient import TestClient
from known_browsers import known_browser
from tagkit.assets.card import badge_for
from tagkit.jobs.people import authorise
from tagkit.jobs.site import create_site
from tagkit.web.access import pins
from tagkit.web.access.devices import new_code
from tagkit.web.access.pins import choose_pin
from tagkit.web.app import create_app
from tagkit.web.options import LOOPBACK, ServeOptions

HOST = "room.example"
LEAD, TECHNICIAN, ATTENDANT = "LEAD", "TECH", "ATT"
PIN = "407193"
LAST_DAY = "2031-06-30"
QUICK = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
"""Hashes PINs cheaply: hundreds of them are tried here."""


class Clock:
    """A clock that tests turn on."""

    def __init__(self) -> None:
        self.now = datetime(2031, 5, 4, 8, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now

    def turn(self, **by: float) -> None:
        self.now += timedelta(**by)


class Room:
    """The site, and clients of the app that serves it."""

    def __init__(self, folder: Path, lan: bool) -> None:
        self.folder, self.clock = folder, Clock()
        with create_site(folder, "QM", clock=self.clock) as site:
            for code, role in (
                (LEAD, "supervisor"), (TECHNICIAN, "technician"), (ATTENDANT, "attendant"),
            ):  # fmt: skip
                until = LAST_DAY if code == ATTENDANT else None
                authorise(site, code, code[:2], role, until, None, by=LEAD, station="desk")
        options = ServeOptions(folder, lan=lan, hosts=(HOST,) if lan else LOOPBACK)
        self.app: FastAPI = create_app(options, self.clock)
        self.base = f"https://{HOST}" if lan else "http://127.0.0.1:8642"
        self.access = self.app.state.access
        self.browsers = 0

    def client(self, address: str = "192.0.2.7") -> TestClient:
        """A browser of its own at this network address."""
        made = TestClient(
            self.app, base_url=self.base, client=(address, 50000), follow_redirects=False
        )
        known_browser(self.app, made, f"{self.browsers:04}")
        self.browsers += 1
        return made

    def station(self, name: str = "bay-1", address: str = "192.0.2.8") -> TestClient:
        """A browser on an enrolled device."""
        made = self.client(address)
        code = new_code(self.access, name, LEAD, self.clock().timestamp())
        assert made.post("/stations/enrol", data={"code": code}).status_code == 303
        return made

    def give_pin(self, person: str = LEAD, pin: str = PIN) -> None:
        choose_pin(self.access, person, pin, self.clock().timestamp())

    def begin(self, client: TestClient, who: str, pin: str = "") -> int:
        """Begin a shift; the status of the answer."""
        return client.post("/shift/open", data={"who": who, "pin": pin}).status_code

    def badge(self, person: str) -> str:
        return str(badge_for("QM", person))

    def settings(self, **replaced: str) -> None:
        """Change lines of site.toml."""
        path = self.folder / "site.toml"
        lines = path.read_text(encoding="utf-8").splitlines()
        for name, value in replaced.items():
            lines = [f"{name} = {value}" if line.startswith(f"{name} = ") else line
                     for line in lines]  # fmt: skip
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")


@contextmanager
def room(folder: Path, lan: bool) -> Iterator[Room]:
    made = Room(folder / "site", lan)
    with (
        patch.object(pins, "_HASHER", QUICK),
        TestClient(made.app, base_url=made.base),  # begins and ends the app's life
    ):
        pins._nobodys.cache_clear()
        yield made
    pins._nobodys.cache_clear()
