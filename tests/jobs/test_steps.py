"""Step lists: shipped in two languages, edited by the site, confirmed into the record."""

from __future__ import annotations

import pytest
from battery_room import BatteryRoom
from tagkit.jobs.step_words import STEPS, TITLES
from tagkit.record.care_bodies import PROCEDURES


def test_every_procedure_has_its_steps_in_both_languages() -> None:
    assert set(STEPS) == set(TITLES) == set(PROCEDURES)
    for procedure in PROCEDURES:
        assert len(STEPS[procedure]["en"]) == len(STEPS[procedure]["es"]) >= 5


def test_steps_are_shown_in_the_language_asked_for(room: BatteryRoom) -> None:
    assert "Brake" not in room.run("steps", "show", "charging").out
    assert "Cargador" in room.run("steps", "show", "charging", "--language", "es").out
    assert room.run("steps", "show", "charging", "--language", "de").code == 2
    assert room.run("steps", "show", "dancing").code == 2
    assert len(room.run("steps", "show", "--json").data["procedures"]) == len(PROCEDURES)


def test_the_site_edits_its_own_list(room: BatteryRoom) -> None:
    assert room.run("steps", "edit").code == 0
    assert room.run("steps", "edit").code == 2
    path = room.folder / "steps.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("Caps back on", "Caps back on and counted"), encoding="utf-8")
    (found,) = room.run("steps", "show", "watering", "--json").data["procedures"]
    assert found["own"] and any("counted" in step for step in found["steps"])


@pytest.mark.parametrize(
    "text",
    ["[dancing]\nen = []", "[charging]\nde = ['x']", "[charging]\nen = []", "charging = 1",
     "[charging]\nen = [1]", "[charging"],
)  # fmt: skip
def test_a_list_that_cannot_be_is_told_with_its_place(room: BatteryRoom, text: str) -> None:
    (room.folder / "steps.toml").write_text(text, encoding="utf-8")
    found = room.run("steps", "show", "charging")
    assert found.code == 2 and "steps.toml" in found.err


def test_what_was_confirmed_and_left_out_is_recorded(room: BatteryRoom) -> None:
    found = room.run("steps", "confirm", "charging", "--tag", "B1", "--left-out", "3", "--json")
    assert found.code == 0, found
    assert len(found.data["left_out"]) == 1 and len(found.data["steps"]) == 5
    assert "confirmed the steps of charging" in room.run("history", "B1").out
    assert room.run("steps", "confirm", "charging", "--left-out", "9").code == 2
