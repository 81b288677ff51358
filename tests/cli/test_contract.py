"""How every command ends and speaks: codes, JSON, errors, pipes, consoles, interruptions."""

from __future__ import annotations

import json
import os
import re
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
import typer
from battery_room import BatteryRoom, ended, process, run
from tagkit.cli.main import COMMANDS, app_with
from tagkit.record.store import FILE_NAME

WRITES = {
    "receive": ("sheet.csv",),
    "marry": ("B1", "--serial", "b1", "--voltage", "48", "--weight", "1100 kg"),
    "labels": ("B1", "--out", "labels.pdf"),
    "swap": ("T1", "B1"),
    "undo": (),
    "seen": ("B1", "stand 1"),
    "hold": ("B1", "--reason", "leak"),
    "release": ("B1", "--reason", "mended"),
    "amend": ("B1", "--reason", "misread", "--second", "JT", "--set", "weight=1 t"),
    "retire": ("B1", "--reason", "old"),
    "authorise": ("KM", "--role", "supervisor"),
    "charge start": ("B1", "C1"),
    "charge end": ("B1",),
    "water": ("B1", "--litres", "4"),
    "round enter": ("B1", "--cells", "1280/21 1275"),
    "round import": ("filled.csv",),
    "test capacity": ("B1", "--current", "155 A", "--minutes", "300"),
    "test leakage": ("B1", "--ohm", "4000"),
    "repair": ("B1", "connectors"),
    "inspect": ("B1",),
    "clean": ("B1", "--with", "soda solution"),
    "check": ("B1",),
    "incident report": ("spill", "--what", "two litres on the floor"),
    "steps confirm": ("spill",),
    "void": ("mfzwizlt4sq3xkpa-1", "--reason", "another battery"),
}
READS = {
    "fit": ("B1", "T1"),
    "where": ("B1",),
    "list": (),
    "history": ("B1",),
    "contradictions": (),
    "verify": (),
    "backup": ("backup.db",),
    "next": ("T1",),
    "today": (),
    "equipment": (),
    "round show": ("B1",),
    "round blank": ("B1", "--out", "sheet.pdf"),
    "incident list": (),
    "steps show": (),
    "plan ventilation": (),
    "plan pool": (),
    "plan retirement": (),
    "plan acid": (),
    "report battery": ("B1", "--out", "b.pdf"),
    "report month": ("--out", "month.pdf"),
    "report people": ("--out", "people.pdf"),
}
GROUPS = ("charge", "record", "round", "test", "incident", "steps", "plan", "report")
"""Commands that only hold others."""
ALL = {**WRITES, **READS}


def words(command: str) -> tuple[str, ...]:
    return (*command.split(), *ALL[command])


def test_every_command_of_the_contract_is_here() -> None:
    contract = {"demo", "init", "receive", "marry", "labels", "read", "fit", "swap", "charge",
                "where", "verify", "backup", "restore", "amend", "hold", "release", "seen"}  # fmt: skip
    assert contract <= set(COMMANDS)
    helped = run("--help").out
    assert [name for name in COMMANDS if f"\n  {name} " not in helped] == []


@pytest.mark.parametrize(
    "command",
    dict.fromkeys(
        [*COMMANDS, *ALL, "charge import", "charge current", "steps edit", "record rebuild"]
    ),
)
def test_help_says_what_it_is_for(command: str) -> None:
    found = run(*command.split(), "--help")
    assert found.code == 0
    assert "Usage: tagkit" in found.out
    if command not in (*GROUPS, "receive", "demo", "init", "restore", "company"):
        assert "--site DIR" in found.out
    if command not in GROUPS:
        assert "--json" in found.out
    if command in WRITES:
        assert "--by CODE" in found.out
        assert "--station NAME" in found.out
        assert "--at TIME" in found.out


@pytest.mark.parametrize("command", ALL)
def test_without_a_site_every_command_says_how_to_make_one(command: str, tmp_path: Path) -> None:
    found = run(*words(command), "--site", tmp_path, "--json")
    assert found.code == 3, found
    error = found.data["error"]
    assert set(error) == {"where", "problem", "remedy", "exit"}
    assert error["exit"] == 3
    assert "tagkit init" in error["remedy"]
    assert str(tmp_path) in found.err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", WRITES)
def test_nobody_writes_without_a_name(command: str, room: BatteryRoom) -> None:
    path = room.folder / "site.toml"
    settings = path.read_text(encoding="utf-8").replace('by = "TS"', 'by = ""')
    path.write_text(settings, encoding="utf-8")
    arguments = [room.folder.parent / word if "." in word else word for word in words(command)]
    before = room.count()
    found = room.run(*arguments, "--json")
    assert found.code == 2, found
    assert found.data["error"]["where"] == "--by"
    assert found.data["error"]["remedy"]
    assert room.count() == before


@pytest.mark.parametrize("command", WRITES)
@pytest.mark.parametrize(
    ("option", "value"),
    [("--at", "tomorrow"), ("--at", "25:00"), ("--at", "0001-01-01"), ("--at", "9999-12-31T23:59"),
     ("--station", "a/b"), ("--by", "T S")],
)  # fmt: skip
def test_options_that_can_not_be_are_named(
    command: str, option: str, value: str, room: BatteryRoom
) -> None:
    if option != "--at" and command not in ("hold", "charge start", "receive", "undo"):
        return  # the same code for all; four stand for them
    arguments = [room.folder.parent / word if "." in word else word for word in words(command)]
    if command == "receive":
        arguments[1] = room.sheet("Maker's serial,Voltage (V)\nX1,48\n")
    if command == "undo":
        room.charge("B1")
        assert room.run("swap", "T1", "B1", "--by", "TS").code == 0
    before = room.count()
    by = ("--by", "TS") if option != "--by" else ()
    found = room.run(*arguments, *by, option, value)
    assert found.code == 2, found
    assert option in found.err
    assert room.count() == before


def test_a_time_of_day_is_its_last_occurrence(room: BatteryRoom) -> None:
    assert room.run("hold", "B1", "--reason", "leak", "--at", "00:00").code == 0
    assert room.run("hold", "B2", "--reason", "leak", "--at", "23:59").code == 0
    first, second = room.events("held")
    for event in (first, second):
        assert 0 <= (event.recorded - event.happened).total_seconds() < 24 * 3600
    assert (f"{first.happened:%H:%M}", f"{second.happened:%H:%M}") == ("00:00", "23:59")


def test_the_site_may_be_named_by_the_environment(
    room: BatteryRoom, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setenv("TAGKIT_SITE", str(room.folder))
    assert run("where", room["B1"]).code == 0
    assert run("where", room["B1"], "--site", tmp_path).code == 3
    monkeypatch.delenv("TAGKIT_SITE")
    monkeypatch.chdir(room.folder)
    assert run("where", room["B1"]).code == 0


@pytest.mark.parametrize(
    "arguments",
    [(), ("fly",), ("where",), ("where", "B1", "--colour"), ("swap", "T1"), ("charge", "stop")],
)
def test_usage_that_is_wrong_ends_with_2(arguments: tuple[str, ...]) -> None:
    found = run(*arguments)
    assert (found.code, found.out) == (2, "")
    assert "Usage: tagkit" in found.err
    as_json = run(*arguments, "--json")
    assert as_json.code == 2
    assert as_json.data["error"]["problem"]


@pytest.mark.parametrize("command", [*dict.fromkeys([*COMMANDS, *ALL]), "charge import"])
def test_what_a_command_lacks_is_named_with_what_it_is_for_and_an_example(command: str) -> None:
    context = click_context(command)
    needed = [one for one in context.command.params if one.required]
    if not needed or context.command.params == []:
        return
    found = run(*command.split())
    assert found.code == 2 and found.out == "", found
    assert " missing" in found.err and f"Write it like: tagkit {command} " in found.err
    assert "Missing option" not in found.err
    for one in needed:
        name = max(one.opts, key=len) if one.param_type_name == "option" else one.metavar
        assert f"{(name or '').strip('{}')}: " in found.err
    example = context.command.help.split("Example")[1].partition(": ")[2].split(" · ")[0]
    for option in re.findall(r"--[a-z-]+", example):
        assert any(option in one.opts for one in context.command.params), option
    for one in needed:
        assert one.param_type_name != "option" or set(one.opts) & set(example.split())


def click_context(command: str) -> Any:
    """What the parser knows of a command."""
    found = typer.main.get_command(app_with(command.split()[0]))
    for word in command.split():
        found = getattr(found, "commands", {}).get(word, found)
    return SimpleNamespace(command=found)


def test_version() -> None:
    from tagkit import __version__

    assert run("--version").out.strip() == f"tagkit {__version__}"


def test_errors_go_to_standard_error_with_where_what_and_remedy(room: BatteryRoom) -> None:
    found = room.run("charge", "start", "B1", "C1", "--sg", "9")
    assert (found.code, found.out) == (2, "")
    assert found.err == (
        "tagkit: --sg: 9 is not plausible (between 1.000 and 1.350). Read it again.\n"
    )


def test_a_fault_of_ours_ends_with_70_and_no_traceback(
    room: BatteryRoom, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fall_over(*_: Any) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("tagkit.jobs.whereabouts.where_is", fall_over)
    found = room.run("where", "B1", "--json")
    assert found.code == 70
    assert found.data["error"]["exit"] == 70
    assert "a fault of ours (ZeroDivisionError" in found.err
    assert "Traceback" not in found.err
    monkeypatch.setenv("TAGKIT_DEBUG", "1")
    assert "fall_over" in room.run("where", "B1").err


def test_a_busy_record_ends_with_75(room: BatteryRoom, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tagkit.record.store.BUSY_TIMEOUT_MS", 50)
    other = sqlite3.connect(room.folder / FILE_NAME, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    try:
        found = room.run("hold", "B1", "--reason", "leak", "--json")
        assert found.code == 75
        assert found.data["error"]["exit"] == 75
        assert "try again" in found.err.lower()
        assert room.run("where", "B1").code == 0  # looking up does not wait
    finally:
        other.execute("ROLLBACK")
        other.close()
    assert room.run("hold", "B1", "--reason", "leak").code == 0


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "cp437", "utf-16"])
def test_odd_consoles_get_every_answer(room: BatteryRoom, encoding: str) -> None:
    place = "Regal №3 → 東"
    assert room.run("seen", "B1", place, encoding=encoding).code == 0
    for command in (("where", "B1"), ("list",), ("history", "B1"), ("fit", "LIGHT", "T1"),
                    ("where", "B-QM-00417-D"), ("--help",)):  # fmt: skip
        there = run if command == ("--help",) else room.run
        found = there(*command, encoding=encoding)
        assert found.code in (0, 3, 10), found
        assert found.out or found.err
    as_json = room.run("where", "B1", "--json", encoding=encoding)
    assert as_json.data["place"] == place


@pytest.mark.parametrize("command", ["where B1", "list", "history B1", "fit LIGHT T1", "verify",
                                     "seen LIGHT T2", "contradictions"])  # fmt: skip
def test_output_into_a_pipe_is_plain(room: BatteryRoom, command: str) -> None:
    found = room.run(*command.split())
    assert found.out
    assert "\x1b" not in found.out + found.err


def test_an_interruption_ends_with_130_and_says_what_holds(
    room: BatteryRoom, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: Any, **__: Any) -> None:
        raise KeyboardInterrupt

    before = room.count()
    monkeypatch.setattr("tagkit.record.writing.Writing.append", interrupted)
    found = room.run("hold", "B1", "--reason", "leak")
    monkeypatch.undo()
    assert found.code == 130
    assert "not logged" in found.err
    assert room.count() == before


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT for another process")
def test_ctrl_c_in_a_station_ends_with_130(room: BatteryRoom, tmp_path: Path) -> None:
    import cv2
    import numpy as np

    video = tmp_path / "dark.avi"
    writer = cv2.VideoWriter(str(video), cv2.VideoWriter.fourcc(*"MJPG"), 10, (320, 240))
    for _ in range(3):
        writer.write(np.full((240, 320, 3), 90, np.uint8))
    writer.release()
    # A shell that runs the tests in the background has them ignore Ctrl-C.
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        started = room.start("read", video, "--change", "--by", "KM", stdin=subprocess.PIPE)
    finally:
        signal.signal(signal.SIGINT, before)
    assert started.stdout is not None
    assert started.stdout.readline().startswith("Show labels to the camera")
    time.sleep(0.2)
    started.send_signal(signal.SIGINT)
    found = ended(started)
    assert found.code == 130, found
    assert "Traceback" not in found.err


@pytest.mark.skipif(os.name == "nt", reason="Windows has no SIGINT for another process")
def test_ctrl_c_while_a_module_is_imported_ends_with_130(tmp_path: Path) -> None:
    """A dataclass is made by executing a string, which Python treats as a program of its own."""
    (tmp_path / "sitecustomize.py").write_text(
        "import tagkit.cli.main as m\n"
        "def app_with(*_):\n"
        "    return lambda **_: exec('raise KeyboardInterrupt')\n"
        "m.app_with = app_with\n"
    )
    found = ended(process("list", environment={"PYTHONPATH": str(tmp_path)}))
    assert (found.code, found.out) == (130, "")
    assert "not logged" in found.err


@pytest.mark.skipif(os.name == "nt", reason="pipes break differently on Windows")
def test_a_closed_pipe_is_no_crash(room: BatteryRoom) -> None:
    started = room.start("list", "--json")
    assert started.stdout is not None
    started.stdout.close()
    assert started.stderr is not None
    told = started.stderr.read()
    assert "Traceback" not in told
    assert "fault of ours" not in told
    assert started.wait(60) in (0, 130)


def test_a_real_process_does_the_same(room: BatteryRoom) -> None:
    found = ended(process("fit", room["LIGHT"], room["T1"], "--site", room.folder, "--json"))
    assert found.code == 10
    assert json.loads(found.out)["schema"] == 1
    assert found.err == ""


def test_a_real_ascii_console_is_no_crash(room: BatteryRoom) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "tagkit", "where", "B-QM-00417-D", "--site", str(room.folder)],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        check=False,
    )
    assert done.returncode == 3
    assert b"not in this site's record" in done.stderr
    assert done.stderr.isascii()


def test_looking_up_loads_no_heavy_library(room: BatteryRoom) -> None:
    code = (
        "import sys\n"
        f"sys.argv = ['tagkit', 'where', {room['B1']!r}, '--site', {str(room.folder)!r}]\n"
        "from tagkit.cli.main import main\n"
        "try:\n    main()\n"
        "except SystemExit as end:\n    assert not end.code, end.code\n"
        "heavy = ('cv2', 'numpy', 'reportlab', 'sqlite_utils', 'rich', 'PIL', 'qrcode')\n"
        "print([name for name in heavy if name in sys.modules])\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"
