"""How much sulphuric acid stands in the fleet, for hazardous-chemical inventories.

US sites count it for reporting under EPCRA 312 (40 CFR part 370: 500 lb of sulphuric acid).
Mass of pure acid = electrolyte x mass share of acid at the full gravity; the share by density
of sulphuric acid in water at 20 °C (CRC Handbook of Chemistry and Physics).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

from tagkit.assets.chemistry import CHEMISTRIES
from tagkit.rules.electrolyte import corrected_gravity
from tagkit.settings import LifeSettings

KG_PER_LB = 0.45359237
REPORTED_FROM_LB = 500.0

# Density at 20 °C, kg/l -> share of the mass that is H2SO4.
_DENSITY = (
    (0.9982, 0.00), (1.0317, 0.05), (1.0661, 0.10), (1.1020, 0.15), (1.1394, 0.20),
    (1.1783, 0.25), (1.2185, 0.30), (1.2599, 0.35), (1.3028, 0.40), (1.3476, 0.45),
)  # fmt: skip
_NO_ACID = frozenset({"lithium"})


@dataclass(frozen=True)
class AcidBattery:
    """A battery as it stands in the fleet; ``electrolyte_kg`` where its maker states it.

    ``full_gravity`` is at 25 °C. None: not known.
    """

    tag: str
    chemistry: str | None = None
    weight_kg: float | None = None
    full_gravity: float | None = None
    electrolyte_kg: float | None = None


@dataclass(frozen=True)
class AcidInventory:
    """The fleet's electrolyte and pure acid, kg. ``unknown``: batteries that are not in it."""

    electrolyte_kg: float
    acid_kg: float
    counted: int
    assumed: int
    unknown: tuple[str, ...]

    @property
    def acid_lb(self) -> float:
        """Pure acid, lb."""
        return self.acid_kg / KG_PER_LB

    @property
    def reported(self) -> bool:
        """Whether the US reporting threshold is reached by what is counted."""
        return self.acid_lb >= REPORTED_FROM_LB


def acid_fraction(gravity_at_25: float) -> float:
    """Share of the mass that is H2SO4, for a gravity at 25 °C; straight between table points."""
    density = corrected_gravity(gravity_at_25, 25.0, 20.0)
    if density <= _DENSITY[0][0]:
        return 0.0
    for (low, low_share), (high, high_share) in pairwise(_DENSITY):
        if density <= high:
            return low_share + (density - low) / (high - low) * (high_share - low_share)
    return _DENSITY[-1][1]


def acid_inventory(
    batteries: Iterable[AcidBattery], settings: LifeSettings, full_gravity: float = 1.280
) -> AcidInventory:
    """The sum over ``batteries``.

    Where a maker's electrolyte mass is not stated it is taken as the site's share of the
    service weight and counted as assumed; ``full_gravity`` stands in for one not known.
    """
    electrolyte = acid = 0.0
    counted = assumed = 0
    unknown = []
    for battery in batteries:
        if battery.chemistry in _NO_ACID:
            continue
        mass = battery.electrolyte_kg
        if battery.chemistry not in CHEMISTRIES or (mass is None and battery.weight_kg is None):
            unknown.append(battery.tag)
            continue
        if mass is None:
            mass = (battery.weight_kg or 0.0) * settings.electrolyte_percent / 100
            assumed += 1
        counted += 1
        electrolyte += mass
        gravity = full_gravity if battery.full_gravity is None else battery.full_gravity
        acid += mass * acid_fraction(gravity)
    return AcidInventory(electrolyte, acid, counted, assumed, tuple(unknown))
