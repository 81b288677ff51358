"""Readings as people key them in."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.errors import WrongInput
from tagkit.rules.readings import (
    parse_cell_volts,
    parse_celsius,
    parse_gravity,
    parse_level,
    second_press,
)
from tagkit.settings import CellSettings

SETTINGS = CellSettings()


@pytest.mark.parametrize(
    "text", ["1280", "1.280", "1.28", "1,28", "1,280", " 1.280 ", "1.280 kg/l", "1280 g/l"]
)
def test_every_way_to_write_a_gravity_is_the_same_reading(text):
    assert parse_gravity(text) == pytest.approx(1.280)


@pytest.mark.parametrize("text", ["1.000", "1.350", "1000", "1350"])
def test_the_ends_of_what_is_plausible_are_taken(text):
    assert 1.0 <= parse_gravity(text) <= 1.35


@pytest.mark.parametrize("text", ["0.999", "1.351", "128", "12.8", "280", "-1.28", "", "wet"])
def test_what_is_no_gravity_is_asked_for_again(text):
    with pytest.raises(WrongInput):
        parse_gravity(text)


@given(st.integers(1000, 1350))
def test_points_and_decimals_say_the_same(points):
    assert parse_gravity(str(points)) == pytest.approx(parse_gravity(f"{points / 1000:.3f}"))


@pytest.mark.parametrize(
    ("text", "unit", "celsius"),
    [("25", "°C", 25), ("77", "°F", 25), ("77 °F", "°C", 25), ("-22", "°F", -30), ("70", "°C", 70)],
)
def test_a_temperature_in_the_units_of_the_site(text, unit, celsius):
    assert parse_celsius(text, unit) == pytest.approx(celsius)


@given(st.floats(-30, 70))
def test_a_temperature_is_the_same_in_either_unit(celsius):
    fahrenheit = celsius * 9 / 5 + 32
    if -22 <= round(fahrenheit, 2) <= 158:
        assert parse_celsius(f"{fahrenheit:.2f}", "°F") == pytest.approx(celsius, abs=0.01)


@pytest.mark.parametrize(
    ("text", "unit"), [("71", "°C"), ("-31", "°C"), ("77", "°C"), ("159", "°F")]
)
def test_a_temperature_in_the_wrong_unit_is_asked_for_again(text, unit):
    with pytest.raises(WrongInput, match="temperature of electrolyte") as error:
        parse_celsius(text, unit)
    assert unit in error.value.remedy


def test_voltages_of_one_cell_only():
    assert parse_cell_volts("2.12") == 2.12
    assert parse_cell_volts("-0.4") == -0.4
    assert parse_cell_volts("3") == 3
    for text in ("3.01", "-3.1", "48", "24 V"):
        with pytest.raises(WrongInput, match="one cell"):
            parse_cell_volts(text)


@pytest.mark.parametrize(
    ("text", "level"),
    [("bare", "bare"), ("L", "low"), ("At  Mark", "at mark"), ("ok", "at mark"), ("3", "over")],
)
def test_levels_by_word_letter_or_digit(text, level):
    assert parse_level(text) == level


def test_a_level_that_is_none_names_those_there_are():
    with pytest.raises(WrongInput, match="bare, low, at mark, over"):
        parse_level("half")


def test_a_reversed_or_low_cell_is_critical_and_asked_for_twice():
    reversed_cell = second_press(-0.3, SETTINGS, at_rest=False, cell=7)
    assert reversed_cell is not None
    assert (reversed_cell.code, reversed_cell.severity) == ("reversed cell", "stop")
    low = second_press(1.69, SETTINGS)
    assert low is not None and low.code == "low voltage"
    assert second_press(1.7, SETTINGS) is None
    assert second_press(1.5, SETTINGS, at_rest=False) is None  # under load that can be
