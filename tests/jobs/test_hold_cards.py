"""An out-of-service card comes with every hold."""

from __future__ import annotations

from pathlib import Path

import pytest
from battery_room import BatteryRoom
from tagkit.errors import WrongInput


def card_of(room: BatteryRoom, name: str) -> Path:
    return room.folder / "prints" / f"out-of-service-{room[name]}.pdf"


def test_a_hold_puts_its_card_into_the_site_s_folder(room: BatteryRoom) -> None:
    done = room.run("hold", "B1", "--reason", "smells odd")
    assert done.code == 0 and str(card_of(room, "B1")) in done.out.replace("\n", "")
    assert card_of(room, "B1").stat().st_size > 1000
    told = room.run("hold", "B1", "--reason", "leaks", "--safety", "--json")
    assert told.data["card"]["file"] == str(card_of(room, "B1"))


def test_a_hold_without_a_card_says_what_to_do(room: BatteryRoom) -> None:
    done = room.run("hold", "B1", "--reason", "smells odd", "--no-card")
    assert done.code == 0 and "Put an out-of-service card on it" in done.out
    assert not card_of(room, "B1").exists()
    asked = room.run("hold", "B1", "--reason", "leaks", "--no-card", "--card", "x.pdf")
    assert asked.code == 2 and len(room.state("B1").holds) == 1


def test_the_hold_stands_when_printing_fails(
    room: BatteryRoom, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_args: object) -> None:
        raise WrongInput("the printer's folder is full", "Make room")

    monkeypatch.setattr("tagkit.jobs.cards.print_out_of_service", fails)
    done = room.run("hold", "B1", "--reason", "Leaks")
    assert done.code == 0 and "its card was not printed" in done.err and room.state("B1").held


def test_a_folder_that_is_in_the_way_is_told(room: BatteryRoom) -> None:
    (room.folder / "prints").write_text("no folder", encoding="utf-8")
    done = room.run("hold", "B1", "--reason", "Leaks")
    assert done.code == 0 and "can't be written" in done.err and room.state("B1").held


def test_an_inspection_that_holds_prints_it(room: BatteryRoom) -> None:
    found = room.run("inspect", "B1", "--finding", "case cracked", "--hold", "safety", "--json")
    assert found.code == 0 and found.data["card"]["symbols_read_back"] == 1
    passed = room.run("inspect", "B2", "--json")
    assert passed.data["card"] is None and not card_of(room, "B2").exists()


def test_a_reversed_cell_prints_it(room: BatteryRoom) -> None:
    cells = " ".join("1190/25/-0.4" if cell == 7 else "1280/25" for cell in range(1, 25))
    words = ("round", "enter", "B1", "--cells", cells, "--confirm", "7")
    found = room.run(*words, "--charged", "--rested", "9", "--json")
    assert found.code == 0 and found.data["card"]["file"] == str(card_of(room, "B1"))


def test_an_incident_that_holds_prints_one_for_each(room: BatteryRoom) -> None:
    words = ("incident", "report", "dropped battery", "--what", "fell off the beam", "--hold")
    found = room.run(*words, "--tag", "B1", "--tag", "B2", "--json")
    assert found.code == 0
    assert {Path(card["file"]) for card in found.data["cards"]} == {
        card_of(room, "B1"), card_of(room, "B2")
    }  # fmt: skip
