"""Case leakage: the resistance from a battery's case to its posts.

Trade limit in service: 50 ohm for each volt of nominal voltage. Batteries above 60 V DC (80 V
ones) are beyond the touch limit, so a faulty case can hurt.
"""

from __future__ import annotations

from dataclasses import dataclass

from tagkit.rules.flags import Flag
from tagkit.settings import LifeSettings

TOUCH_LIMIT_VOLTS = 60.0


@dataclass(frozen=True)
class Leakage:
    """``passes`` is None, with a reason, when it can't be judged; ohm."""

    required_ohm: float | None
    passes: bool | None
    flag: Flag | None = None
    reason: str = ""


def case_leakage(ohm: float | None, volts: float | None, settings: LifeSettings) -> Leakage:
    """Judges the smaller of the two resistances from case to post, ``ohm``."""
    if not volts or volts < 0:
        return Leakage(None, None, reason="the battery's voltage is not known")
    required = settings.leakage_ohm_per_volt * volts
    if ohm is None or ohm < 0:
        return Leakage(required, None, reason="no resistance was measured")
    if ohm >= required:
        return Leakage(required, True)
    danger = "; above 60 V the case can give a shock" if volts > TOUCH_LIMIT_VOLTS else ""
    return Leakage(
        required,
        False,
        Flag(
            "case leakage",
            f"{ohm:.0f} ohm from case to post where {required:.0f} ohm are the least: wash, "
            f"dry and measure again before use{danger}",
            "stop" if volts > TOUCH_LIMIT_VOLTS else "act",
        ),
    )
