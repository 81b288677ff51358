"""Is an equalize charge due? Weekly or each ten cycles, or when the cells have drifted apart."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from tagkit.assets.chemistry import WATERED
from tagkit.settings import ScheduleSettings


@dataclass(frozen=True)
class EqualizeDue:
    """``due`` is None when it can't be told; ``at`` the day it falls due by the calendar."""

    due: bool | None
    at: datetime | None
    reasons: tuple[str, ...]


def equalize_due(
    chemistry: str | None,
    equalized_at: datetime | None,
    cycles_since: float | None,
    balance: str | None,
    schedule: ScheduleSettings,
    now: datetime,
) -> EqualizeDue:
    """Whether a battery is to be equalized.

    ``cycles_since``: equivalent full cycles since the last equalize charge. ``balance``: what
    the last round asked for ("none", "watch", "equalize"). Sealed and lithium batteries are
    never equalized unless their maker says so.
    """
    if chemistry is None:
        return EqualizeDue(None, None, ("its chemistry is not known",))
    if chemistry not in WATERED:
        return EqualizeDue(False, None, ("this chemistry is not equalized",))
    reasons = []
    at = None
    if balance == "equalize":
        reasons.append("its cells have drifted apart")
    if equalized_at is None:
        reasons.append("no equalize charge is on record")
    else:
        at = equalized_at + timedelta(days=schedule.equalize_days)
        if at <= now:
            days = (now - equalized_at).total_seconds() / 86_400
            reasons.append(f"{days:.0f} days since the last one")
    if cycles_since is not None and cycles_since >= schedule.equalize_cycles:
        reasons.append(f"{cycles_since:.0f} cycles since the last one")
    return EqualizeDue(bool(reasons), at, tuple(reasons))
