"""Quantities as labels write them, so that nobody can read one for another.

Digits are never grouped: "2,870.5" is two thousand to one reader and not quite three to
another, and a label outlives the language of whoever printed it. The one mark that may stand in
a number is the decimal one: a comma on labels in Spanish alone, else a point (ISO 80000-1, 7.3.2
allows either). Weights come in kg and lb; the figure as marked comes first, and limits are
converted inwards, so that rounding never widens them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from tagkit.units import Quantity

Rounding = Callable[[Any], int]


def amount(value: Quantity, language: str) -> str:
    """Number and unit, the digits as marked."""
    return f"{_number(value, language)} {value.unit}"


def span(low: Quantity, high: Quantity, language: str) -> str:
    """From one to the other; the unit once where both have the same."""
    first = _number(low, language) if low.unit == high.unit else amount(low, language)
    return f"{first} – {amount(high, language)}"


def several(values: tuple[Quantity, ...], language: str) -> str:
    """One beside the other; the unit once where all have the same."""
    if len({value.unit for value in values}) > 1:
        return " / ".join(amount(value, language) for value in values)
    return f"{' / '.join(_number(value, language) for value in values)} {values[0].unit}"


def in_two_units(value: Quantity, language: str, rounding: Rounding = round) -> tuple[str, str]:
    """A weight as marked (t and g as kg), and in the other of kg and lb."""
    return _said(*_two_units(value, rounding), language)


def window(low: Quantity, high: Quantity, language: str) -> tuple[str, str]:
    """Two limits of a weight in the unit they are marked in, and in the other."""
    lows, highs = _two_units(low, math.ceil), _two_units(high, math.floor)
    if lows[0].unit != highs[0].unit:
        highs = highs[::-1]
    return span(lows[0], highs[0], language), span(lows[1], highs[1], language)


def together(one: Quantity, other: Quantity) -> Quantity:
    """The sum of two weights in the unit of the first, exact where the units are the same."""
    if one.unit == other.unit:
        return Quantity(one.value + other.value, one.unit)
    return Quantity(Decimal(round(one.exact(one.unit) + other.exact(one.unit))), one.unit)


def _number(value: Quantity, language: str) -> str:
    digits = f"{value.value:f}"
    return digits.replace(".", ",") if language == "es" else digits


def _said(one: Quantity, other: Quantity, language: str) -> tuple[str, str]:
    return amount(one, language), amount(other, language)


def _two_units(value: Quantity, rounding: Rounding) -> tuple[Quantity, Quantity]:
    other = "lb" if value.unit != "lb" else "kg"
    converted = Quantity(Decimal(rounding(value.exact(other))), other)
    return (value if value.unit in ("kg", "lb") else _in_kilograms(value)), converted


def _in_kilograms(value: Quantity) -> Quantity:
    exact = value.exact("kg")
    if exact.denominator == 1:
        return Quantity(Decimal(int(exact)), "kg")
    return Quantity(Decimal(round(exact * 1000)).scaleb(-3).normalize(), "kg")
