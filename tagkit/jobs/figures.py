"""Figures that people type with a job: litres, ohms, minutes. Plain numbers come back."""

from __future__ import annotations

import re
from typing import Any

from tagkit.errors import WrongInput
from tagkit.units import DecimalMark, Dimension, parse_number, parse_quantity

_FOOT, _INCH = 0.3048, 2.54
"""A foot in metres, an inch in centimetres, both exact."""
_LITRES = {
    "": 1.0, "l": 1.0, "litre": 1.0, "litres": 1.0, "liter": 1.0, "liters": 1.0, "litros": 1.0,
    "ml": 0.001, "gal": 3.785411784, "gallon": 3.785411784, "gallons": 3.785411784,
    "qt": 0.946352946, "pt": 0.473176473,
}  # fmt: skip
_OHMS = {"": 1.0, "ohm": 1.0, "ohms": 1.0, "ω": 1.0, "kohm": 1e3, "kω": 1e3, "k": 1e3,
         "mohm": 1e6, "megohm": 1e6, "mω": 1e6}  # fmt: skip

_VOLUMES = {"m³": 1.0, "m3": 1.0, "ft³": _FOOT**3, "ft3": _FOOT**3, "cuft": _FOOT**3,
            "cu.ft": _FOOT**3, "pies³": _FOOT**3, "pie³": _FOOT**3}  # fmt: skip
_AREAS = {"cm²": 1.0, "cm2": 1.0, "m²": 1e4, "m2": 1e4, "in²": _INCH**2, "in2": _INCH**2,
          "sqin": _INCH**2, "sq.in": _INCH**2, "ft²": (12 * _INCH) ** 2, "ft2": (12 * _INCH) ** 2,
          "sqft": (12 * _INCH) ** 2, "sq.ft": (12 * _INCH) ** 2, "pulg²": _INCH**2}  # fmt: skip
_MOST_M3, _MOST_CM2 = 1e6, 1e7


def litres(text: str, where: str = "--litres") -> float:
    """Litres of water from "4.5", "4,5 l", "900 ml", "1 gal" (US). WrongInput beyond 200 l."""
    return round(
        # Nobody pours thousands of litres, so a comma or a point is always the decimal mark.
        _scaled(text.replace(",", "."), _LITRES, "an amount of water", "4.5 l", where, 200.0,
                "point"),
        3,
    )  # fmt: skip


def ohms(text: str, where: str = "--ohm") -> float:
    """Ohms from "4000", "4 kohm", "2.2 megohm"."""
    return _scaled(text, _OHMS, "a resistance", "4000 ohm", where, 1e12)


def volume(text: str, where: str, us: bool = False) -> float:
    """m³ of a room from "900", "900 m³", "31,800 ft³"; a bare number is in ft³ with ``us``."""
    return _scaled(text, _VOLUMES | {"": _VOLUMES["ft³" if us else "m³"]}, "a volume", "900 m³",
                   where, _MOST_M3)  # fmt: skip


def area(text: str, where: str, us: bool = False) -> float:
    """cm² of an opening from "12000", "1.2 m²", "1860 in²"; a bare number is in in² with ``us``."""
    return _scaled(text, _AREAS | {"": _AREAS["in²" if us else "cm²"]}, "an area", "12000 cm²",
                   where, _MOST_CM2)  # fmt: skip


def plain_number(text: str, where: str, low: float, high: float) -> float:
    """A number as people write it, with a decimal comma or point; never guessed."""
    try:
        value = float(parse_number(text.strip().rstrip("% "), None, shown=text))
    except (ArithmeticError, ValueError):
        raise WrongInput(f"“{text}” is not a number", "Write digits", where) from None
    except WrongInput as error:
        error.where = error.where or where
        raise
    if not low <= value <= high:
        raise WrongInput(f"{text.strip()} is not possible", f"Write {low:g} to {high:g}", where)
    return value


def quantity(
    text: str, dimension: Dimension, unit: str, low: float, high: float, where: str
) -> dict[str, Any]:
    """A quantity as the record keeps it; ``unit`` counts where none is written."""
    try:
        value = parse_quantity(text, dimension, unit)
    except WrongInput as error:
        error.where = error.where or where
        raise
    if not low <= value.base() <= high:
        raise WrongInput(
            f"{value} is not plausible (between {low:g} and {high:g} {unit})",
            "Read it again",
            where,
        )
    return value.stored()


def _scaled(
    text: str,
    units: dict[str, float],
    what: str,
    example: str,
    where: str,
    most: float,
    mark: DecimalMark | None = None,
) -> float:
    match = re.fullmatch(r"\s*([\d.,' ]*\d)\s*([^\d\s][^\s]*(?:\s[a-z]+)?|)\.?\s*", text, re.I)
    unit = "".join(match[2].split()).lower().rstrip(".") if match else ""
    factor = units.get(unit)
    if match is None or factor is None:
        raise WrongInput(f"“{text}” is not {what}", f"Write it like {example}", where)
    customary = unit.startswith(("ft", "in", "cu", "sq"))
    try:
        value = float(parse_number(match[1].strip(), mark, customary, shown=text)) * factor
    except WrongInput as error:
        error.where = error.where or where
        raise
    if value > most:
        raise WrongInput(f"{text.strip()} is too much", "Check the figure and its unit", where)
    return value
