"""Lifting gear for batteries: the beam and the hoist it hangs from."""

from __future__ import annotations

from dataclasses import dataclass

from tagkit.assets.fields import choice, day, flag, quantity, text
from tagkit.assets.stated import Stated
from tagkit.units import Dimension, Quantity

GEAR = {"beam": "lifting beam", "hoist": "hoist"}


@dataclass(frozen=True)
class Lifting:
    """What the plate states; None means unknown."""

    maker_serial: Stated[str] | None = text("maker's serial")
    gear: Stated[str] | None = choice(
        "kind of gear",
        GEAR,
        {
            "spreader": "beam",
            "spreader beam": "beam",
            "crane": "hoist",
            "lifting beam": "beam",
            "traverse": "beam",
            "balancin": "beam",
            "polipasto": "hoist",
            "kran": "hoist",
        },
    )
    rated_load: Stated[Quantity] | None = quantity("rated load", Dimension.MASS, 50, 20000)
    own_weight: Stated[Quantity] | None = quantity("own weight", Dimension.MASS, 0, 3000)
    hooks_weight: Stated[Quantity] | None = quantity(
        "weight of hooks and chains", Dimension.MASS, 0, 1000
    )
    hung_from: Stated[str] | None = text("hoist it hangs from")
    insulated: Stated[bool] | None = flag("insulated")
    lug_spacing_min: Stated[Quantity] | None = quantity(
        "smallest lug spacing", Dimension.LENGTH, 50, 3000
    )
    lug_spacing_max: Stated[Quantity] | None = quantity(
        "largest lug spacing", Dimension.LENGTH, 50, 3000
    )
    inspection_due: Stated[str] | None = day("inspection due")
