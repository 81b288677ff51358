"""A small depot's record, a clock in the test's hand, and a disk that forgets."""

from __future__ import annotations

import importlib.util
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from tagkit.assets.tag import Kind, Tag
from tagkit.record.envelope import Event
from tagkit.record.record import Record


class TestClock:
    """Stands still until it is moved; each look moves it by a millisecond."""

    __test__ = False

    def __init__(self) -> None:
        self.now = datetime(2026, 3, 2, 6, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.now += timedelta(milliseconds=1)
        return self.now

    def move(self, **amount: float) -> None:
        self.now += timedelta(**amount)


class Depot:
    """A record with two trucks, four batteries and two chargers."""

    def __init__(self, folder: Path, clock: Callable[[], datetime]) -> None:
        self.folder = folder
        self.clock = clock
        self.record = Record.create(folder, "QM", clock=clock)
        with self.record.writing("TS", "desk") as writing:
            self.trucks = [writing.issue(Kind.TRUCK) for _ in range(2)]
            self.batteries = [writing.issue(Kind.BATTERY) for _ in range(4)]
            self.chargers = [writing.issue(Kind.CHARGER) for _ in range(2)]
            for number, tag in enumerate((*self.trucks, *self.batteries, *self.chargers)):
                serial = {"value": f"SN {number}", "source": "catalogue"}
                writing.append("registered", [tag], {"nameplate": {"maker_serial": serial}})

    def log(self, kind: str, body: dict[str, Any], **options: Any) -> Event:
        """One event in a writing of its own."""
        tags = options.pop("tags", [])
        station = options.pop("station", "desk")
        by = options.pop("by", "TS")
        with self.record.writing(by, station) as writing:
            return writing.append(kind, tags, body, **options)

    def change(
        self, truck: Tag, into: Tag, out: Tag | None = None, to: Tag | None = None, **options: Any
    ) -> Event:
        place = {"kind": "charger", "name": str(to)} if to else None
        body = {
            "truck": str(truck),
            "battery_in": str(into),
            "battery_out": str(out) if out else None,
            "out_to": place,
        }
        return self.log("changed", body, **options)

    def place(self, battery: Tag) -> str | None:
        state = self.record.state(battery)
        assert state
        return state.place["name"] if state.place else None


@pytest.fixture
def clock() -> TestClock:
    return TestClock()


@pytest.fixture
def depot(tmp_path: Path, clock: TestClock) -> Iterator[Depot]:
    depot = Depot(tmp_path / "site", clock)
    yield depot
    depot.record.close()


@pytest.fixture
def make_depot(clock: TestClock) -> Callable[[Path], Depot]:
    """Makes a depot where it is asked for."""
    return lambda folder: Depot(folder, clock)


@pytest.fixture(scope="session")
def forgetful_vfs(project: Path) -> ModuleType:
    """The module of the disk that forgets unsynced writes."""
    path = project / "tests" / "record" / "forgetful_vfs.py"
    spec = importlib.util.spec_from_file_location("forgetful_vfs", path)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
