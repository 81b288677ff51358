"""Specific gravity of vented lead-acid electrolyte: temperature correction, charge, freezing.

Correction: SG(T0) = SG + k (T - T0), k = 0.0007 per °C (US practice: 0.004 per 10 °F).
State of charge: a straight line through the full gravity (100 %) and the gravity 80 %
discharged (20 %), 1.280 and 1.160 unless the maker says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from tagkit.rules.flags import Flag
from tagkit.settings import ElectrolyteSettings

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


@dataclass(frozen=True)
class GravityScale:
    """What a battery's gravities mean; all at ``reference_celsius``.

    ``discharged`` is the gravity with 20 % of the charge left.
    """

    full: float = 1.280
    discharged: float = 1.160
    reference_celsius: float = 25.0
    per_kelvin: float = GRAVITY_PER_KELVIN

    def __post_init__(self) -> None:
        if self.full <= self.discharged:
            raise ValueError("the full gravity must be above the discharged one")

    @property
    def empty(self) -> float:
        """Gravity at 0 %, on the line."""
        return self.full - (self.full - self.discharged) / 0.8

    def corrected(self, gravity: float, celsius: float) -> float:
        """A reading at ``celsius``, brought to the reference."""
        return corrected_gravity(gravity, celsius, self.reference_celsius, self.per_kelvin)

    def at_25(self, gravity: float) -> float:
        """A gravity at the reference, brought to 25 °C, where the freezing table stands."""
        return corrected_gravity(gravity, self.reference_celsius, 25.0, self.per_kelvin)


@dataclass(frozen=True)
class ChargeState:
    """State of charge by gravity, % and not clipped; ``reason`` says why it is unknown."""

    percent: float | None
    corrected: float | None
    flags: tuple[Flag, ...] = ()
    reason: str = ""


def corrected_gravity(
    gravity: float,
    celsius: float,
    reference_celsius: float = 25.0,
    per_kelvin: float = GRAVITY_PER_KELVIN,
) -> float:
    """A hydrometer reading taken at ``celsius``, as it would be at ``reference_celsius``.

    SG(T0) = SG + k (T - T0), ``per_kelvin`` = k.
    """
    return gravity + per_kelvin * (celsius - reference_celsius)


def gravity_scale(
    settings: ElectrolyteSettings,
    full: float | None = None,
    discharged: float | None = None,
    empty: float | None = None,
    marked_celsius: float | None = None,
) -> GravityScale:
    """The scale of one battery at the site's reference temperature.

    ``full``, ``discharged`` (80 %) and ``empty`` (0 %) are the maker's, at ``marked_celsius``
    (the site's reference unless stated). With only the full one stated, the others lie below
    it as far as the site's do. Figures that contradict each other leave the site's scale.
    """
    reference, slope = settings.reference_celsius, settings.per_kelvin
    site = GravityScale(settings.full, settings.discharged, reference, slope)

    def here(gravity: float) -> float:
        marked = reference if marked_celsius is None else marked_celsius
        return corrected_gravity(gravity, marked, reference, slope)

    top = here(full) if full is not None else site.full
    if discharged is not None:
        low = here(discharged)
    elif empty is not None:
        low = here(empty) + 0.2 * (top - here(empty))
    elif full is not None:
        low = top - (site.full - site.discharged)
    else:
        low = site.discharged
    return GravityScale(top, low, reference, slope) if top > low else site


def charge_percent(gravity: float, scale: GravityScale) -> float:
    """State of charge, %, of a ``gravity`` at the scale's reference; not clipped."""
    return 100 * (gravity - scale.empty) / (scale.full - scale.empty)


def gravity_at_charge(percent: float, scale: GravityScale) -> float:
    """The gravity at the scale's reference that goes with a state of charge, %."""
    return scale.empty + (scale.full - scale.empty) * percent / 100


def charge_state(gravity: float | None, celsius: float | None, scale: GravityScale) -> ChargeState:
    """State of charge from a reading of ``gravity`` at ``celsius``.

    Values outside 0 to 100 % stand as they are, flagged once they lie beyond what reading
    errors explain (5 %): over-strong or stratified electrolyte, acid lost.
    """
    if gravity is None:
        return ChargeState(None, None, reason="no gravity was read")
    if celsius is None:
        return ChargeState(None, None, reason="no temperature was read, so no correction")
    corrected = scale.corrected(gravity, celsius)
    percent = charge_percent(corrected, scale)
    flags: tuple[Flag, ...] = ()
    if percent > 105:
        flags = (
            Flag(
                "over-strong",
                f"gravity {corrected:.3f} is above full ({scale.full:.3f}): little water, acid "
                "added, or a layered electrolyte",
                "watch",
            ),
        )
    elif percent < -5:
        flags = (
            Flag(
                "acid lost",
                f"gravity {corrected:.3f} is below empty ({scale.empty:.3f}): acid was lost, or "
                "too much water was added",
                "watch",
            ),
        )
    return ChargeState(percent, corrected, flags)


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
