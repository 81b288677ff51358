"""Specific gravity of vented lead-acid electrolyte: temperature correction and freezing point."""

from __future__ import annotations

from itertools import pairwise

GRAVITY_PER_KELVIN = 0.0007  # US practice says the same as 0.004 per 10 °F

# Specific gravity at 25 °C -> freezing point, °C (sulphuric acid in water).
_FREEZING = (
    (1.100, -8.0),
    (1.130, -12.0),
    (1.150, -15.0),
    (1.160, -17.0),
    (1.200, -27.0),
    (1.225, -37.0),
    (1.250, -52.0),
    (1.280, -68.0),
)


def corrected_gravity(gravity: float, celsius: float, reference_celsius: float = 25.0) -> float:
    """A hydrometer reading taken at ``celsius``, as it would be at ``reference_celsius``.

    SG(T0) = SG + 0.0007 (T - T0).
    """
    return gravity + GRAVITY_PER_KELVIN * (celsius - reference_celsius)


def freezing_celsius(gravity_at_25: float) -> float:
    """Freezing point, °C, by straight lines between the table's points.

    Below the table it freezes like water at 0 °C, straight from SG 1.000; above the table the
    last value stands, which errs to the careful side.
    """
    points = ((1.000, 0.0), *_FREEZING)
    if gravity_at_25 <= points[0][0]:
        return points[0][1]
    for (low, high_point), (high, low_point) in pairwise(points):
        if gravity_at_25 <= high:
            share = (gravity_at_25 - low) / (high - low)
            return high_point + share * (low_point - high_point)
    return points[-1][1]
