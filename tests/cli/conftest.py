"""The battery room of tests/jobs, for the commands."""

from __future__ import annotations

import sys
from pathlib import Path

for folder in ("jobs", "reader"):  # what the tests of other rooms have made is used here too
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent / folder))

import pytest  # noqa: E402
from battery_room import BATTERIES, CHARGERS, TRUCKS, BatteryRoom  # noqa: E402


@pytest.fixture(scope="session")
def empty_site(tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    """A site made once; each test gets its own."""
    return BatteryRoom(tmp_path_factory.mktemp("empty") / "site")


@pytest.fixture(scope="session")
def site_in_use(tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    """A site with its fleet, made once."""
    room = BatteryRoom(tmp_path_factory.mktemp("in-use") / "site")
    for text in (TRUCKS, BATTERIES, CHARGERS):
        room.take_in(text)
    return room


@pytest.fixture
def empty_room(empty_site: BatteryRoom, tmp_path: Path) -> BatteryRoom:
    """A site that nothing was taken in yet."""
    return empty_site.moved_to(tmp_path / "site")


@pytest.fixture
def room(site_in_use: BatteryRoom, tmp_path: Path) -> BatteryRoom:
    """A fleet in use: its sheets were copied from cases and nameplates."""
    return site_in_use.moved_to(tmp_path / "site")
