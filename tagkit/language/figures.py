"""Figures as this visitor reads them: metric or US customary, what is marked never hidden."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from tagkit.assets.fields import Field
from tagkit.errors import WrongInput
from tagkit.units import UNITS, Dimension, Quantity

# Dimension -> (metric unit, customary unit, digits when converted to the customary one)
_PAIRS: Mapping[Dimension, tuple[str, str, int]] = {
    Dimension.MASS: ("kg", "lb", 0),
    Dimension.LENGTH: ("mm", "in", 1),
    Dimension.TEMPERATURE: ("°C", "°F", 0),
}


def _places(figure: Decimal) -> int:
    """Places behind the point, as marked."""
    exponent = figure.as_tuple().exponent
    return -exponent if isinstance(exponent, int) else 0


LITRES_PER_GALLON = 3.785411784
"""US gallon, exact (231 cubic inches)."""


def shown(quantity: Quantity, units: str) -> str:
    """The figure in the visitor's units, followed by the marked one where that is another.

    ``units`` is metric or us. The marked figure is what people compare with the case.
    """
    if quantity.unit == "SG":  # 1.28 is written 1.280, as on every hydrometer and round sheet
        places = max(3, _places(quantity.value))
        return f"{quantity.value:.{places}f} SG"
    pair = _PAIRS.get(quantity.dimension)
    customary = units == "us"
    if pair is None or UNITS[quantity.unit].customary == customary:
        return str(quantity)
    converted = quantity.rounded_to(pair[1] if customary else pair[0], pair[2] if customary else 0)
    return f"{converted} ({quantity})"


def litres_shown(litres: float, units: str) -> str:
    """An amount of water: litres, or US gallons."""
    if units == "us":
        return f"{litres / LITRES_PER_GALLON:.1f} gal"
    return f"{litres:.1f} l"


def shown_fact(spec: Field, fact: Mapping[str, Any], units: str) -> str:
    """A stored fact of a nameplate in words; what can't be read says so."""
    try:
        if spec.reads == "quantity":
            return shown(Quantity.from_stored(dict(fact)), units)
        value = fact["value"]
        if spec.reads == "quantities":
            return " / ".join(shown(Quantity.from_stored(dict(one)), units) for one in value)
        if spec.reads == "choices":
            return ", ".join(str(spec.choices.get(one, one)) for one in value)
        if spec.reads == "choice":
            return str(spec.choices.get(value, value))
        if spec.reads == "flag":
            return "yes" if value else "no"
        return str(value)
    except (KeyError, TypeError, ValueError, ArithmeticError, WrongInput):
        return "can't be read"
