"""Why a light battery is no fit: the load that the truck could still balance.

For understanding only. On a counterweight truck the battery is part of the counterweight: one
lighter by dW, with its centre x behind the front axle, lowers the load that balances at load
centre c by dW x / (a + c), with a from the front axle to the fork face. ISO 22915 gives the real
stability tests; the truck's plate alone permits.
"""

from __future__ import annotations

from fractions import Fraction

from tagkit.assets.battery import Battery
from tagkit.assets.truck import Truck
from tagkit.rules.figures import figure, said_weight
from tagkit.rules.weight import stamped_weight

NEVER_A_PERMIT = "For understanding only, never a permit to operate"


def load_lost(
    missing: Fraction, axle_to_battery: Fraction, axle_to_fork: Fraction, load_centre: Fraction
) -> Fraction:
    """Load no longer balanced, kg: ``missing`` kg of battery; the three distances in mm."""
    return missing * axle_to_battery / (axle_to_fork + load_centre)


def explain_balance(battery: Battery, truck: Truck) -> str | None:
    """A sentence for a battery below the truck's minimum, or None.

    None also when the weight or one of the truck's lever arms is not known: nothing is invented.
    """
    weight, least = stamped_weight(battery), figure(truck, "weight_min")
    arms = [figure(truck, name) for name in ("axle_to_battery", "axle_to_fork", "load_centre")]
    if not weight.known or not least.known or not all(arm.known for arm in arms):
        return None
    missing = least.exact() - weight.exact()
    if missing <= 0:
        return None
    unit = least.value.unit
    lost = load_lost(missing, *(arm.exact() for arm in arms))
    return (
        "The battery is part of the counterweight: "
        f"{said_weight(missing, unit, up=True)} too light here means about "
        f"{said_weight(lost, unit, up=True)} less load that balances at a load centre of "
        f"{arms[2].value}. {NEVER_A_PERMIT}."
    )
