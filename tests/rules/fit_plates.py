"""Nameplates for the tests of the rules: a pair that fits, to be changed one fact at a time."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.assets.lifting import Lifting
from tagkit.assets.stated import Source, Stated
from tagkit.assets.truck import Truck
from tagkit.rules.fit import check_fit
from tagkit.rules.verdict import Check, Verdict
from tagkit.settings import FitSettings
from tagkit.units import UNITS, quantity

SETTINGS = FitSettings()


def fact(value: Any, source: Source = Source.STAMPED) -> Stated[Any] | None:
    """A stated fact from plain words: "1111 kg", "vented", 5, True, or None for unknown."""
    if value is None or isinstance(value, Stated):
        return value
    if isinstance(value, str):
        number, _, unit = value.partition(" ")
        if unit in UNITS and unit and re.fullmatch(r"[\d.]+", number):
            return Stated(quantity(number, unit), source)
        return Stated(value, source)
    if isinstance(value, list):
        return Stated(tuple(fact(item).value for item in value), source)
    return Stated(value, source)


def plate(kind: type, source: Source, facts: dict[str, Any]) -> Any:
    """A nameplate of ``kind`` from plain words."""
    return kind(**{name: fact(value, source) for name, value in facts.items()})


def battery(**facts: Any) -> Battery:
    """A 48 V, 1111 kg vented battery, with ``facts`` changed."""
    usual = {"voltage": "48 V", "weight": "1111 kg", "chemistry": "vented", "capacity": "775 Ah",
             "capacity_rate": 5}  # fmt: skip
    return plate(Battery, Source.STAMPED, {**usual, **facts})


def truck(**facts: Any) -> Truck:
    """A 48 V truck for 1000 to 1200 kg, with ``facts`` changed."""
    usual = {"voltage": "48 V", "weight_min": "1000 kg", "weight_max": "1200 kg"}
    return plate(Truck, Source.NAMEPLATE, {**usual, **facts})


def charger(**facts: Any) -> Charger:
    """A charger that the usual battery fits, with ``facts`` changed."""
    usual = {"voltages": ["24 V", "48 V"], "capacity_min": "400 Ah", "capacity_max": "800 Ah",
             "capacity_rate": 5, "chemistries": ["vented"]}  # fmt: skip
    return plate(Charger, Source.NAMEPLATE, {**usual, **facts})


def beam(**facts: Any) -> Lifting:
    """A beam that carries the usual battery."""
    usual = {"gear": "beam", "rated_load": "1500 kg", "own_weight": "60 kg", "insulated": True,
             "inspection_due": "2026-09-30"}  # fmt: skip
    return plate(Lifting, Source.NAMEPLATE, {**usual, **facts})


def hoist(**facts: Any) -> Lifting:
    """A hoist that carries the usual battery with beam and hooks."""
    usual = {"gear": "hoist", "rated_load": "2000 kg", "hooks_weight": "20 kg",
             "inspection_due": "2026-09-30"}  # fmt: skip
    return plate(Lifting, Source.NAMEPLATE, {**usual, **facts})


def verdict(
    a_battery: Battery, a_truck: Truck, *, settings: FitSettings = SETTINGS,
    battery_married: bool = True, truck_married: bool = True, jumpered: Sequence[int] = (),
) -> Verdict:  # fmt: skip
    """The verdict on a pair; both married unless said otherwise."""
    return check_fit(
        a_battery,
        a_truck,
        settings=settings,
        battery_married=battery_married,
        truck_married=truck_married,
        jumpered=jumpered,
    )


def line(of: Verdict, name: str) -> Check:
    """The line called ``name``."""
    found = [check for check in of.checks if check.name == name]
    assert len(found) == 1, f"{len(found)} lines called {name}"
    return found[0]


def assumed(stated: Stated[Any] | None) -> Stated[Any]:
    """The same fact, but nobody has read it."""
    assert stated is not None
    return replace(stated, source=Source.ASSUMED)
