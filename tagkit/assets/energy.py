"""What a battery holds for its weight: far off the usual, weight and unit hardly go together."""

from __future__ import annotations

from tagkit.assets.battery import Battery

LIKELY = (16.0, 50.0)
"""Wh/kg of a lead-acid traction battery at the 5 or 6 h rate. They have 25 to 40 (Linden and Reddy,
Handbook of Batteries, motive power cells); ballast in the tray takes some off. Kilograms taken
for pounds come out 2.2 times too high, pounds taken for kilograms 2.2 times too low."""


def unlikely_energy(battery: Battery) -> float | None:
    """The specific energy, Wh/kg, of a lead-acid battery if it is hardly possible; else None.

    None too where chemistry, voltage, capacity or weight is not stated.
    """
    stated = (battery.voltage, battery.capacity, battery.weight)
    if battery.chemistry is None or battery.chemistry.value == "lithium" or None in stated:
        return None
    volts, ampere_hours, kilograms = (one.value.base() for one in stated if one is not None)
    found = volts * ampere_hours / kilograms
    return None if LIKELY[0] <= found <= LIKELY[1] else found
