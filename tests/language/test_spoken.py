"""Sentences with figures in them, in another language; people's own words stay theirs."""

from __future__ import annotations

import pytest
from tagkit.language.catalogue import spoken
from tagkit.language.spoken import Spoken
from tagkit.language.words import Words
from tagkit.station.words import Line

SMALL = Spoken(
    {"hot": "caliente", "battery": "batería", "truck": "carretilla", "and": "y", "weight": "peso",
     "held": "retenida"},
    {"hot {degrees}, ready about {clock}": "caliente {degrees}, lista hacia las {clock}",
     "{noun} is held: {reason}": "{noun} retenida: {reason}",
     "{value} to {value_2}": "{value} a {value_2}",
     "put {battery} into {truck}{taken}": "puso {battery} en {truck}{taken}",
     "and took out {battery}": "y sacó {battery}",
     "truck {single}": "carretilla {single}",
     "“{text}” is no {noun}": "«{text}» no es {noun}"},
)  # fmt: skip


@pytest.mark.parametrize(
    ("english", "said"),
    [
        ("hot 51 °C, ready about 14:20", "caliente 51 °C, lista hacia las 14:20"),
        ("Hot 51 °C, ready about 14:20.", "Caliente 51 °C, lista hacia las 14:20."),
        ("battery is held: hot", "batería retenida: caliente"),
        ("1000 kg to 1200 kg", "1000 kg a 1200 kg"),
        ("weight: 1000 kg to 1200 kg", "peso: 1000 kg a 1200 kg"),
        ("truck and battery", "carretilla y batería"),
        ("truck T-QM-00001-H", "carretilla T-QM-00001-H"),
        ("put B1 into T1 and took out B2", "puso B1 en T1 y sacó B2"),
        ("put B1 into T1", "puso B1 en T1"),
        ("“hot” is no weight", "«hot» no es peso"),
    ],
)
def test_figures_come_along(english: str, said: str) -> None:
    assert SMALL.say(english) == said


@pytest.mark.parametrize(
    "own",
    [
        "smells of hot coolant and leaks",
        "brought to aisle four",
        "a truck with a bent fork, left by the door",
        "",
        "  ",
        "48 V",
        "x" * 5000,
    ],
)
def test_what_people_wrote_stays(own: str) -> None:
    assert SMALL.say(own) == own


def test_the_station_says_its_lines_and_what_fills_them() -> None:
    words = Words("es", "metric", None)
    line = Line("line.check", {"name": "weight", "found": "880 kg",
                               "required": "1000 kg to 1200 kg",
                               "note": "too light by 120 kg"})  # fmt: skip
    assert words.line(line) == (
        "peso: 880 kg, se requiere 1000 kg a 1200 kg: demasiado ligera por 120 kg"
    )


def test_english_stays_english() -> None:
    words = Words("en", "metric", None)
    for sentence in ("held: hot", "put B1 into T1 and took out B2", "Take it in"):
        assert words(sentence) == sentence
    assert "hot" not in spoken("en")
