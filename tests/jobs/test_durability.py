"""Power cuts at every write step of the jobs: whole or not at all, and what was told stays.

A disk that forgets what was not synced (tests/record/forgetful_vfs.py) fails at each step in
turn; afterwards the real file holds nothing, everything or some of the unsynced writes.
"""

from __future__ import annotations

import contextlib
import importlib.util
import random
from collections.abc import Callable
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
from battery_room import BATTERIES, BatteryRoom, ago
from tagkit.assets.tag import Kind
from tagkit.jobs.change import Wanted, log_change
from tagkit.jobs.charge import ChargeReadings, start_charge
from tagkit.jobs.receive import receive
from tagkit.jobs.site import Site, read_settings
from tagkit.record.record import Record
from tagkit.record.verify import verify

pytest.importorskip("apsw", reason="the disk that forgets needs apsw: pip install tagkit[test]")

Job = Callable[[BatteryRoom, Site], Any]


@pytest.fixture(scope="module")
def disks(project: Path) -> ModuleType:
    """The module of the disk that forgets unsynced writes."""
    path = project / "tests" / "record" / "forgetful_vfs.py"
    spec = importlib.util.spec_from_file_location("forgetful_vfs", path)
    assert spec and spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def ready(site_in_use: BatteryRoom, tmp_path_factory: pytest.TempPathFactory) -> BatteryRoom:
    """B1 is in T1 for an hour, B2 is charged and rested; the sheet of a delivery lies there."""
    room = site_in_use.moved_to(tmp_path_factory.mktemp("ready") / "site")
    room.charge("B1", "B2")
    wanted = Wanted(room["T1"], room["B1"])
    with room.open() as site:
        log_change(site, wanted, by="KM", station="bay-1", at=ago(hours=1))
    return room


def delivery(room: BatteryRoom, site: Site) -> None:
    sheet = room.folder / "delivery.csv"
    sheet.write_text(BATTERIES.replace("\nB", "\nNEW"), encoding="utf-8")
    sheet.write_text(
        "Maker's serial,Voltage (V),Service weight\nN1,48,1 t\nN2,48,1 t\nN3,48,1 t\n",
        encoding="utf-8",
    )
    receive(site, sheet, by="TS", station="desk")


def change_with_charge(room: BatteryRoom, site: Site) -> None:
    wanted = Wanted(room["T1"], room["B2"], charger=room["C2"], discharged_percent=70)
    log_change(site, wanted, by="KM", station="bay-1")


def charge(room: BatteryRoom, site: Site) -> None:
    start_charge(
        site, room["B3"], room["C2"], ChargeReadings("25 °C", "1.150"), by="KM", station="bay-1"
    )


def delivery_done(room: BatteryRoom, site: Site) -> bool:
    there = [site.record.by_maker_serial(Kind.BATTERY, name) for name in ("N1", "N2", "N3")]
    assert len({one is None for one in there}) == 1, "a part of the delivery is in the record"
    return there[0] is not None


def change_done(room: BatteryRoom, site: Site) -> bool:
    one, two = site.record.state(room["B1"]), site.record.state(room["B2"])
    assert one and two and one.place and two.place
    done = two.place["name"] == room["T1"]
    assert (one.place["name"] == room["C2"]) is done, "the battery out is somewhere else"
    assert (one.charging is not None) is done, "the change is there without its charge"
    return done


def charge_done(room: BatteryRoom, site: Site) -> bool:
    state = site.record.state(room["B3"])
    assert state
    assert (state.charging is not None) is (state.last_temperature is not None)
    return state.charging is not None


JOBS: dict[str, tuple[Job, Callable[[BatteryRoom, Site], bool]]] = {
    "receive": (delivery, delivery_done),
    "swap": (change_with_charge, change_done),
    "charge": (charge, charge_done),
}


def cut(
    room: BatteryRoom, disks: ModuleType, job: Job, step: int | None, left: str, seed: int
) -> tuple[bool, bool]:
    """Runs a job on a disk whose power goes at ``step``: (did the job say done, was it cut)."""
    told = False
    with disks.power_cut(step, left, random.Random(seed)) as disk:
        record = Record.open(room.folder, connect=disk.connect)
        try:
            site = Site(room.folder, read_settings(room.folder), record)
            job(room, site)
            told = True
        finally:
            with contextlib.suppress(Exception):  # without power it can't even be closed
                record.close()
    return told, step is not None and disk.steps >= step


@pytest.mark.parametrize("name", JOBS)
def test_a_power_cut_at_any_step_leaves_a_job_whole_or_undone(
    ready: BatteryRoom, disks: ModuleType, tmp_path: Path, name: str
) -> None:
    job, done = JOBS[name]
    outcomes: list[tuple[bool, bool]] = []
    step, was_cut = 0, True
    while was_cut:
        step += 1
        for left in ("nothing", "everything", "some"):
            room = ready.moved_to(tmp_path / f"{step}-{left}")
            told, was_cut = cut(room, disks, job, step, left, step)
            assert verify(room.folder) == [], f"step {step}, left {left}"
            with room.open() as site:
                happened = done(room, site)
            assert happened or not told, f"told as done and lost: step {step}, left {left}"
            outcomes.append((told, happened))
            # The record goes on working: the job can be done if it was not.
            if not happened and left == "some":
                with room.open() as site:
                    job(room, site)
                    assert done(room, site)
                assert verify(room.folder) == []
    assert step > 10, "the cuts were too few to hit anything"
    assert (False, False) in outcomes
    assert (True, True) in outcomes


def test_a_job_that_did_not_sync_would_be_caught(
    ready: BatteryRoom, disks: ModuleType, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The check can fail: without syncing, a charge that was told as done gets lost."""
    monkeypatch.setattr(disks.ForgetfulFile, "xSync", lambda self, flags: self.disk.step())
    room = ready.moved_to(tmp_path / "site")
    with disks.power_cut(None, "nothing", random.Random(1)) as disk:
        record = Record.open(room.folder, connect=disk.connect)
        charge(room, Site(room.folder, read_settings(room.folder), record))
    with room.open() as site:
        assert not charge_done(room, site)
