"""A reading as a person keys it in: "1280" and "1.280" are the same, nonsense is asked again.

Plausible are gravities 1.000 to 1.350, temperatures -30 to 70 °C, cell voltages -3 to 3 V.
A cell that is low at rest or reversed is real news: it is asked for twice, never refused.
"""

from __future__ import annotations

from tagkit.errors import WrongInput
from tagkit.rules.flags import Flag
from tagkit.settings import CellSettings
from tagkit.units import Dimension, Quantity, parse_quantity, quantity

LEVELS = ("bare", "low", "at mark", "over")
"""Electrolyte level in a cell: plates bare, low, at the mark, over it."""

_LEVEL_WORDS = {
    "bare": "bare", "plates bare": "bare", "dry": "bare", "b": "bare", "0": "bare",
    "low": "low", "l": "low", "1": "low",
    "at mark": "at mark", "mark": "at mark", "ok": "at mark", "full": "at mark",
    "m": "at mark", "2": "at mark",
    "over": "over", "high": "over", "o": "over", "3": "over",
    "descubierto": "bare", "placas descubiertas": "bare", "placas al aire": "bare",
    "seco": "bare", "bajo": "low", "en la marca": "at mark", "marca": "at mark",
    "lleno": "at mark", "por encima": "over", "alto": "over",
}  # fmt: skip

DEGREES = ("°C", "°F")
"""What thermometers of the trade show."""

GRAVITIES = (1.000, 1.350)
CELSIUS = (-30.0, 70.0)
VOLTS = (-3.0, 3.0)


def parse_gravity(text: str) -> float:
    """A specific gravity as a number near 1, from "1280", "1.280", "1,28" or "1.280 kg/l".

    Raises WrongInput for what is no gravity or lies outside 1.000 to 1.350.
    """
    value = parse_quantity(text, Dimension.DENSITY).base()
    low, high = GRAVITIES
    if not low <= value <= high:
        raise WrongInput(
            f"“{text.strip()}” is not a specific gravity of a battery",
            f"Read the hydrometer again: between {low:.3f} and {high:.3f}",
        )
    return value


def parse_celsius(text: str, unit: str = "°C") -> float:
    """A temperature in °C; ``unit`` is the one of the sheet or keypad, when the text has none.

    Raises WrongInput for what is no temperature or lies outside -30 to 70 °C.
    """
    value = parse_quantity(text, Dimension.TEMPERATURE, unit).base()
    low, high = CELSIUS
    if not low <= value <= high:
        ends = " to ".join(str(_in(end, unit)) for end in (low, high))
        raise WrongInput(
            f"“{text.strip()}” is not a temperature of electrolyte",
            f"Read the thermometer again: {ends}",
        )
    return value


def parse_cell_volts(text: str) -> float:
    """A cell's voltage in V, sign included; raises WrongInput outside -3 to 3 V."""
    value = parse_quantity(text, Dimension.VOLTAGE).base()
    low, high = VOLTS
    if not low <= value <= high:
        raise WrongInput(
            f"“{text.strip()}” is not the voltage of one cell",
            f"Measure across one cell: between {low:g} V and {high:g} V",
        )
    return value


def parse_level(text: str) -> str:
    """One of :data:`LEVELS` from a word, its first letter or a digit 0 (bare) to 3 (over)."""
    level = _LEVEL_WORDS.get(" ".join(text.lower().split()))
    if level is None:
        raise WrongInput(f"“{text.strip()}” is not a level", f"Write one of: {', '.join(LEVELS)}")
    return level


def second_press(
    volts: float, settings: CellSettings, at_rest: bool = True, cell: int | None = None
) -> Flag | None:
    """What must be confirmed by a second press: a reversed cell, or a low one at rest.

    It is critical, so the reading is taken once it is confirmed; never rejected.
    """
    name = "this cell" if cell is None else f"cell {cell}"
    if volts < 0:
        return Flag("reversed cell", f"{name} is reversed ({volts:.2f} V)", "stop", cell)
    if at_rest and volts < settings.volts_at_rest:
        return Flag(
            "low voltage",
            f"{name} shows {volts:.2f} V at rest, below {settings.volts_at_rest:g} V",
            "stop",
            cell,
        )
    return None


def _in(celsius: float, unit: str) -> Quantity:
    return quantity(str(celsius), "°C").rounded_to(unit)
