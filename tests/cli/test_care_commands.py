"""The commands of battery care: help with an example, JSON beside words, cautions in print."""

from __future__ import annotations

import pytest
from battery_room import BatteryRoom, run

COMMANDS = (
    "today", "next", "water", "round enter", "round import", "round blank", "round show",
    "test capacity", "test leakage", "repair", "inspect", "clean", "equipment", "check",
    "incident report", "incident list", "plan ventilation", "plan pool", "plan retirement",
    "plan acid", "report battery", "report month", "report people", "steps show", "steps edit",
    "steps confirm", "charge start", "charge end", "charge import", "void", "retire",
)  # fmt: skip


@pytest.mark.parametrize("command", COMMANDS)
def test_help_ends_with_an_example(command: str) -> None:
    found = run(*command.split(), "--help")
    assert found.code == 0
    plain = " ".join(found.out.split())
    assert f"Example: tagkit {command}" in plain or f"tagkit {command} " in plain


@pytest.mark.parametrize(
    ("command", "caution"),
    [
        (("water", "B1", "--litres", "4"), "gloves"),
        (("round", "enter", "B1", "--cells", "1280/25"), "no flame"),
        (("clean", "B1", "--with", "soda solution"), "gloves"),
        (("test", "leakage", "B1", "--ohm", "50 kohm"), "insulated tools"),
        (("incident", "report", "spill", "--what", "two litres"), "emergency procedure"),
        (("charge", "start", "B1", "C1"), "maker's instructions"),
        (("plan", "ventilation"), "licensed engineer"),
        (("next", "T1"), "nameplates decide"),
    ],
)
def test_what_goes_with_dangerous_work_cautions(
    room: BatteryRoom, command: tuple[str, ...], caution: str
) -> None:
    assert caution in room.run(*command).out


def test_a_round_is_shown_as_the_cells_lie(room: BatteryRoom) -> None:
    cells = " ".join("1225/25" if cell == 7 else "1280/25" for cell in range(1, 25))
    found = room.run("round", "enter", "B1", "--cells", cells, "--charged", "--rested", "9")
    rows = [line for line in found.out.splitlines() if line.startswith("  ")]
    assert rows[0].split()[:2] == ["1", "1.280+"]
    assert rows[1].split()[0] == "12"
    assert "7 1.225!" in rows[1]
    assert "! cell 7 is 0.055 below the median" in found.out
