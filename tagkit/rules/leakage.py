"""Case leakage: the resistance from a battery's case to its posts.

Trade limit in service: 50 ohm for each volt of nominal voltage. Batteries above 60 V DC (80 V
ones) are beyond the touch limit, so a faulty case can hurt.

A case that leaks holds the battery until a later test passes: above 60 V, or at a voltage that is
not known, nothing else lifts it; below that a supervisor may release it for one use.
"""

from __future__ import annotations

from dataclasses import dataclass

from tagkit.rules.flags import Flag
from tagkit.settings import LifeSettings

CODE = "case leakage"
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
    sentence = (
        f"{ohm:.0f} ohm from case to post where {required:.0f} ohm are the least: wash, "
        f"dry and measure again before use{_danger(volts)}"
    )
    return Leakage(required, False, _flag(sentence, volts))


def standing_leakage(
    ohm: float | None, passed: bool | None, volts: float | None, settings: LifeSettings
) -> Flag | None:
    """What the last test, of ``ohm`` and judged then as ``passed``, says against the battery now.

    One that failed stands until another is measured, whatever was amended since. Any other is
    judged by the present voltage and limit; where it can't be, it is no pass.
    """
    now = case_leakage(ohm, volts, settings)
    if now.flag is not None or (now.passes and passed is not False):
        return now.flag
    if passed is False:
        measured = "" if ohm is None else f" ({ohm:.0f} ohm from case to post)"
        return _flag(
            f"its case did not pass the last leakage test{measured}: wash, dry and measure again "
            f"before use{_danger(volts)}",
            volts,
        )
    return _flag(f"its case leakage is not judged: {now.reason}; measure again before use", volts)


def _flag(sentence: str, volts: float | None) -> Flag:
    return Flag(CODE, sentence, "stop" if not volts or volts > TOUCH_LIMIT_VOLTS else "act")


def _danger(volts: float | None) -> str:
    above = volts is not None and volts > TOUCH_LIMIT_VOLTS
    return "; above 60 V the case can give a shock" if above else ""
