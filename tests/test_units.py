"""Figures as people and spreadsheets write them."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.errors import TagkitError, WrongInput
from tagkit.units import (
    UNITS,
    Ambiguous,
    Dimension,
    Quantity,
    looks_decimal,
    parse_number,
    parse_quantity,
    quantity,
    unit_named,
)

MASS, LENGTH, VOLTAGE = Dimension.MASS, Dimension.LENGTH, Dimension.VOLTAGE


@pytest.mark.parametrize(
    ("text", "header_unit", "mark", "expected"),
    [
        ("2,450 lb", None, None, "2450 lb"),
        ("2,450 lbs.", None, None, "2450 lb"),
        ("2,450.5 lb", None, None, "2450.5 lb"),
        ("2450#", None, None, "2450 lb"),
        ("2,450", "lb", None, "2450 lb"),
        ("1.111 kg", None, "comma", "1111 kg"),
        ("1.111,5 kg", None, None, "1111.5 kg"),
        ("1,111.5 kg", None, None, "1111.5 kg"),
        ("1.111.111 kg", None, None, "1111111 kg"),
        ("1 111 kg", None, None, "1111 kg"),
        ("1\u00a0111 kg", None, None, "1111 kg"),
        ("1\u202f111,5 kg", None, None, "1111.5 kg"),
        ("1'111 kg", None, None, "1111 kg"),
        ("1\u2019111.50 kg", None, None, "1111.50 kg"),
        ("1111", "kg", None, "1111 kg"),
        ("1111 lb", "kg", None, "1111 lb"),
        ("1,111 kg", None, "point", "1111 kg"),
        ("1111kg", None, None, "1111 kg"),
        ("1111 Kilogramm", None, None, "1111 kg"),
        ("1,1 t", None, None, "1.1 t"),
        ("0,5 kg", None, None, "0.5 kg"),
        (".5 kg", None, None, "0.5 kg"),
        ("0.500 kg", None, None, "0.500 kg"),
        ("1111. kg", None, None, "1111 kg"),
    ],
)
def test_a_weight_is_read_as_it_is_meant(text, header_unit, mark, expected):
    read = parse_quantity(text, MASS, header_unit, mark)
    assert f"{read.value:f} {read.unit}" == expected


@pytest.mark.parametrize(
    ("text", "header_unit", "mark", "readings"),
    [
        ("2,450", "kg", None, ("2450", "2.450")),
        ("2.450 kg", None, None, ("2450", "2.450")),
        ("2,450 lb", None, "comma", ("2450", "2.450")),
        ("2.450 lb", None, None, ("2450", "2.450")),
        ("1111", None, None, ("1111 kg", "1111 lb")),
        ("1.5 ton", None, None, ("short tons", "tonnes")),
    ],
)
def test_a_figure_with_two_readings_is_asked_about(text, header_unit, mark, readings):
    with pytest.raises(Ambiguous) as caught:
        parse_quantity(text, MASS, header_unit, mark)
    assert caught.value.readings == readings
    assert caught.value.remedy


@pytest.mark.parametrize(
    "text",
    ["", "heavy", "kg", "11 11 kg", "1,11,111 kg", "1100-1300 kg", "1111 V", "1111 stone",
     "1.1.1,1,1 kg", "9" * 40 + " kg", "1e3 kg", "1111 kg 1112 kg", "24/2 kg"],
)  # fmt: skip
def test_what_is_no_weight_is_refused_with_a_remedy(text):
    with pytest.raises(WrongInput) as caught:
        parse_quantity(text, MASS)
    assert caught.value.remedy


@pytest.mark.parametrize(
    ("text", "mark"), [("1.5 kg", "comma"), ("1,5 kg", "point"), ("1.111,5 kg", "point")]
)
def test_a_figure_against_the_style_of_its_sheet_is_refused(text, mark):
    with pytest.raises(WrongInput, match="does not go with the decimal"):
        parse_quantity(text, MASS, None, mark)


@pytest.mark.parametrize(
    ("text", "millimetres"),
    [("830 mm", 830), ("83 cm", 830), ("0.83 m", 830), ('32 1/2"', "825.5"),
     ("32-1/2 in", "825.5"), ("32.5 in", "825.5"), ("1/2 in", "12.7"), ("2 ft", "609.6"),
     ("2'", "609.6"), ("32 1/2 Zoll", "825.5")],
)  # fmt: skip
def test_lengths_in_metric_and_inches(text, millimetres):
    assert parse_quantity(text, LENGTH).exact("mm") == Fraction(Decimal(millimetres))


@pytest.mark.parametrize("text", ["24/2 V", "1 1/2 V", "48 kg"])
def test_a_voltage_has_no_fractions_and_no_weight(text):
    with pytest.raises(WrongInput):
        parse_quantity(text, VOLTAGE)


@pytest.mark.parametrize(
    "text", ["1.280", "1,280", "1280", "1.28", "1,28 kg/l", "1280 g/l", "1.280 g/l", "1.28 g/cm³"]
)
@pytest.mark.parametrize("mark", [None, "point", "comma"])
def test_every_way_to_write_a_gravity_is_the_same_reading(text, mark):
    assert parse_quantity(text, Dimension.DENSITY, None, mark).exact("SG") == Fraction(128, 100)


def test_a_temperature_is_converted_with_its_offset():
    assert quantity(77, "°F").exact("°C") == 25
    assert quantity(-40, "°F").exact("°C") == -40


def test_pounds_and_inches_are_exact():
    assert quantity(1, "lb").exact("kg") == Fraction(45359237, 10**8)
    assert quantity(1, "in").exact("mm") == Fraction(254, 10)


def test_kilograms_are_no_volts():
    with pytest.raises(WrongInput):
        quantity(1, "kg").exact("V")
    with pytest.raises(WrongInput):
        Quantity(Decimal(1), "stone")
    with pytest.raises(WrongInput):
        Quantity(Decimal("NaN"), "kg")


@pytest.mark.parametrize(
    ("spelled", "symbol"),
    [("lbs.", "lb"), ("Pounds", "lb"), ("Kilogramm", "kg"), ("kgs", "kg"), ("V DC", "V"),
     ("Volts", "V"), ("amp-hours", "Ah"), ("ah", "Ah"), ("Zoll", "in"), ("degC", "°C"),
     ("(mm)", "mm"), ("[kg]", "kg")],
)  # fmt: skip
def test_units_as_people_spell_them(spelled, symbol):
    found = unit_named(spelled)
    assert found is not None
    assert found.symbol == symbol


def test_a_word_that_is_no_unit():
    assert unit_named("stone") is None


@pytest.mark.parametrize(
    ("text", "mark"),
    [("1.5 kg", "point"), ("1,5", "comma"), ("1.111,5", "comma"), ("1,111.5", "point"),
     ("1.111.111", "comma"), ("1,111,111", "point"), ("1.111", None), ("1,111", None),
     ("1111", None), ("0,125", "comma"), ("0.125", "point"), ("1111.", None), ("heavy", None),
     ("1 111,5", "comma")],
)  # fmt: skip
def test_only_what_is_beyond_doubt_shows_the_decimal_mark(text, mark):
    assert looks_decimal(text) == mark


def test_display_keeps_the_figure_as_marked():
    assert str(quantity(2450, "lb")) == "2450 lb"
    assert str(quantity("1111.50", "kg")) == "1111.50 kg"
    assert str(quantity(-28, "°C")) == "-28 °C"
    assert str(quantity("-0.5", "°C")) == "-0.5 °C"
    assert str(quantity(80, "%")) == "80%"
    assert quantity(2450, "lb").rounded_to("kg") == quantity(1111, "kg")
    assert quantity(2450, "lb").rounded_to("kg", 1) == quantity("1111.3", "kg")


def test_json_carries_plain_numbers():
    assert quantity("1111", "kg").to_json() == {"value": 1111, "unit": "kg"}
    assert quantity("1.5", "t").to_json() == {"value": 1.5, "unit": "t"}


figures = st.decimals(min_value=-9_999, max_value=99_999, places=3, allow_nan=False)
units = st.sampled_from([symbol for symbol in UNITS if symbol])


@given(figures, units)
def test_a_quantity_comes_back_from_storage_as_it_was_marked(value, unit):
    marked = Quantity(value, unit)
    back = Quantity.from_stored(marked.stored())
    assert back == marked
    assert f"{back.value:f}" == f"{value:f}"


@given(figures, units, units)
def test_conversion_there_and_back_is_exact(value, unit, other):
    if UNITS[unit].dimension is not UNITS[other].dimension:
        return
    there = Quantity(value, unit).exact(other)
    factors = UNITS[unit], UNITS[other]
    back = (there * factors[1].factor + factors[1].offset - factors[0].offset) / factors[0].factor
    assert back == Fraction(value)


@given(st.decimals(min_value=0, max_value=99_999, places=2), units)
def test_what_is_displayed_can_be_typed_in_again(value, unit):
    dimension = UNITS[unit].dimension
    if dimension is Dimension.DENSITY:
        return
    shown = str(Quantity(value, unit))
    assert parse_quantity(shown, dimension, None, "point") == Quantity(value, unit)


@given(st.integers(0, 99_999), st.integers(0, 99))
def test_both_styles_of_a_spreadsheet_mean_the_same(whole, cents):
    english, german = f"{whole:,}.{cents:02d}", f"{whole:,}".replace(",", ".") + f",{cents:02d}"
    expected = Decimal(f"{whole}.{cents:02d}")
    assert parse_number(english, "point") == expected
    assert parse_number(german, "comma") == expected
    assert parse_number(english, None) == parse_number(german, None) == expected


@given(st.integers(1, 999), st.integers(0, 999), st.sampled_from(".,"))
def test_a_lone_mark_before_three_digits_is_never_guessed(head, tail, mark):
    with pytest.raises(Ambiguous):
        parse_quantity(f"{head}{mark}{tail:03d} kg", MASS)


numberish = st.text(st.sampled_from("0123456789.,' -/+kglbmVAhin\"°#x½²٣\u00a0\u202f()eE\n"))


@given(
    numberish | st.text(max_size=40),
    st.sampled_from(list(Dimension)),
    st.sampled_from([None, *UNITS]),
    st.sampled_from([None, "point", "comma"]),
)
def test_any_text_is_a_figure_or_an_error_with_a_remedy(text, dimension, unit, mark):
    try:
        read = parse_quantity(text, dimension, unit, mark)
    except TagkitError as error:
        assert error.problem
        assert error.remedy
    else:
        assert str(read)
        assert read.to_json()["unit"] == read.unit
