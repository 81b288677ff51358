"""A site that can't be written to: everything can be looked up, and nothing recorded."""

from __future__ import annotations

import ctypes
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from battery_room import BatteryRoom
from tagkit.record.verify import verify

pytestmark = pytest.mark.skipif(os.name == "nt", reason="folders there have no such permissions")

LOOK_UPS = {"where": 0, "fit": 0, "next": 0, "list": 0, "history": 0, "today": 0, "verify": 0,
            "backup": 0, "sealed": 0}  # fmt: skip
WRITING = ("hold", "swap", "rebuild", "exchange", "pin", "enrol")


@contextmanager
def not_to_be_written(folder: Path) -> Iterator[None]:
    """No file or folder in it may be changed, by whoever minds permissions."""
    inside = [folder, *folder.rglob("*")]
    before = {path: path.stat().st_mode for path in inside}
    for path in inside:
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        yield
    finally:
        for path, mode in before.items():
            path.chmod(mode)


def _minds_permissions() -> None:
    """Root passes over them; without these two capabilities it does not (Linux)."""
    if os.geteuid() == 0:
        for capability in (1, 2):  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH
            ctypes.CDLL(None).prctl(24, capability, 0, 0, 0)  # PR_CAPBSET_DROP


def looked_up(folder: Path, *arguments: str) -> dict[str, Any]:
    done = subprocess.run(
        [sys.executable, Path(__file__).with_name("looking_only.py"), folder, *arguments],
        capture_output=True, text=True, encoding="utf-8", check=False,
        preexec_fn=_minds_permissions, stdin=subprocess.DEVNULL,
        env={**os.environ, "TAGKIT_BACKUP_PASSWORD": "long enough a word"},
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    return dict(json.loads(done.stdout))


def contents(folder: Path) -> dict[str, tuple[int, bytes]]:
    return {
        str(path.relative_to(folder)): (path.stat().st_mtime_ns, path.read_bytes())
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_all_is_looked_up_and_nothing_written(room: BatteryRoom, tmp_path: Path) -> None:
    room.staff()
    room.charge("B1")
    before = contents(room.folder)
    with not_to_be_written(room.folder):
        told = looked_up(room.folder, room["B1"], room["T1"], str(tmp_path / "kept.tagkit"))
    assert contents(room.folder) == before
    commands, pages = told["commands"], told["pages"]
    for name, code in LOOK_UPS.items():
        assert commands[name][0] == code, (name, commands[name])
    assert room["B1"] in commands["next"][1] and "charge" in commands["history"][1]
    for name in WRITING:
        code, _out, err = commands[name]
        assert code == 2 and "may not write to its" in err, (name, commands[name])
        assert "Traceback" not in err
    for address, (status, text) in pages.items():
        if address == "/health":
            assert status == 503 and "can only be looked up" in text
        elif address.endswith("/hold"):
            assert status == 400 and "nothing was recorded" in text
        else:
            assert status == 200, (address, text)
            assert address.startswith("/reports") or "Look-ups only" in text, address
    assert verify(room.folder) == []
