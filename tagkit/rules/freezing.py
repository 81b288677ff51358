"""Will it freeze? Judged by the gravity expected at the END of the shift, where it works.

A battery that is full at the dock may come back nearly empty from the cold store, and weak
electrolyte freezes early. The table of freezing points stands in ``electrolyte``.
"""

from __future__ import annotations

from dataclasses import dataclass

from tagkit.rules.electrolyte import (
    GravityScale,
    charge_percent,
    freezing_celsius,
    gravity_at_charge,
)
from tagkit.rules.flags import Flag
from tagkit.settings import ElectrolyteSettings


@dataclass(frozen=True)
class FreezingOutlook:
    """Freezing point (°C) at the end of the shift; None with a reason when it can't be told."""

    freezes_at: float | None
    gravity_then: float | None
    flag: Flag | None = None
    reason: str = ""


def freezing_outlook(
    gravity: float | None,
    celsius: float | None,
    working_celsius: float | None,
    use_percent: float | None,
    scale: GravityScale,
    settings: ElectrolyteSettings,
) -> FreezingOutlook:
    """Whether electrolyte of ``gravity`` (as read, at ``celsius``) freezes at work.

    ``use_percent`` is what the shift takes, % of capacity; ``working_celsius`` the temperature
    where the truck works. The electrolyte is taken to reach it, which errs to the careful side.
    """
    missing = [
        words
        for words, value in (
            ("gravity", gravity),
            ("temperature of the electrolyte", celsius),
            ("temperature where it works", working_celsius),
            ("what a shift takes", use_percent),
        )
        if value is None
    ]
    if gravity is None or celsius is None or working_celsius is None or use_percent is None:
        return FreezingOutlook(None, None, reason=f"not known: {', '.join(missing)}")
    now = scale.corrected(gravity, celsius)
    then = gravity_at_charge(charge_percent(now, scale) - use_percent, scale)
    freezes_at = freezing_celsius(scale.at_25(then))
    words = (
        f"at the end of the shift the gravity will be about {then:.3f}, which freezes at "
        f"{freezes_at:.0f} °C; it works at {working_celsius:g} °C"
    )
    if working_celsius <= freezes_at:
        flag = Flag("will freeze", f"it would freeze: {words}", "stop")
    elif working_celsius < freezes_at + settings.freezing_margin:
        flag = Flag("close to freezing", f"close to freezing: {words}", "act")
    else:
        return FreezingOutlook(freezes_at, then)
    return FreezingOutlook(freezes_at, then, flag)
