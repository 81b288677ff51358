"""Quantities in and out: "2,450 lb" to kilograms, and back to the units a site reads.

A quantity keeps the figure and the unit as they are marked; conversion is exact (fractions of
the definitions of the international pound and inch). Comparisons that must not depend on
rounding use :meth:`Quantity.exact`.

Source of the factors: ISO 80000 and the international yard and pound agreement
(1 lb = 0.45359237 kg, 1 in = 25.4 mm, both exact).
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from typing import Any, Literal

from tagkit.errors import WrongInput


class Dimension(Enum):
    """What kind of quantity a figure is; the value is the unit used for storage."""

    MASS = "kg"
    LENGTH = "mm"
    VOLTAGE = "V"
    CAPACITY = "Ah"
    CURRENT = "A"
    TEMPERATURE = "°C"
    DURATION = "h"
    RATIO = "%"
    DENSITY = "SG"
    COUNT = ""


@dataclass(frozen=True)
class Unit:
    """A unit: base value = figure × factor + offset."""

    symbol: str
    dimension: Dimension
    factor: Fraction = Fraction(1)
    offset: Fraction = Fraction(0)
    customary: bool = False  # US customary: figures are written 2,450.5


_POUND = Fraction(45359237, 100000000)
_INCH = Fraction(254, 10)

UNITS: dict[str, Unit] = {
    unit.symbol: unit
    for unit in (
        Unit("kg", Dimension.MASS),
        Unit("g", Dimension.MASS, Fraction(1, 1000)),
        Unit("t", Dimension.MASS, Fraction(1000)),
        Unit("lb", Dimension.MASS, _POUND, customary=True),
        Unit("mm", Dimension.LENGTH),
        Unit("cm", Dimension.LENGTH, Fraction(10)),
        Unit("m", Dimension.LENGTH, Fraction(1000)),
        Unit("in", Dimension.LENGTH, _INCH, customary=True),
        Unit("ft", Dimension.LENGTH, _INCH * 12, customary=True),
        Unit("V", Dimension.VOLTAGE),
        Unit("mV", Dimension.VOLTAGE, Fraction(1, 1000)),
        Unit("Ah", Dimension.CAPACITY),
        Unit("A", Dimension.CURRENT),
        Unit("°C", Dimension.TEMPERATURE),
        Unit("°F", Dimension.TEMPERATURE, Fraction(5, 9), Fraction(-160, 9), customary=True),
        Unit("h", Dimension.DURATION),
        Unit("min", Dimension.DURATION, Fraction(1, 60)),
        Unit("%", Dimension.RATIO),
        Unit("SG", Dimension.DENSITY),
        Unit("kg/l", Dimension.DENSITY),
        Unit("g/l", Dimension.DENSITY, Fraction(1, 1000)),
        Unit("", Dimension.COUNT),
    )
}

# How people write them, in small letters without full stops.
_SPELLINGS: dict[str, str] = {
    "kg": "kg", "kgs": "kg", "kilo": "kg", "kilos": "kg", "kilogram": "kg", "kilograms": "kg",
    "kilogramme": "kg", "kilogrammes": "kg", "kilogramm": "kg", "kilogramos": "kg",
    "g": "g", "gram": "g", "grams": "g",
    "t": "t", "to": "t", "ton": "t?", "tons": "t?", "tonne": "t", "tonnes": "t", "tonnen": "t",
    "lb": "lb", "lbs": "lb", "pound": "lb", "pounds": "lb", "#": "lb", "libras": "lb",
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "cm": "cm", "centimetre": "cm", "centimetres": "cm", "centimeter": "cm",
    "m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m",
    "in": "in", "inch": "in", "inches": "in", "\"": "in", "''": "in", "zoll": "in",
    "pulgadas": "in", "pulg": "in", "ft": "ft", "foot": "ft", "feet": "ft", "'": "ft",
    "v": "V", "volt": "V", "volts": "V", "vdc": "V", "v dc": "V", "voltios": "V", "vcc": "V",
    "v cc": "V", "mv": "mV",
    "ah": "Ah", "amp hours": "Ah", "amp-hours": "Ah", "ampere hours": "Ah", "a h": "Ah",
    "amp hour": "Ah", "amperehours": "Ah", "amphours": "Ah",
    "a": "A", "amp": "A", "amps": "A", "ampere": "A", "amperes": "A",
    "°c": "°C", "c": "°C", "degc": "°C", "deg c": "°C", "celsius": "°C",
    "°f": "°F", "f": "°F", "degf": "°F", "deg f": "°F", "fahrenheit": "°F",
    "h": "h", "hr": "h", "hrs": "h", "hour": "h", "hours": "h", "std": "h", "horas": "h",
    "min": "min", "mins": "min", "minutes": "min",
    "%": "%", "percent": "%", "pct": "%",
    "sg": "SG", "kg/l": "kg/l", "g/l": "g/l", "kg/dm3": "kg/l", "g/cm3": "kg/l", "g/ml": "kg/l",
    "kg/dm³": "kg/l", "g/cm³": "kg/l", "kg/m3": "g/l", "kg/m³": "g/l",
}  # fmt: skip

DecimalMark = Literal["point", "comma"]

_LONGEST_NUMBER = 24
_NUMBER = re.compile(r"(?:\d+[ -]+)?\d+/\d+|[+-]?\d[\d.,' ]*|[+-]?[.,]\d+")
# Every space Unicode has for typesetting numbers, and the signs that stand in for ASCII ones.
_SPACES = dict.fromkeys([0xA0, *range(0x2000, 0x200B), 0x202F, 0x205F, 0x3000, ord("\t")], " ")
_SIGNS = str.maketrans("\u2212\u2013\u2019\u02bc\u2032\u2033\u201d", "--'''\"\"")


UNIT_MISSING = "Write the unit with it"
"""What to do with a figure whose unit nobody said."""


class Ambiguous(WrongInput):
    """A figure that can be read in two ways: the person is asked, nothing is guessed."""

    def __init__(self, text: str, readings: tuple[str, str], remedy: str) -> None:
        self.readings = readings
        first, second = readings
        super().__init__(f"“{text}” can be read as {first} or as {second}", remedy)


def unit_named(text: str) -> Unit | None:
    """The unit that ``text`` spells ("lbs.", "Kilogramm", "Volts"), or None.

    Raises Ambiguous for "ton": a short ton, a long ton and a tonne differ by up to 12 %.
    """
    word = _clean(text).strip(" .()[]").lower().replace(".", "")
    symbol = _SPELLINGS.get(word)
    if symbol == "t?":
        raise Ambiguous(
            text.strip(),
            ("short tons", "tonnes"),
            "Write the weight in kg or lb, or “t” for tonnes",
        )
    return UNITS[symbol] if symbol is not None else None


def _clean(text: str) -> str:
    return unicodedata.normalize("NFC", text).translate(_SPACES).translate(_SIGNS).strip()


@dataclass(frozen=True)
class Quantity:
    """A figure with its unit, as marked. ``value`` keeps the digits that were marked."""

    value: Decimal
    unit: str

    def __post_init__(self) -> None:
        if self.unit not in UNITS:
            raise WrongInput(f"“{self.unit}” is not a unit tagkit knows")
        if not self.value.is_finite():
            raise WrongInput(f"“{self.value}” is not a figure")

    @property
    def dimension(self) -> Dimension:
        """What kind of quantity this is."""
        return UNITS[self.unit].dimension

    def exact(self, unit: str | None = None) -> Fraction:
        """The exact figure in ``unit`` (the dimension's storage unit unless given)."""
        here, there = UNITS[self.unit], UNITS[unit or self.dimension.value]
        if here.dimension is not there.dimension:
            raise WrongInput(f"{self} can't be given in {there.symbol}")
        if here is there:
            return Fraction(self.value)
        return (Fraction(self.value) * here.factor + here.offset - there.offset) / there.factor

    def base(self) -> float:
        """The figure in the storage unit (kg, mm, V, Ah, A, °C, h)."""
        return float(self.value if self.unit == self.dimension.value else self.exact())

    def rounded_to(self, unit: str, digits: int = 0) -> Quantity:
        """For display: in ``unit``, rounded half to even to ``digits`` decimals."""
        if unit == self.unit:
            return self
        scaled = round(self.exact(unit) * 10**digits)
        return Quantity(Decimal(scaled).scaleb(-digits), unit)

    def __str__(self) -> str:
        figure = f"{self.value:f}"
        whole, point, decimals = figure.partition(".")
        # No thousands separator: “2,518 lb” is two and a half pounds to half the world.
        joined = whole + point + decimals
        if not self.unit:
            return joined
        return f"{joined}{self.unit}" if self.unit == "%" else f"{joined} {self.unit}"

    def to_json(self) -> dict[str, Any]:
        """``{"value", "unit"}`` with a JSON number, for what commands print."""
        whole = self.value == self.value.to_integral_value()
        return {"value": int(self.value) if whole else float(self.value), "unit": self.unit}

    def stored(self) -> dict[str, str]:
        """``{"value", "unit"}`` with the digits as marked, for the record."""
        return {"value": f"{self.value:f}", "unit": self.unit}

    @classmethod
    def from_stored(cls, stored: dict[str, Any]) -> Quantity:
        """The quantity that :meth:`stored` wrote."""
        return cls(Decimal(str(stored["value"])), str(stored["unit"]))


def quantity(value: str | int | float | Decimal, unit: str) -> Quantity:
    """A quantity from a plain number: ``quantity("2450", "lb")``."""
    return Quantity(value if isinstance(value, Decimal) else Decimal(str(value)), unit)


def parse_quantity(
    text: str,
    dimension: Dimension,
    unit: str | None = None,
    decimal_mark: DecimalMark | None = None,
) -> Quantity:
    """What a person or a spreadsheet means by ``text``.

    ``unit`` is the unit of the column header, used when the text has none. ``decimal_mark``
    says how the sheet writes numbers, when that is known. Spaces and apostrophes between
    digits are thousands separators; a lone comma or full stop before exactly three digits is
    one only where that is certain: by ``decimal_mark``, or because the unit is US customary.

    Raises Ambiguous when the text has two readings, WrongInput when it has none.
    """
    cleaned = _clean(text)
    match = _NUMBER.match(cleaned)
    if not match:
        raise WrongInput(
            f"“{text.strip()}” is not a figure", f"Write a number{_example(dimension)}"
        )
    number, rest = match.group().rstrip(" '"), cleaned[match.end() :].strip()
    if match.group().rstrip(" ").endswith("'"):
        rest = ("'" + rest).strip()
    if number[-1] in ".,":
        number = number[:-1]
    if len(number) > _LONGEST_NUMBER:
        raise WrongInput(f"“{number[:20]}…” has too many digits", "Check the figure")
    if "/" in number and dimension is not Dimension.LENGTH:
        raise WrongInput(f"“{text.strip()}” is not one number", "Write one number a cell")
    if dimension is Dimension.DENSITY:
        return _density(text, number, rest, unit)
    found = _unit_for(text, rest, dimension, unit)
    return Quantity(
        parse_number(number, decimal_mark, found.customary, shown=text.strip()), found.symbol
    )


def _density(text: str, number: str, rest: str, unit: str | None) -> Quantity:
    """A gravity: "1280", "1.280", "1,28" and "1.280 kg/l" are the same reading.

    Three digits behind a mark are decimals here whatever the sheet's style, because a gravity
    lies near 1; only in g/l is "1.280" a thousand and something.
    """
    found = _unit_for(text, rest, Dimension.DENSITY, unit)
    value = parse_number(number.replace(",", "."), "point", shown=text.strip())
    in_grams = found.symbol == "g/l"
    if in_grams and value < 10:
        return Quantity(parse_number(number.replace(",", "").replace(".", ""), None), "g/l")
    if not in_grams and value >= 100:
        found = UNITS["g/l"]
    return Quantity(value, found.symbol)


def _unit_for(text: str, rest: str, dimension: Dimension, default: str | None) -> Unit:
    if rest:
        found = unit_named(rest)
        if found is None:
            raise WrongInput(
                f"“{text.strip()}” ends in “{rest}”, which is not a unit tagkit knows",
                f"Write the number and its unit{_example(dimension)}",
            )
        if found.dimension is not dimension:
            raise WrongInput(
                f"“{text.strip()}” is in {found.symbol}, which does not fit here",
                f"Write the number and its unit{_example(dimension)}",
            )
        return found
    if default is not None:
        return UNITS[default]
    if dimension in (Dimension.MASS, Dimension.LENGTH, Dimension.TEMPERATURE):
        raise Ambiguous(
            text.strip(),
            _readings(text, dimension),
            UNIT_MISSING,
        )
    return UNITS[dimension.value]


def _readings(text: str, dimension: Dimension) -> tuple[str, str]:
    first, second = {
        Dimension.MASS: ("kg", "lb"),
        Dimension.LENGTH: ("mm", "in"),
        Dimension.TEMPERATURE: ("°C", "°F"),
    }[dimension]
    return f"{text.strip()} {first}", f"{text.strip()} {second}"


def _example(dimension: Dimension) -> str:
    example, *other = {
        Dimension.MASS: ("1111 kg", "2450 lb"),
        Dimension.LENGTH: ("830 mm", "32.5 in"),
        Dimension.VOLTAGE: ("48 V",),
        Dimension.CAPACITY: ("775 Ah",),
        Dimension.CURRENT: ("120 A",),
        Dimension.TEMPERATURE: ("25 °C", "77 °F"),
        Dimension.DURATION: ("8 h",),
        Dimension.RATIO: ("80 %",),
        Dimension.DENSITY: ("1.280",),
        Dimension.COUNT: ("24",),
    }[dimension]
    if not other:
        return f" like “{example}”"
    (second,) = other
    return f" like “{example}” or “{second}”"


def parse_number(
    text: str, decimal_mark: DecimalMark | None, customary: bool = False, shown: str = ""
) -> Decimal:
    """The number written as ``text``; see :func:`parse_quantity` for what counts as certain."""
    shown = shown or text
    if "/" in text:
        return _with_fraction(text, shown)
    sign, digits = ("-", text[1:]) if text.startswith("-") else ("", text.lstrip("+"))
    if not _grouped_by_spaces(digits):
        raise WrongInput(f"“{shown}” is not one number", "Write one number a cell")
    digits = digits.replace(" ", "").replace("'", "")
    marks = [mark for mark in digits if mark in ".,"]
    if not marks:
        return Decimal(sign + digits)
    last = marks[-1]
    if len(set(marks)) == 2:
        return _two_marks(sign, digits, last, decimal_mark, shown)
    head, tail = digits.rsplit(last, 1)
    last_as = "comma" if last == "," else "point"
    if len(marks) > 1:
        _require_groups(digits, last, shown)
        if decimal_mark == last_as:
            raise _not_in_this_style(shown, decimal_mark)
        return Decimal(sign + digits.replace(last, ""))
    could_group = len(tail) == 3 and 1 <= len(head) <= 3 and head.strip("0") != ""
    if not could_group:
        if decimal_mark not in (None, last_as) and len(tail) != 0:
            raise _not_in_this_style(shown, decimal_mark)
        return Decimal(f"{sign}{head or '0'}.{tail}")
    if decimal_mark == last_as:
        if customary and last == ",":
            raise _two_ways(shown, sign, head, tail)
        return Decimal(f"{sign}{head}.{tail}")
    if decimal_mark is not None or (customary and last == ","):
        return Decimal(f"{sign}{head}{tail}")
    raise _two_ways(shown, sign, head, tail)


def _two_ways(shown: str, sign: str, head: str, tail: str) -> Ambiguous:
    return Ambiguous(
        shown,
        (f"{sign}{head}{tail}", f"{sign}{head}.{tail}"),
        f"Write it without a thousands separator: {sign}{head}{tail}, or {sign}{head}.{tail}0",
    )


def _not_in_this_style(shown: str, decimal_mark: str | None) -> WrongInput:
    return WrongInput(
        f"“{shown}” does not go with the decimal {decimal_mark} used here",
        "Write all numbers the same way",
    )


def _two_marks(
    sign: str, digits: str, last: str, decimal_mark: DecimalMark | None, shown: str
) -> Decimal:
    head, tail = digits.rsplit(last, 1)
    group = "." if last == "," else ","
    if last in head:
        raise WrongInput(f"“{shown}” is not a number", "Write it without thousands separators")
    _require_groups(head, group, shown)
    if decimal_mark not in (None, "comma" if last == "," else "point"):
        raise _not_in_this_style(shown, decimal_mark)
    return Decimal(f"{sign}{head.replace(group, '')}.{tail}")


def _require_groups(digits: str, mark: str, shown: str) -> None:
    first, *groups = digits.split(mark)
    if not 1 <= len(first) <= 3 or any(len(group) != 3 for group in groups):
        raise WrongInput(f"“{shown}” is not a number", "Write it without thousands separators")


def _grouped_by_spaces(digits: str) -> bool:
    whole = (
        re.split(r"[.,]", digits, maxsplit=1)[0] if not re.search(r"[.,].*[ ']", digits) else digits
    )
    first, *groups = re.split(r"[ ']", whole)
    return all(len(re.split(r"[.,]", group)[0]) == 3 for group in groups) and (
        not groups or 1 <= len(first) <= 3
    )


def _with_fraction(text: str, shown: str) -> Decimal:
    match = re.fullmatch(r"(?:(\d+)[ -]+)?(\d+)/(\d+)", text)
    if not match or int(match[3]) == 0 or int(match[3]) not in (2, 4, 8, 16, 32, 64):
        raise WrongInput(f"“{shown}” is not a number", "Write fractions of an inch like 31 1/2")
    return Decimal(int(match[1] or 0)) + Decimal(int(match[2])) / Decimal(int(match[3]))


def looks_decimal(text: str) -> DecimalMark | None:
    """The decimal mark that ``text`` shows beyond doubt, or None.

    A sheet's style is what its unambiguous cells agree on.
    """
    number = _NUMBER.match(_clean(text))
    if not number:
        return None
    digits = number.group().strip("+- '")
    marks = [mark for mark in digits if mark in ".,"]
    if not marks or digits[-1] in ".,":
        return None
    last: DecimalMark = "comma" if marks[-1] == "," else "point"
    other: DecimalMark = "point" if last == "comma" else "comma"
    if len(set(marks)) == 2:
        return last
    if len(marks) > 1:
        return other
    head, tail = digits.rsplit(marks[-1], 1)
    return None if len(tail) == 3 and head.strip("0") else last
