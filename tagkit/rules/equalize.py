"""May a battery be equalized, and is it due: weekly, each ten cycles, or when cells have drifted?

Vented lead-acid batteries are equalized. Sealed (gel, AGM, thin-plate) and lithium ones only where
their maker says so: they can't be topped up, and what they vent or how they fail is for their
maker to know.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from tagkit.assets.chemistry import CHEMISTRIES, WATERED
from tagkit.settings import ScheduleSettings


@dataclass(frozen=True)
class EqualizeDue:
    """``due`` is None when it can't be told; ``at`` the day it falls due by the calendar."""

    due: bool | None
    at: datetime | None
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Equalizing:
    """Whether a battery may be equalized, and what is to be said of it; ``words`` is empty where
    nothing is out of the ordinary."""

    allowed: bool
    words: str = ""


def may_equalize(chemistry: str | None, maker_allows: bool | None) -> Equalizing:
    """Whether an equalize charge is for a battery of this chemistry.

    ``maker_allows`` as its nameplate or papers state it; None: not known, which is no allowance
    for a sealed or lithium battery. A chemistry that is not known is judged by the fit with its
    charger.
    """
    if maker_allows is False:
        return Equalizing(False, "its maker does not allow equalizing")
    if chemistry is None or chemistry in WATERED:
        return Equalizing(True)
    name = CHEMISTRIES.get(chemistry, chemistry)
    if maker_allows:
        return Equalizing(
            True,
            f"{name}: its maker allows equalizing, at the maker's voltage and for its time only",
        )
    return Equalizing(False, f"{name} is never equalized unless its maker says so")


def equalize_due(
    chemistry: str | None,
    equalized_at: datetime | None,
    cycles_since: float | None,
    balance: str | None,
    schedule: ScheduleSettings,
    now: datetime,
    maker_allows: bool | None = None,
) -> EqualizeDue:
    """Whether a battery is to be equalized.

    ``cycles_since``: equivalent full cycles since the last equalize charge. ``balance``: what
    the last round asked for ("none", "watch", "equalize"). Sealed and lithium batteries have no
    schedule here: where their maker allows it, the maker says when.
    """
    if maker_allows is False:
        return EqualizeDue(False, None, ("its maker does not allow equalizing",))
    if chemistry is None:
        return EqualizeDue(None, None, ("its chemistry is not known",))
    if chemistry not in WATERED:
        words = "when its maker says" if maker_allows else "this chemistry is not equalized"
        return EqualizeDue(False, None, (words,))
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
