"""What all tests share."""

from __future__ import annotations

import gc
import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from battery_room import BatteryRoom

# The same examples at every run, so that a red run means a change; looking for new ones is done
# on purpose: TAGKIT_EXPLORE=1 pytest.
settings.register_profile("repeatable", derandomize=True, deadline=None)
settings.register_profile("explore", deadline=None)
settings.load_profile("explore" if os.environ.get("TAGKIT_EXPLORE") else "repeatable")

PROJECT = Path(__file__).resolve().parent.parent

# Thousands of records are made and thrown away. In memory nobody waits for the disk at each of
# their commits; whether what was confirmed reaches the disk is shown by a file system of the
# tests' own, which forgets what was not synced. Their folders go as soon as a test has passed.
MEMORY = Path("/dev/shm")
ROOM_NEEDED = 2 * 1024**3
if (
    "PYTEST_DEBUG_TEMPROOT" not in os.environ
    and os.access(MEMORY, os.W_OK | os.X_OK)
    and shutil.disk_usage(MEMORY).free > ROOM_NEEDED
):
    os.environ["PYTEST_DEBUG_TEMPROOT"] = str(MEMORY)

# What the collected tests and their modules hold stays to the end: looking through all of it for
# garbage again and again was a tenth of the suite's processor time.
gc.disable()

LONG = (
    "test_browser_access", "test_browser_station", "test_acceptance", "test_fit_oracle",
    "test_browser_lookup", "test_recover", "test_browser_delivery", "test_exchange_converges",
    "test_hostile_text", "test_damage_scenes", "test_reading_damaged", "test_durability",
    "test_demo_pictures", "test_exchange_killed", "test_hostile_events",
    "test_exchange_power_cuts", "test_order_of_events", "test_killed_writers", "test_decoders",
    "test_condition_command", "test_lattice", "test_stream", "test_care_pages", "test_contract",
    "test_exchange_hostile", "test_exchange_troubles", "test_station_live", "test_serving",
    "test_browser_round", "test_browser_guide",
)  # fmt: skip
"""Files of the longest tests, longest first. They begin first: no core is left with one of them
when the others are through."""


@pytest.fixture(scope="session")
def project() -> Path:
    """The project's top folder."""
    return PROJECT


@pytest.fixture(scope="session")
def empty_site(tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    """A battery room made once; each test gets its own."""
    from battery_room import BatteryRoom  # what the rooms need takes time to load

    return BatteryRoom(tmp_path_factory.mktemp("empty") / "site")


@pytest.fixture(scope="session")
def site_in_use(tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    """A battery room with its fleet, made once."""
    from battery_room import BATTERIES, CHARGERS, TRUCKS, BatteryRoom

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


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_setupnodes(config: pytest.Config) -> None:
    """Files are handed out in the order of the collection, not by how many tests they have."""
    config.option.loadscopereorder = False
    gc.enable()


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    turn = {name: place for place, name in enumerate(LONG)}
    items.sort(key=lambda item: turn.get(item.path.stem, len(LONG)))


def pytest_collection_finish() -> None:
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 10, 10)
    gc.enable()


def pytest_sessionfinish(session: pytest.Session) -> None:
    """In the gate nothing may be skipped: there every optional part is present."""
    if not os.environ.get("TAGKIT_NOTHING_SKIPPED"):
        return
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if reporter and reporter.stats.get("skipped"):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
