"""Looking up, verifying, backing up and restoring."""

from __future__ import annotations

import os
import shutil
import sqlite3
from pathlib import Path

import pytest
from battery_room import BatteryRoom, ago
from tagkit.record.store import FILE_NAME


def test_where_says_place_state_and_last_charge(room: BatteryRoom) -> None:
    unknown = room.run("where", "B1", "--json")
    assert unknown.code == 0
    assert unknown.data == {
        "tag": room["B1"], "place": None, "in_truck": None, "on_charger": None,
        "state": "not ready",
        "reasons": ["the record does not say whether it was charged since its last use"],
        "since": None, "last_charged_at": None, "last_changed_at": None, "holds": [],
    }  # fmt: skip
    room.charge("B1")
    charged = room.run("where", "B1", "--json").data
    assert (charged["state"], charged["on_charger"]) == ("ready", room["C1"])
    assert charged["last_charged_at"].startswith(f"{ago(hours=12):%Y-%m-%dT%H:%M}")
    assert room.run("swap", "T1", "B1", "--by", "KM").code == 0
    in_use = room.run("where", "B1", "--json").data
    assert (in_use["state"], in_use["in_truck"], in_use["on_charger"]) == (
        "in use",
        room["T1"],
        None,
    )
    assert in_use["place"] == f"in truck {room['T1']} (T1)"
    assert in_use["last_changed_at"] == in_use["since"]
    assert room.run("where", "T1", "--json").data["holds"] == [room["B1"]]


def test_where_for_people_shows_the_sites_time(room: BatteryRoom) -> None:
    room.charge("B1")
    found = room.run("where", "B1").out
    assert f"{ago(hours=12):%a %Y-%m-%d %H:%M}" in found
    assert "ready" in found


def test_a_battery_on_charge_is_on_charge(room: BatteryRoom) -> None:
    room.charge("B1", began=2, ended=None)
    assert room.run("where", "B1", "--json").data["state"] == "on charge"


@pytest.mark.parametrize("number", ["B-QM-00417-D", "b qm 417 d"])
def test_what_is_not_in_the_record_is_not_found(room: BatteryRoom, number: str) -> None:
    found = room.run("where", number, "--json")
    assert found.code == 3
    assert "B-QM-00417-D is not in this site's record" in found.err
    assert found.data["error"]["exit"] == 3


def test_a_mistyped_number_is_wrong_input(room: BatteryRoom) -> None:
    found = room.run("where", "B-QM-00417-E")
    assert found.code == 2
    assert "check character" in found.err


def test_the_list_shows_every_asset_or_those_of_a_kind(room: BatteryRoom) -> None:
    assert len(room.run("list", "--json").data["assets"]) == 10
    trucks = room.run("list", "--kind", "trucks", "--json").data["assets"]
    assert [one["tag"] for one in trucks] == [room["T1"], room["T2"]]
    lines = room.run("list", "--kind", "battery").out.splitlines()
    assert lines[0].split("\t") == [
        "number", "known as", "state", "place or battery", "last charged",
    ]  # fmt: skip
    assert len(lines) == 6
    assert room.run("list", "--kind", "cars").code == 2


def test_an_empty_site_says_what_to_do(empty_room: BatteryRoom) -> None:
    assert "tagkit receive" in empty_room.run("list").out
    assert empty_room.run("list", "--json").data == {"assets": []}
    assert "Nothing contradicts itself." in empty_room.run("contradictions").out


def test_the_history_is_newest_first_and_says_who(room: BatteryRoom) -> None:
    room.charge("B1")
    assert room.run("swap", "T1", "B1", "--by", "KM").code == 0
    found = room.run("history", "B1", "--json").data
    assert found["tag"] == room["B1"]
    kinds = [one["kind"] for one in found["events"]]
    # By the time it happened: the charges were entered after the battery was taken in.
    assert kinds == ["changed", "registered", "charge_ended", "charge_started"]
    assert set(found["events"][0]) == {
        "id", "kind", "happened_at", "recorded_at", "by", "station", "tags", "body", "cancelled",
    }  # fmt: skip
    assert len(room.run("history", "B1", "--limit", "2", "--json").data["events"]) == 2
    lines = room.run("history", "B1").out.splitlines()
    assert f"put {room['B1']} into {room['T1']}\tKM" in lines[1]


# Verify


def test_a_sound_record_is_clean_and_shows_its_heads(room: BatteryRoom) -> None:
    found = room.run("verify", "--json")
    assert found.code == 0
    assert found.data["findings"] == []
    assert found.data["events"] == room.count()
    assert len(found.data["heads"]) == 1
    assert "nothing found" in room.run("verify").out


def test_a_changed_byte_is_found(room: BatteryRoom) -> None:
    with sqlite3.connect(room.folder / FILE_NAME) as connection:
        rows = connection.execute("SELECT n, raw FROM events").fetchall()
        n, raw = next((n, bytes(raw)) for n, raw in rows if b"1100" in bytes(raw))
        changed = (raw.replace(b"1100", b"1111"), n)
        connection.execute("UPDATE events SET raw = ? WHERE n = ?", changed)
    connection.close()
    found = room.run("verify", "--json")
    assert found.code == 20
    assert any("changed" in finding for finding in found.data["findings"])
    assert room.run("verify").code == 20


def test_a_cut_off_tail_is_found_with_a_head_kept_elsewhere(room: BatteryRoom) -> None:
    earlier = shutil.copy(room.folder / FILE_NAME, room.folder.parent / "earlier.db")
    assert room.run("hold", "B1", "--reason", "smells odd").code == 0
    heads = room.run("verify", "--json").data["heads"]
    report = room.folder.parent / "report.txt"
    report.write_text(room.run("verify").out, encoding="utf-8")
    # The same file with the content of before: as if the last event had never been.
    (room.folder / FILE_NAME).write_bytes(Path(earlier).read_bytes())
    assert room.run("verify").code == 0
    for known in (heads[0], report):
        found = room.run("verify", "--head", known, "--json")
        assert found.code == 20, found
        assert any("cut off" in finding for finding in found.data["findings"])


def test_a_head_that_is_none_is_named(room: BatteryRoom) -> None:
    found = room.run("verify", "--head", "nonsense")
    assert found.code == 2
    assert "--head" in found.err


def test_a_copied_folder_is_found(room: BatteryRoom) -> None:
    copy = room.folder.parent / "copy"
    shutil.copytree(room.folder, copy)
    from battery_room import run

    found = run("verify", "--site", copy, "--json")
    assert found.code == 20
    assert any("cop" in finding for finding in found.data["findings"])
    assert room.run("verify").code == 0


def test_a_file_that_is_rubbish_is_found(room: BatteryRoom) -> None:
    path = room.folder / FILE_NAME
    path.write_bytes(path.read_bytes()[:4096] + b"\xff" * 200_000)
    found = room.run("verify")
    assert found.code == 20, found
    looked_up = room.run("where", "B1")
    assert looked_up.code == 2, looked_up
    assert "damaged" in looked_up.err


# Backup and restore


def test_a_backup_restores_into_a_new_epoch_and_verifies(room: BatteryRoom) -> None:
    room.charge("B1")
    assert room.run("hold", "B2", "--reason", "leak", "--by", "TS").code == 0
    file = room.folder.parent / "backup.db"
    made = room.run("backup", file, "--json")
    assert (made.code, made.data["events"], made.data["file"]) == (0, room.count(), str(file))
    from battery_room import run

    new = room.folder.parent / "new"
    back = run("restore", file, new, "--json")
    assert back.code == 0, back.err
    assert back.data["events"] > made.data["events"]  # the new epochs' beginnings
    assert back.data["held"] == [room["B2"]]
    told = run("restore", file, room.folder.parent / "newer").out
    assert "tagkit pin" in told and "tagkit enrol" in told
    assert f"Out of service: {room['B2']}." in " ".join(told.split())
    assert run("verify", "--site", new).code == 0
    found = run("where", room["B1"], "--site", new, "--json")
    assert found.data["state"] == "ready"
    assert any(
        "new epoch" in note for note in run("verify", "--site", new, "--json").data["notices"]
    )
    assert run("hold", room["B1"], "--reason", "test", "--by", "TS", "--site", new).code == 0
    assert run("verify", "--site", new).code == 0
    assert room.run("verify").code == 0


def test_nothing_is_overwritten(room: BatteryRoom) -> None:
    from battery_room import run

    file = room.folder.parent / "backup.db"
    assert room.run("backup", file).code == 0
    before = file.read_bytes()
    refused = room.run("backup", file)
    assert refused.code == 2
    assert "--force" in refused.err
    assert file.read_bytes() == before
    assert room.run("backup", file, "--force").code == 0
    count = room.count()
    onto = run("restore", file, room.folder)
    assert onto.code == 2
    assert str(room.folder) in onto.err
    assert room.count() == count


@pytest.mark.parametrize("content", [None, b"", b"not a record" * 100])
def test_what_is_no_backup_is_named(tmp_path: Path, content: bytes | None) -> None:
    from battery_room import run

    file = tmp_path / "backup.db"
    if content is not None:
        file.write_bytes(content)
    found = run("restore", file, tmp_path / "new")
    assert found.code in (2, 3)
    assert str(file) in found.err
    assert not (tmp_path / "new" / FILE_NAME).exists()


# A new site


def test_a_new_site_has_its_settings_written_out(tmp_path: Path) -> None:
    from battery_room import run

    found = run("init", tmp_path / "depot", "--code", "zz", "--by", "ab", "--json")
    assert (found.code, found.data["site"]) == (0, "ZZ")
    text = (tmp_path / "depot" / "site.toml").read_text(encoding="utf-8")
    assert "play_mm = 13.0" in text
    assert run("list", "--site", tmp_path / "depot").code == 0
    again = run("init", tmp_path / "depot", "--code", "ZZ")
    assert (again.code, "not empty" in again.err) == (2, True)


@pytest.mark.parametrize(
    "options",
    [("--code", "Q"), ("--code", "QM1"), ("--code", "QM", "--language", "xx"),
     ("--code", "QM", "--units", "stone")],
)  # fmt: skip
def test_a_site_that_can_not_be_is_not_made(tmp_path: Path, options: tuple[str, ...]) -> None:
    from battery_room import run

    assert run("init", tmp_path / "depot", *options).code == 2
    assert not (tmp_path / "depot").exists()


def test_a_mistyped_setting_is_named_with_file_and_key(room: BatteryRoom) -> None:
    path = room.folder / "site.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("play_mm", "play_m"), encoding="utf-8")
    found = room.run("where", "B1")
    assert found.code == 2
    assert "site.toml, [fit]" in found.err
    assert "play_m" in found.err


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no such files here")
def test_no_file_is_put_in_the_place_of_a_device(room: BatteryRoom, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "device")
    found = room.run("backup", tmp_path / "device", "--force")
    assert (found.code, (tmp_path / "device").is_fifo()) == (2, True)
    assert "is a device" in found.err
