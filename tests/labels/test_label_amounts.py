"""Numbers on labels can be read in one way only."""

from __future__ import annotations

import re
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.labels.amounts import amount, in_two_units, several, span, window
from tagkit.units import Quantity


def weight(figure: str, unit: str = "kg") -> Quantity:
    return Quantity(Decimal(figure), unit)


@pytest.mark.parametrize(
    ("language", "said"),
    [("en", "2870.5 lb"), ("es", "2870,5 lb"), ("en+es", "2870.5 lb")],
)
def test_digits_are_not_grouped_and_the_decimal_mark_is_the_readers(language, said):
    assert amount(weight("2870.5", "lb"), language) == said
    assert amount(weight("12500"), language) == "12500 kg"


def test_digits_stay_as_marked():
    assert amount(weight("48.0", "V"), "en") == "48.0 V"


def test_a_unit_is_said_once_where_it_is_the_same():
    assert span(weight("400", "Ah"), weight("840.5", "Ah"), "es") == "400 – 840,5 Ah"
    assert span(weight("1", "t"), weight("1150"), "en") == "1 t – 1150 kg"
    assert several((weight("24", "V"), weight("25.6", "V")), "es") == "24 / 25,6 V"


@given(
    figure=st.decimals("0.1", "99999", places=2), unit=st.sampled_from(["kg", "lb", "t"]),
    language=st.sampled_from(["en", "es", "en+es"]),
)  # fmt: skip
def test_a_number_holds_at_most_its_decimal_mark(figure, unit, language):
    for said in (*in_two_units(Quantity(figure, unit), language),
                 *window(Quantity(figure, unit), Quantity(figure + 50, unit), language)):  # fmt: skip
        numbers = re.findall(r"[0-9][0-9.,]*", said)
        assert numbers
        mark = "," if language == "es" else "."
        assert all(re.fullmatch(rf"\d+(\{mark}\d+)?", number) for number in numbers), said
