"""The nameplate of an electric truck, as far as it concerns the battery."""

from __future__ import annotations

from dataclasses import dataclass

from tagkit.assets.battery import CABLE_SIDES, HAZARD_TYPES, SIDE_WORDS
from tagkit.assets.chemistry import CHEMISTRIES, CHEMISTRY_WORDS
from tagkit.assets.fields import choice, choices, day, number, quantity, text
from tagkit.assets.stated import Stated
from tagkit.units import Dimension, Quantity

LEAVES_BY = {"lift": "lifted out", "roll": "rolled out"}


@dataclass(frozen=True)
class Truck:
    """What the plate permits. A requirement that is None is not stated by the truck."""

    fleet_number: Stated[str] | None = text("fleet number")
    maker_serial: Stated[str] | None = text("maker's serial")
    model: Stated[str] | None = text("model")
    group: Stated[str] | None = text("group")
    voltage: Stated[Quantity] | None = quantity("voltage", Dimension.VOLTAGE, 2, 160)
    weight_min: Stated[Quantity] | None = quantity(
        "smallest battery weight", Dimension.MASS, 20, 6000
    )
    weight_max: Stated[Quantity] | None = quantity(
        "largest battery weight", Dimension.MASS, 20, 6000
    )
    chemistries: Stated[tuple[str, ...]] | None = choices(
        "allowed chemistries", CHEMISTRIES, CHEMISTRY_WORDS
    )
    capacity_max: Stated[Quantity] | None = quantity(
        "largest battery capacity", Dimension.CAPACITY, 20, 3000
    )
    capacity_rate: Stated[int] | None = number("hours the capacity is stated at", 1, 20)
    compartment_length: Stated[Quantity] | None = quantity(
        "compartment length", Dimension.LENGTH, 80, 3000
    )
    compartment_width: Stated[Quantity] | None = quantity(
        "compartment width", Dimension.LENGTH, 80, 2000
    )
    compartment_height: Stated[Quantity] | None = quantity(
        "compartment height", Dimension.LENGTH, 80, 2000
    )
    spacer_length: Stated[Quantity] | None = quantity(
        "approved spacers along the length", Dimension.LENGTH, 0, 1000
    )
    spacer_width: Stated[Quantity] | None = quantity(
        "approved spacers across the width", Dimension.LENGTH, 0, 1000
    )
    connector: Stated[str] | None = text("connector")
    cable_side: Stated[str] | None = choice("cable side", CABLE_SIDES, SIDE_WORDS)
    cable_length: Stated[Quantity] | None = quantity(
        "shortest cable length", Dimension.LENGTH, 50, 6000
    )
    hazard_type: Stated[str] | None = choice("hazardous-location type", HAZARD_TYPES, {})
    atex_category: Stated[str] | None = text("ATEX category")
    rated_load: Stated[Quantity] | None = quantity("rated load", Dimension.MASS, 50, 20000)
    load_centre: Stated[Quantity] | None = quantity("load centre", Dimension.LENGTH, 100, 1500)
    axle_to_fork: Stated[Quantity] | None = quantity(
        "front axle to fork face", Dimension.LENGTH, 0, 2000
    )
    axle_to_battery: Stated[Quantity] | None = quantity(
        "front axle to battery centre", Dimension.LENGTH, 0, 4000
    )
    leaves_by: Stated[str] | None = choice(
        "how the battery leaves", LEAVES_BY,
        {"lift out": "lift", "crane": "lift", "overhead": "lift", "roll out": "roll",
         "rollers": "roll", "side": "roll"},
    )  # fmt: skip
    works_at: Stated[Quantity] | None = quantity(
        "coldest temperature at work", Dimension.TEMPERATURE, -60, 60
    )
    made_on: Stated[str] | None = day("made on")
