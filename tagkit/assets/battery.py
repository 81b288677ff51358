"""The nameplate of a traction battery."""

from __future__ import annotations

from dataclasses import dataclass

from tagkit.assets.chemistry import CHEMISTRIES, CHEMISTRY_WORDS
from tagkit.assets.fields import choice, day, flag, number, quantity, text
from tagkit.assets.stated import Stated
from tagkit.units import Dimension, Quantity

CABLE_SIDES = {"left": "left", "right": "right", "front": "front", "rear": "rear", "top": "top"}
SIDE_WORDS = {"l": "left", "r": "right", "lh": "left", "rh": "right", "links": "left",
              "rechts": "right", "back": "rear", "centre": "top", "center": "top"}  # fmt: skip
HAZARD_TYPES = {"E": "type E", "ES": "type ES", "EE": "type EE", "EX": "type EX"}


@dataclass(frozen=True)
class Battery:
    """What is known of a battery; None means unknown, and unknown is never a fit."""

    maker_serial: Stated[str] | None = text("maker's serial")
    designation: Stated[str] | None = text("trade designation")
    voltage: Stated[Quantity] | None = quantity("voltage", Dimension.VOLTAGE, 2, 160)
    cells: Stated[int] | None = number("number of cells", 1, 80)
    capacity: Stated[Quantity] | None = quantity("capacity", Dimension.CAPACITY, 20, 3000)
    capacity_rate: Stated[int] | None = number("hours the capacity is stated at", 1, 20)
    weight: Stated[Quantity] | None = quantity("service weight", Dimension.MASS, 20, 6000)
    weighed: Stated[Quantity] | None = quantity("weight on a scale", Dimension.MASS, 20, 6000)
    scale_error: Stated[Quantity] | None = quantity("error of the scale", Dimension.MASS, 0, 200)
    ballast: Stated[Quantity] | None = quantity("approved ballast", Dimension.MASS, 0, 2000)
    length: Stated[Quantity] | None = quantity("length", Dimension.LENGTH, 80, 3000)
    width: Stated[Quantity] | None = quantity("width", Dimension.LENGTH, 80, 2000)
    height: Stated[Quantity] | None = quantity("height", Dimension.LENGTH, 80, 2000)
    chemistry: Stated[str] | None = choice("chemistry", CHEMISTRIES, CHEMISTRY_WORDS)
    connector: Stated[str] | None = text("connector")
    cable_side: Stated[str] | None = choice("cable side", CABLE_SIDES, SIDE_WORDS)
    cable_length: Stated[Quantity] | None = quantity("cable length", Dimension.LENGTH, 50, 6000)
    hazard_type: Stated[str] | None = choice("hazardous-location type", HAZARD_TYPES, {})
    atex_category: Stated[str] | None = text("ATEX category")
    lug_spacing: Stated[Quantity] | None = quantity("lug spacing", Dimension.LENGTH, 50, 3000)
    made_on: Stated[str] | None = day("made on")
    in_service_on: Stated[str] | None = day("in service on")
    warranty_until: Stated[str] | None = day("warranty until")
    full_gravity: Stated[Quantity] | None = quantity("full gravity", Dimension.DENSITY, 1.15, 1.35)
    discharged_gravity: Stated[Quantity] | None = quantity(
        "gravity 80 % discharged", Dimension.DENSITY, 1.05, 1.30
    )
    empty_gravity: Stated[Quantity] | None = quantity(
        "empty gravity", Dimension.DENSITY, 1.00, 1.25
    )
    gravity_temperature: Stated[Quantity] | None = quantity(
        "reference temperature of the gravities", Dimension.TEMPERATURE, 10, 40
    )
    rated_cycles: Stated[int] | None = number("rated cycles", 50, 20000)
    highest_temperature: Stated[Quantity] | None = quantity(
        "highest temperature on charge", Dimension.TEMPERATURE, 25, 80
    )
    lowest_temperature: Stated[Quantity] | None = quantity(
        "lowest temperature for a charge", Dimension.TEMPERATURE, -40, 30
    )
    equalizing: Stated[bool] | None = flag("maker allows equalizing")
    cell_layout: Stated[str] | None = text("cell layout")
    fleet_number: Stated[str] | None = text("own number")
