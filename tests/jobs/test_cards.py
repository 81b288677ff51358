"""Cards: commands, badges, out of service; every one read back from its own file."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from battery_room import BatteryRoom
from tagkit.assets.card import Badge, Command, CommandCard, OutOfService, card_in
from tagkit.assets.tag import parse_tag
from tagkit.errors import WrongInput
from tagkit.labels.raster import render_pages


def cards_on(pdf: Path) -> list[object]:
    found = []
    for page in render_pages(pdf, 150):
        found += [card_in(code.text) for code in zxingcpp.read_barcodes(np.ascontiguousarray(page))]
    return found


def text_of(pdf: Path) -> str:
    document = pypdfium2.PdfDocument(pdf)
    text = " ".join(page.get_textpage().get_text_range() for page in document)
    document.close()
    return " ".join(text.split())


def test_a_sheet_holds_every_command(empty_room: BatteryRoom, tmp_path: Path) -> None:
    out = tmp_path / "cards.pdf"
    done = empty_room.run("cards", "--out", out, "--json")
    assert done.code == 0, done.err
    assert done.data["labels"] == done.data["symbols_read_back"] == 4
    assert set(cards_on(out)) == {CommandCard("QM", command) for command in Command}
    assert empty_room.run("cards", "--out", out).code == 2, "a file is never overwritten"


def test_everyone_whose_authorisation_runs_gets_a_badge(
    empty_room: BatteryRoom, tmp_path: Path
) -> None:
    empty_room.staff()
    late = ("authorise", "OLD", "--role", "technician", "--until", "2020-01-31", "--by", "SW")
    assert empty_room.run(*late).code == 0
    out = tmp_path / "badges.pdf"
    done = empty_room.run("badges", "--out", out)
    assert done.code == 0, done.err
    assert set(cards_on(out)) == {Badge("QM", code) for code in ("SW", "JT", "KM")}
    one = tmp_path / "one.png"
    done = empty_room.run("badges", "km", "--out", one, "--template", "badge-card", "--json")
    assert done.data["labels"] == 1


@pytest.mark.parametrize(
    ("people", "code", "says"),
    [(("OLD",), 2, "ran out on 2020-01-31"), (("XX",), 3, "not recorded"), ((), 3, "nobody")],
)
def test_nobody_gets_a_badge_who_is_not_authorised(
    people: tuple[str, ...], code: int, says: str, empty_room: BatteryRoom, tmp_path: Path
) -> None:
    if people:
        empty_room.staff()
        late = ("authorise", "OLD", "--role", "technician", "--until", "2020-01-31", "--by", "SW")
        assert empty_room.run(*late).code == 0
    out = tmp_path / "badges.pdf"
    done = empty_room.run("badges", *people, "--out", out)
    assert done.code == code
    assert says in done.err
    assert not out.exists()


def test_the_card_of_a_held_battery_says_why_since_when_and_by_whom(
    room: BatteryRoom, tmp_path: Path
) -> None:
    out = tmp_path / "held.pdf"
    refused = room.run("out-of-service", "B1", "--out", out)
    assert refused.code == 2
    assert "not held" in refused.err
    assert room.run("hold", "B1", "--reason", "water low", "--at", "2026-01-05T06:00").code == 0
    assert room.run("hold", "B1", "--reason", "cracked case", "--safety", "--by", "KM").code == 0
    done = room.run("out-of-service", "B1", "--out", out)
    assert done.code == 0, done.err
    assert "no lockout device" in done.out
    said = text_of(out)
    for words in ("OUT OF SERVICE", "cracked case; water low", "2026-01-05 06:00", "KM, TS",
                  "inspection, then supervisor", "no lockout device", "maker's instructions"):  # fmt: skip
        assert words in said
    assert cards_on(out) == [OutOfService(parse_tag(room["B1"]))]


@pytest.mark.parametrize("name", ["T1", "C1"])
def test_trucks_and_chargers_get_one_too(name: str, room: BatteryRoom, tmp_path: Path) -> None:
    assert room.run("hold", name, "--reason", "r" * 300).code == 0
    for template in ("out-of-service-a5", "out-of-service-a6", "out-of-service-letter"):
        out = tmp_path / f"{template}.pdf"
        done = room.run("out-of-service", name, "--out", out, "--template", template)
        assert done.code == 0, done.err


def test_a_label_template_is_refused_for_cards(empty_room: BatteryRoom, tmp_path: Path) -> None:
    out = tmp_path / "cards.pdf"
    done = empty_room.run("cards", "--out", out, "--template", "sheet-a4")
    assert done.code == 2
    assert "not for command card" in done.err
    assert list(tmp_path.glob("*.pdf*")) == []


def test_a_hold_prints_its_card_at_once(room: BatteryRoom, tmp_path: Path) -> None:
    out = tmp_path / "held.pdf"
    done = room.run("hold", "B1", "--reason", "Case cracked", "--safety", "--card", out)
    assert done.code == 0, done.err
    assert f"Its out-of-service card is in {out}" in done.out
    assert cards_on(out) == [OutOfService(parse_tag(room["B1"]))]
    assert "Case cracked" in text_of(out)
    told = room.run("hold", "B2", "--reason", "Leaks", "--card", tmp_path / "two.pdf", "--json")
    assert told.data["card"]["symbols_read_back"] == 1


@pytest.mark.parametrize(
    "options",
    [
        ("--card", "held.txt"),
        ("--card", "there.pdf"),
        ("--card", "new.pdf", "--template", "battery-side"),
        ("--card", "new.pdf", "--template", "no-such-template"),
        ("--template", "out-of-service-a6"),
    ],
)
def test_a_card_that_cannot_be_printed_holds_nothing(
    options: tuple[str, ...], room: BatteryRoom, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "there.pdf").write_text("", encoding="utf-8")
    done = room.run("hold", "B1", "--reason", "Leaks", *options)
    assert done.code in (2, 3)
    assert not room.state("B1").held


def test_a_hold_stands_even_if_its_card_fails(
    room: BatteryRoom, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(*_args: object) -> None:
        raise WrongInput("the printer's folder is full", "Make room")

    monkeypatch.setattr("tagkit.jobs.cards.print_out_of_service", fails)
    done = room.run("hold", "B1", "--reason", "Leaks", "--card", tmp_path / "held.pdf")
    assert done.code == 2
    assert "is held, but its card was not printed" in done.err
    assert room.state("B1").held
