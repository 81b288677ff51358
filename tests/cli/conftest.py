"""The battery room of tests/jobs, for the commands."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "jobs"))

import pytest
from battery_room import BATTERIES, CHARGERS, TRUCKS, BatteryRoom


@pytest.fixture
def empty_room(tmp_path: Path) -> BatteryRoom:
    """A site that nothing was taken in yet."""
    return BatteryRoom(tmp_path / "site")


@pytest.fixture
def room(empty_room: BatteryRoom) -> BatteryRoom:
    """A fleet in use: its sheets were copied from cases and nameplates."""
    for text in (TRUCKS, BATTERIES, CHARGERS):
        empty_room.take_in(text)
    return empty_room
