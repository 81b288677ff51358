"""Text that is none, and text that ends lines where it should not."""

from __future__ import annotations

import json

import pytest
from battery_room import BatteryRoom, ended, run
from tagkit.cli import show


@pytest.mark.parametrize(
    "words",
    [
        ("hold", "B1", "--reason", "smells \udcff odd", "--by", "KM"),
        ("authorise", "ZZ", "--role", "attendant", "--initials", "\udcff", "--by", "SW"),
        ("amend", "B1", "--set", "weight=1101 kg", "--reason", "typed wrong", "--by", "JT",
         "--second", "\udcff"),
    ],
)  # fmt: skip
def test_bytes_that_are_no_text_are_refused(room: BatteryRoom, words: tuple[str, ...]) -> None:
    room.staff()
    before = room.count()
    found = room.run(*words, "--json")
    assert found.code == 2
    assert "is no text" in found.data["error"]["problem"]
    assert room.count() == before


def test_an_object_is_one_line_for_every_reader(capsys: pytest.CaptureFixture[str]) -> None:
    show.json_out({"text": "a\u2028b\x85c\u2029d"})
    (line,) = capsys.readouterr().out.splitlines()
    assert json.loads(line)["text"] == "a\u2028b\x85c\u2029d"


def test_a_camera_number_beyond_all_cameras_is_not_found() -> None:
    assert run("read", "--camera", "99999999999").code == 3


def test_another_locale_prints_what_it_can(room: BatteryRoom) -> None:
    plain = {"PYTHONIOENCODING": "ascii", "LC_ALL": "C", "HOME": ""}
    found = ended(room.start("where", "B1", "--json", environment=plain))
    assert found.code == 0
    assert found.data["tag"] == room["B1"]
