"""The nameplate of a charger."""

from __future__ import annotations

from dataclasses import dataclass

from tagkit.assets.chemistry import CHEMISTRIES, CHEMISTRY_WORDS
from tagkit.assets.fields import choice, choices, number, quantities, quantity, text
from tagkit.assets.stated import Stated
from tagkit.units import Dimension, Quantity

# How the current runs while the battery gasses; the ventilation figure depends on it.
CHARACTERISTICS = {"w": "W taper", "iu": "IU", "iui": "IUI"}


@dataclass(frozen=True)
class Charger:
    """What the plate states; None means unknown."""

    maker_serial: Stated[str] | None = text("maker's serial")
    bay: Stated[str] | None = text("bay")
    model: Stated[str] | None = text("model")
    voltages: Stated[tuple[Quantity, ...]] | None = quantities(
        "output voltage", Dimension.VOLTAGE, 2, 160
    )
    capacity_min: Stated[Quantity] | None = quantity(
        "smallest battery capacity", Dimension.CAPACITY, 5, 3000
    )
    capacity_max: Stated[Quantity] | None = quantity(
        "largest battery capacity", Dimension.CAPACITY, 5, 3000
    )
    capacity_rate: Stated[int] | None = number("hours the capacity is stated at", 1, 20)
    start_current: Stated[Quantity] | None = quantity("start current", Dimension.CURRENT, 1, 1000)
    finishing_current: Stated[Quantity] | None = quantity(
        "finishing current", Dimension.CURRENT, 0.1, 500
    )
    chemistries: Stated[tuple[str, ...]] | None = choices(
        "chemistries", CHEMISTRIES, CHEMISTRY_WORDS
    )
    characteristic: Stated[str] | None = choice(
        "characteristic", CHARACTERISTICS, {"wa": "w", "wowa": "w", "iua": "iu", "iuia": "iui"}
    )
    connector: Stated[str] | None = text("connector")
