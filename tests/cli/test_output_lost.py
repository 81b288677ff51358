"""Nobody can read what is printed: no traceback, and no claim that nothing was done."""

from __future__ import annotations

import io
import os
import sys
from pathlib import Path
from unittest.mock import patch

import pytest
from battery_room import BatteryRoom, ended
from tagkit.cli.main import main

FULL = Path("/dev/full")


@pytest.mark.skipif(not FULL.exists(), reason="needs a device that is always full (Linux has one)")
@pytest.mark.parametrize("form", [(), ("--json",)])
def test_an_output_that_takes_nothing_is_told(room: BatteryRoom, form: tuple[str, ...]) -> None:
    with FULL.open("w") as full:
        held = ("hold", "B1", "--reason", "smells odd", "--by", "KM")
        found = ended(room.start(*held, *form, output=full))
    assert found.code == 130
    assert "may be done" in found.err
    assert "Traceback" not in found.err
    assert room.state("B1").held


@pytest.mark.parametrize("form", [(), ("--json",)])
def test_a_program_without_a_console_works(room: BatteryRoom, form: tuple[str, ...]) -> None:
    words = ["tagkit", "hold", room["B1"], "--reason", "smells odd", "--by", "KM", *form]
    words += ["--site", str(room.folder)]
    with (
        patch.object(sys, "argv", words),
        patch.object(sys, "stdout", None),
        patch.object(sys, "stderr", None),
        pytest.raises(SystemExit) as ending,
    ):
        main()
    assert ending.value.code == 0
    assert room.state("B1").held


def test_a_disk_that_fails_is_told(room: BatteryRoom) -> None:
    class Failing(io.StringIO):
        def write(self, _: str) -> int:
            raise OSError(28, os.strerror(28))

    with (
        patch.object(sys, "argv", ["tagkit", "--help"]),
        patch.object(sys, "stdout", Failing()),
        pytest.raises(SystemExit) as ending,
    ):
        main()
    assert ending.value.code == 75
