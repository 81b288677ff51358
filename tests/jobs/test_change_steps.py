"""The steps of the change stand beside the finishing steps where the site wants them."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest
from battery_room import BatteryRoom
from tagkit.jobs.change_steps import change_steps
from tagkit.station.words import Line

ROLLED = """\
Fleet number,Maker's serial,Voltage (V),Battery weight min,Battery weight max,How the battery leaves
R1,TR-1,48,1000 kg,1200 kg,rolled out
R2,TR-2,48,1000 kg,1200 kg,lifted out
"""


@pytest.fixture
def trucks(room: BatteryRoom) -> BatteryRoom:
    room.take_in(ROLLED)
    return room


def steps(room: BatteryRoom, truck: str, stage: str = "finish") -> Any:
    screen = SimpleNamespace(stage=stage, lines=(Line("line.truck", {"number": room[truck]}),))
    with room.open() as site:
        return change_steps(site, screen)  # type: ignore[arg-type]


def test_by_default_the_finishing_steps_stand_alone(trucks: BatteryRoom) -> None:
    assert steps(trucks, "R1") is None


def test_a_site_that_asks_sees_the_steps_of_how_the_battery_leaves(trucks: BatteryRoom) -> None:
    path = trucks.folder / "site.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("procedure_steps = false", "procedure_steps = true"), "utf-8")
    assert steps(trucks, "R1").procedure == "change by rollers"
    assert steps(trucks, "R2").procedure == "change by lifting"
    assert steps(trucks, "T1") is None  # its plate does not say how
    assert steps(trucks, "R1", "stop") is None


def test_a_list_of_the_site_s_own_is_shown(trucks: BatteryRoom) -> None:
    (trucks.folder / "steps.toml").write_text(
        '["change by rollers"]\nen = ["Lock the stand", "Draw the battery out"]\n', "utf-8"
    )
    assert steps(trucks, "R1").steps == ("Lock the stand", "Draw the battery out")
    assert steps(trucks, "R2") is None
