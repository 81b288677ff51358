"""A fact about an asset and where it comes from.

The same weight means something else on the case, on a scale and in a supplier's sheet, so the
source travels with every figure.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any, Generic, TypeVar

from tagkit.units import Quantity

Fact = TypeVar("Fact", covariant=True)


class Source(Enum):
    """Where a figure comes from, most to least direct."""

    STAMPED = "stamped"  # on the case itself
    WEIGHED = "weighed"  # on a scale, here
    NAMEPLATE = "nameplate"  # on the truck's or charger's plate
    CATALOGUE = "catalogue"  # a supplier's sheet; nobody has looked at the asset yet
    ASSUMED = "assumed"  # a default of the trade


@dataclass(frozen=True)
class Stated(Generic[Fact]):
    """A value with its source."""

    value: Fact
    source: Source

    def __str__(self) -> str:
        return f"{self.value} ({self.source.value})"

    def stored(self) -> dict[str, Any]:
        """The form kept in the record: quantities keep their digits and unit as marked."""
        value: Any = self.value
        if isinstance(value, Quantity):
            return {**value.stored(), "source": self.source.value}
        if isinstance(value, tuple):
            value = [item.stored() if isinstance(item, Quantity) else item for item in value]
        return {"value": value, "source": self.source.value}
