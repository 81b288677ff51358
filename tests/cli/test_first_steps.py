"""What somebody meets who has never used it: help, slips of the hand, sites with little in them."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from battery_room import BatteryRoom, run
from tagkit.cli import show
from tagkit.jobs.people import is_supervisor


@pytest.mark.parametrize("group", [(), ("plan",), ("round",), ("charge",)])
def test_a_command_that_only_holds_others_shows_its_help_and_no_error(
    group: tuple[str, ...],
) -> None:
    found = run(*group)
    assert found.code == 2
    assert found.err.startswith("Usage: tagkit")
    assert found.err.count("Usage:") == 1
    assert "..." not in found.err.replace("[ARGS]...", "")


def test_a_mistyped_command_is_answered_with_the_nearest() -> None:
    assert run("lst").err.startswith(
        "tagkit: there is no command “lst”. Did you mean list? “tagkit --help” lists the commands.\n"
    )
    assert "Did you mean start? “tagkit charge --help”" in run("charge", "strt").err
    assert "no command “zzzz”. “tagkit --help” lists" in run("zzzz").err


def test_an_option_before_its_command_is_told_where_it_belongs(room: BatteryRoom) -> None:
    found = run("--site", room.folder, "list")
    assert found.code == 2
    assert "Options stand after the command: tagkit COMMAND … --site." in found.err


def test_a_kind_that_nothing_is_of_is_named(room: BatteryRoom, tmp_path: Path) -> None:
    assert room.run("list", "--kind", "lifting").out.startswith("No lifting gear yet.")
    assert run("init", tmp_path / "new", "--code", "NW").code == 0
    assert run("list", "--site", tmp_path / "new").out.startswith("No assets yet.")


def test_a_name_that_nothing_bears_is_said_to_be_unknown(room: BatteryRoom) -> None:
    for name in ("XO1", "TO1", "C0"):
        found = room.run("where", name)
        assert found.code == 2
        assert f"nothing here is called “{name}”" in found.err
    mistyped = room["B1"][:-1] + ("A" if room["B1"][-1] != "A" else "B")
    assert "check character" in room.run("where", mistyped).err


def test_the_history_shows_the_ids_that_void_takes(room: BatteryRoom) -> None:
    assert room.run("water", room["B1"], "--litres", "4").code == 0
    head, first, *_ = room.run("history", room["B1"], "--ids").out.splitlines()
    assert head.split("\t")[0] == "id"
    identity, _, what, *_ = first.split("\t")
    assert "watered" in what
    assert room.run("void", identity, "--reason", "another battery").code == 0
    assert "history TAG --ids" in room.run("void", "nothing-1", "--reason", "another").err


def test_an_authorisation_that_is_over_is_not_called_one(room: BatteryRoom) -> None:
    assert room.run("authorise", "SW", "--role", "supervisor", "--by", "SW").code == 0
    given = ("--role", "attendant", "--until", "2020-01-01", "--by", "SW")
    found = room.run("authorise", "ZZ", *given)
    assert found.out == "ZZ is no longer authorised: the last day, 2020-01-01, is over.\n"


def test_the_last_supervisor_does_not_run_out_by_a_slip(room: BatteryRoom) -> None:
    assert room.run("authorise", "SW", "--role", "supervisor", "--by", "SW").code == 0
    ended = ("--role", "supervisor", "--until", "2020-01-01", "--by", "SW")
    found = room.run("authorise", "SW", *ended)
    assert found.code == 2
    assert "--until" in found.err and "last supervisor" in found.err
    with room.open() as site:
        assert is_supervisor(site, "SW")


def test_the_first_supervisor_is_not_over_from_the_start(tmp_path: Path) -> None:
    run("init", tmp_path / "new", "--code", "NW")
    given = ("--role", "supervisor", "--by", "SW", "--site", tmp_path / "new")
    assert run("authorise", "SW", *given, "--until", "2020-01-01").code == 2
    assert run("authorise", "SW", *given).code == 0


def test_a_table_on_a_terminal_is_drawn_without_colour_too(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    show.table(("number", "state"), [("B-QM-00417-D", "ready")])
    shown = capsys.readouterr().out
    assert "\t" not in shown and "\x1b" not in shown
    assert "B-QM-00417-D  ready" in shown


def test_a_password_is_not_asked_for_where_nobody_can_be(
    room: BatteryRoom, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.delenv("TAGKIT_BACKUP_PASSWORD", raising=False)
    monkeypatch.setattr("sys.stdin", io.StringIO("several words\nseveral words\n"))
    found = room.run("backup", tmp_path / "b.tagkit", "--password")
    assert (found.code, found.out) == (2, "")
    assert "TAGKIT_BACKUP_PASSWORD" in found.err and not (tmp_path / "b.tagkit").exists()


def test_what_is_no_backup_at_all_is_not_called_damaged(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("Dear all, the batteries came. " * 40, encoding="utf-8")
    found = run("restore", tmp_path / "letter.txt", tmp_path / "new")
    assert found.code == 2
    assert "this file is not a record. Name a file that “tagkit backup” wrote." in found.err


def test_a_demo_cut_off_says_how_to_build_it_anew(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def cut_off(directory: Path, step: object) -> Iterator[object]:
        directory.mkdir()
        raise KeyboardInterrupt
        yield

    monkeypatch.setattr("tagkit.jobs.demo.run_demo", cut_off)
    monkeypatch.chdir(tmp_path)
    found = run("demo", "--once")
    assert found.code == 130
    assert "quillmoor is built in part only: “tagkit demo quillmoor --force”" in found.err


def test_what_is_wrong_in_many_rows_is_said_once(empty_room: BatteryRoom) -> None:
    lines = ["Maker's serial,Voltage (V),Weight (kg),Chemistry"]
    lines += [f"W{row},48,1100,{'soup' if row != 6 else 'gel'}" for row in range(2, 9)]
    sheet = empty_room.sheet("\n".join([*lines, "W9,heavy,1100,gel"]))
    found = empty_room.run("receive", sheet)
    assert found.code == 2
    told = [line for line in found.out.splitlines() if line.startswith("REJECTED")]
    assert len(told) == 2
    assert "rows 2 to 5, 7, 8, Chemistry: “soup” is not one of" in told[0]
    assert "row 9, Voltage (V): “heavy”" in told[1]
    assert len(empty_room.run("receive", sheet, "--json").data["rejected"]) == 7


def test_figures_have_no_thousands_separator(room: BatteryRoom) -> None:
    """“1,800 ohm” is less than two ohms to half the world."""
    assert room.run("test", "leakage", "B1", "--ohm", "50 kohm", "--by", "SW").code == 0
    said = room.run("test", "leakage", "B1", "--ohm", "50 kohm", "--by", "SW").out
    said += room.run("history", "B1").out + room.run("plan", "acid").out
    assert "50000 ohm" in said and " kg " in said
    assert not re.search(r"\d,\d", said)


def test_a_battery_that_is_held_and_found_in_a_truck_is_not_passed_over(room: BatteryRoom) -> None:
    assert room.run("hold", "B1", "--reason", "leak at cell 3", "--by", "SW", "--no-card").code == 0
    assert room.run("seen", "B1", "stand 4", "--by", "KM").code == 0
    found = room.run("seen", "B1", "T1", "--by", "KM")
    assert found.code == 12
    told = f"STOP. {room['B1']} is held: leak at cell 3. Do not drive {room['T1']}"
    assert told in found.out
    assert room.place("B1") == "T1"


def test_a_charger_log_with_bad_rows_says_how_to_see_them_all(
    room: BatteryRoom, tmp_path: Path
) -> None:
    log = tmp_path / "log.csv"
    log.write_text(
        "Batt,Start,Stop\nNOBODY,2026-03-01 06:00,2026-03-01 14:00\nNONE,2026-03-01 06:00,2026\n"
    )
    columns = [f"{what}={name}" for what, name in
               (("battery", "Batt"), ("started", "Start"), ("ended", "Stop"))]  # fmt: skip
    words = [word for column in columns for word in ("--column", column)]
    found = room.run("charge", "import", log, *words)
    assert found.code == 2
    assert "Rows that can't be taken: 2, all listed by --dry-run" in found.err
    listed = room.run("charge", "import", log, *words, "--dry-run").out
    assert "NOBODY" in listed and "NONE" in listed


def test_what_leaves_the_fleet_says_where_it_was_and_how_that_is_taken_back(
    room: BatteryRoom,
) -> None:
    room.staff()
    room.charge("B1", began=30, ended=20)
    assert room.run("swap", "T1", "B1", "--by", "KM").code == 0
    said = room.run("retire", "B1", "--reason", "sold", "--by", "SW").out
    assert f"By the record it was last in truck {room['T1']}" in said
    stop = room.run("fit", room["B1"], "T2").out
    assert "has left the fleet: take another." in stop
    assert "until that has passed" not in room.run("fit", room["B1"], "C1").out
    identity = room.run("history", room["B1"], "--ids").out.splitlines()[1].split("\t")[0]
    alone = room.run("void", identity, "--reason", "another battery", "--by", "SW")
    assert alone.code == 2
    assert "--second: this takes a second authorised person." in alone.err
    taken = room.run("void", identity, "--reason", "another", "--by", "SW", "--second", "JT")
    assert taken.code == 0
    assert "retired" not in room.run("where", "B1").out
    truck = room.run("retire", "T1", "--reason", "scrapped", "--by", "SW").out
    assert f"By the record it holds {room['B1']}" in truck


def test_a_delivery_cut_off_at_its_labels_is_told_as_taken_in(
    empty_room: BatteryRoom, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def cut_off(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("tagkit.jobs.printing.print_labels", cut_off)
    sheet = empty_room.sheet("Maker's serial,Voltage (V),Weight (kg),Chemistry\nN1,48,1100,gel\n")
    found = empty_room.run("receive", sheet, "--labels", tmp_path / "labels.pdf")
    assert found.code == 14
    assert "1 taken in" in found.out
    assert "the delivery is taken in, but its labels are not printed: interrupted." in found.err
    assert "not logged" not in found.err
    assert len(empty_room.run("list", "--json").data["assets"]) == 1


def test_a_contradiction_cites_the_entry_that_it_rests_on(room: BatteryRoom) -> None:
    room.charge("B1", began=60, ended=50)
    assert room.run("swap", "T2", "B1", "--by", "KM").code == 0
    assert room.run("seen", "B1", "T1", "--by", "JT").code == 0
    found = room.run("swap", "T1", "B1", "--by", "KM")
    assert found.code == 13
    assert "in this truck already (JT " in found.err and "KM put" not in found.err
