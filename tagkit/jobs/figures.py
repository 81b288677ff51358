"""Figures that people type with a job: litres, ohms, minutes. Plain numbers come back."""

from __future__ import annotations

import re
from typing import Any

from tagkit.errors import WrongInput
from tagkit.units import DecimalMark, Dimension, parse_number, parse_quantity

_LITRES = {
    "": 1.0, "l": 1.0, "litre": 1.0, "litres": 1.0, "liter": 1.0, "liters": 1.0, "litros": 1.0,
    "ml": 0.001, "gal": 3.785411784, "gallon": 3.785411784, "gallons": 3.785411784,
    "qt": 0.946352946, "pt": 0.473176473,
}  # fmt: skip
_OHMS = {"": 1.0, "ohm": 1.0, "ohms": 1.0, "ω": 1.0, "kohm": 1e3, "kω": 1e3, "k": 1e3,
         "mohm": 1e6, "megohm": 1e6, "mω": 1e6}  # fmt: skip


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
    match = re.fullmatch(r"\s*([\d.,' ]*\d)\s*([^\d\s]*)\.?\s*", text)
    factor = units.get(match[2].lower().rstrip(".")) if match else None
    if match is None or factor is None:
        raise WrongInput(f"“{text}” is not {what}", f"Write it like {example}", where)
    value = float(parse_number(match[1].strip(), mark, shown=text)) * factor
    if value > most:
        raise WrongInput(f"{text.strip()} is too much", "Check the figure and its unit", where)
    return value
