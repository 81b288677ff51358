"""Discharge of a use, Ah returned, and what a charge, a use or a long stand did to a battery.

A discharge is told by specific gravity, else by the charger's Ah, else by the truck's gauge, in
that order of trust. Ah returned: the charge current integrated where it is known, else depth x
capacity x charge factor (1.15 for conventional charging of vented cells, 1.05 to 1.20 by
profile). What is not known stays unknown.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from typing import Literal

from tagkit.errors import WrongInput
from tagkit.rules.flags import Flag
from tagkit.settings import ChargingSettings

Witness = Literal["gravity", "charger", "gauge"]

MOST_AMPERES = 2000.0
_LONGEST_LOG_HOURS = 1000.0


@dataclass(frozen=True)
class Discharge:
    """What a use took, % of capacity and Ah; ``by`` is the witness that was believed.

    ``heard`` are all that said something, the most trusted first.
    """

    percent: float | None
    ah: float | None
    by: Witness | None
    reason: str = ""
    heard: tuple[tuple[Witness, float], ...] = ()


@dataclass(frozen=True)
class AhReturned:
    """Ah that a charge put back; ``by`` its own count, or the depth before it."""

    ah: float | None
    by: Literal["charger", "depth"] | None
    reason: str = ""


@dataclass(frozen=True)
class Charge:
    """A charge as recorded; temperatures in °C, ``ah`` as the charger counted; None: unknown.

    ``full_hours`` is what this charger takes for an 80 % discharged battery of this size.
    """

    started_at: datetime
    ended_at: datetime | None = None
    kind: str | None = None  # conventional, opportunity, equalize, freshening
    start_celsius: float | None = None
    highest_celsius: float | None = None
    ah: float | None = None
    full_hours: float | None = None

    @property
    def hours(self) -> float | None:
        """How long it took."""
        if self.ended_at is None:
            return None
        return (self.ended_at - self.started_at).total_seconds() / 3600


def discharge_of_use(
    capacity_ah: float | None,
    settings: ChargingSettings,
    *,
    start_percent: float | None = 100.0,
    gravity_percent: float | None = None,
    charger_ah: float | None = None,
    gauge_percent: float | None = None,
    factor: float | None = None,
) -> Discharge:
    """What a use took from a battery of ``capacity_ah``.

    ``start_percent`` and ``gravity_percent``: state of charge before and after, by gravity.
    ``charger_ah``: what the charge that followed returned, divided here by ``factor`` (the
    site's unless given). ``gauge_percent``: state of discharge that the truck showed at the end.
    A figure outside 0 to 120 % is no witness.
    """
    heard: list[tuple[Witness, float]] = []

    def hear(witness: Witness, percent: float | None) -> None:
        if percent is not None and -5 <= percent <= 120:
            heard.append((witness, max(0.0, percent)))

    started = start_percent
    if gravity_percent is not None and started is not None:
        hear("gravity", started - gravity_percent)
    if charger_ah is not None and charger_ah >= 0 and capacity_ah:
        hear("charger", 100 * charger_ah / (factor or settings.factor) / capacity_ah)
    if gauge_percent is not None and started is not None:
        hear("gauge", gauge_percent - (100 - started))
    if not heard:
        return Discharge(None, None, None, "no gravity, no charger's Ah and no gauge tell it")
    witness, percent = heard[0]
    ah = percent * capacity_ah / 100 if capacity_ah else None
    return Discharge(
        percent, ah, witness, "" if capacity_ah else "its capacity is not known", tuple(heard)
    )


def ah_returned(
    ah_counted: float | None,
    depth_percent: float | None,
    capacity_ah: float | None,
    settings: ChargingSettings,
    factor: float | None = None,
) -> AhReturned:
    """Ah that a charge returned: as counted, else depth x capacity x charge factor."""
    if ah_counted is not None and ah_counted >= 0:
        return AhReturned(ah_counted, "charger")
    if depth_percent is None or depth_percent < 0:
        return AhReturned(None, None, "neither the charger's Ah nor the depth before is known")
    if not capacity_ah:
        return AhReturned(None, None, "the capacity is not known")
    return AhReturned(depth_percent / 100 * capacity_ah * (factor or settings.factor), "depth")


def ah_from_log(samples: Sequence[tuple[float, float]]) -> float:
    """Ah of a charger's log of (hours since any start, A), by the trapezium rule.

    Raises WrongInput for times out of order and currents that no charger gives.
    """
    for row, (hours, amperes) in enumerate(samples, start=1):
        if not 0 <= amperes <= MOST_AMPERES:
            raise WrongInput(
                f"{amperes:g} A is not a charge current", "Check the column of the log",
                f"sample {row}",
            )  # fmt: skip
        if not abs(hours) <= _LONGEST_LOG_HOURS:
            raise WrongInput(
                f"{hours:g} h is no time of a charge", "Check the column of the log",
                f"sample {row}",
            )  # fmt: skip
        if row > 1 and hours < samples[row - 2][0]:
            raise WrongInput(
                "the log's times are out of order", "Sort the log by time", f"sample {row}"
            )
    return sum(
        (later - earlier) * (before + after) / 2
        for (earlier, before), (later, after) in pairwise(samples)
    )


def charge_flags(
    charge: Charge,
    depth_percent: float | None,
    capacity_ah: float | None,
    settings: ChargingSettings,
    *,
    highest_start_celsius: float,
    stop_celsius: float | None = None,
    factor: float | None = None,
) -> tuple[Flag, ...]:
    """What was wrong with a charge that began with the battery ``depth_percent`` discharged.

    ``highest_start_celsius`` is the readiness setting, ``stop_celsius`` the maker's limit on
    charge. What is not known raises no flag.
    """
    return tuple(
        flag
        for flags in (
            _by_temperature(charge, highest_start_celsius, stop_celsius or settings.stop_celsius),
            _by_length(charge, depth_percent, settings),
            _by_return(charge, depth_percent, capacity_ah, factor or settings.factor, settings),
        )
        for flag in flags
    )


def _by_temperature(charge: Charge, start: float, stop: float) -> Iterator[Flag]:
    if charge.start_celsius is not None and charge.start_celsius > start:
        yield Flag(
            "hot start",
            f"the charge began at {charge.start_celsius:.0f} °C, above {start:g} °C",
            "watch",
        )
    if charge.highest_celsius is not None and charge.highest_celsius > stop:
        yield Flag(
            "too hot",
            f"{charge.highest_celsius:.0f} °C on charge, above the limit of {stop:g} °C",
            "act",
        )


def explained_hours(
    depth_percent: float, settings: ChargingSettings, full_hours: float | None = None
) -> float:
    """Hours that a conventional charge takes from a depth: in proportion, after a tail.

    The finish (a quarter of a charge from 80 %) takes its time whatever the depth. Derivation
    of the quarter: a taper charge returns the last fifth at about a quarter of its rate.
    """
    full = full_hours or settings.full_charge_hours
    return full * (0.25 + 0.75 * min(100.0, max(0.0, depth_percent)) / 80)


def _by_length(charge: Charge, depth: float | None, settings: ChargingSettings) -> Iterator[Flag]:
    if charge.kind not in (None, "conventional") or depth is None:
        return
    if depth < 100 - settings.full_percent:
        yield Flag(
            "charged when full",
            f"charged when only {depth:.0f}% discharged: wears the plates and takes water",
            "note",
        )
    elif charge.hours is not None:
        explained = explained_hours(depth, settings, charge.full_hours)
        if charge.hours > settings.long_ratio * explained:
            yield Flag(
                "long charge",
                f"charged {charge.hours:.1f} h where a depth of {depth:.0f}% explains about "
                f"{explained:.1f} h: charger, wrong profile, or a bad cell",
                "watch",
            )


def _by_return(
    charge: Charge,
    depth: float | None,
    capacity: float | None,
    factor: float,
    settings: ChargingSettings,
) -> Iterator[Flag]:
    if charge.kind in ("equalize", "opportunity") or depth is None:
        return
    if charge.ended_at is None or depth < 100 - settings.full_percent:
        return
    back = None
    if charge.ah is not None and capacity:
        back = 100 * charge.ah / capacity
    elif charge.hours is not None:
        # At full current a charge returns at most 80 % x factor in three quarters of its time.
        full = charge.full_hours or settings.full_charge_hours
        back = charge.hours / (0.75 * full) * 80 * factor
    if back is None:
        return
    if back < max(settings.short_percent, settings.short_share_percent / 100 * depth):
        yield Flag(
            "short charge",
            f"the charge returned about {back:.0f}% of capacity where {depth:.0f}% had been "
            "taken out: it is not charged",
            "act",
        )


def use_flags(
    discharge: Discharge,
    settings: ChargingSettings,
    *,
    rested_hours: float | None = None,
    rest_due_hours: float | None = None,
    last_charge_kind: str | None = None,
) -> tuple[Flag, ...]:
    """What was wrong with a use: too deep, or begun before the rest was over.

    ``rest_due_hours`` is the rest that was due after the charge before it; opportunity charges
    ask for none.
    """
    flags = []
    if discharge.percent is not None and discharge.percent > settings.deepest_percent:
        flags.append(
            Flag(
                "deep discharge",
                f"discharged {discharge.percent:.0f}% (by {discharge.by}), deeper than "
                f"{settings.deepest_percent:g}%",
                "watch",
            )
        )
    if (
        rested_hours is not None
        and rest_due_hours is not None
        and last_charge_kind != "opportunity"
        and rested_hours < rest_due_hours - 0.1  # six minutes of clocks and walking
    ):
        flags.append(
            Flag(
                "no rest",
                f"taken after {rested_hours:.1f} h of rest where {rest_due_hours:.1f} h were due",
                "note",
            )
        )
    return tuple(flags)


def standing_flags(
    now: datetime,
    settings: ChargingSettings,
    *,
    state_percent: float | None,
    standing_since: datetime | None,
    last_charged_at: datetime | None,
) -> tuple[Flag, ...]:
    """What a long stand does: discharged over a day, or stored without a freshening charge.

    ``standing_since`` is when it was last used or moved off charge; None while it is in use or
    on charge.
    """
    if standing_since is None:
        return ()
    hours = (now - standing_since).total_seconds() / 3600
    flags = []
    low = state_percent is not None and state_percent < settings.discharged_percent
    if low and hours > settings.standing_hours:
        flags.append(
            Flag(
                "standing discharged",
                f"standing for {hours:.0f} h with {state_percent:.0f}% charge: it sulphates",
                "act",
            )
        )
    since = max(standing_since, last_charged_at) if last_charged_at else standing_since
    days = (now - since).total_seconds() / 86_400
    if days > settings.stored_days:
        flags.append(
            Flag("freshening due", f"stored {days:.0f} days without a charge: freshen it", "watch")
        )
    return tuple(flags)
