"""May this battery be used, or charged, now?

Apart from fit: charged since its last use, rested, cool enough, not frozen, not held. What is
not known is a reason against, never a pass. A supervisor's release lifts the reasons except a
safety hold, a charge under way, a retired battery and a record that can't be understood.

Defaults of the trade (the battery maker's instructions overrule them): rest after a
conventional charge at least as long as the charge took, and below 43 °C; no rest rule for
opportunity charges and lithium; start of a charge at most at 43 °C, and not below about 10 °C.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from tagkit.rules.electrolyte import corrected_gravity, freezing_celsius
from tagkit.rules.flags import Flag
from tagkit.settings import ReadinessSettings
from tagkit.units import Dimension, Quantity

Purpose = Literal["use", "charge"]

CLOCK_TOLERANCE = timedelta(minutes=5)  # between two stations' clocks
BELIEVED = timedelta(minutes=5)
"""A charge that is recorded as shorter than this did not begin when it was scanned."""
FULL_TAKES = timedelta(hours=1)
"""A charge with a rest rule that is shorter hardly fills any battery that was used: the last
part of it, at falling current, takes hours by itself."""


DANGERS = ("safety hold", "case leakage", "frozen")
"""Codes of reasons that may hurt whoever moves the battery."""


@dataclass(frozen=True)
class HoldFact:
    """A hold that stands."""

    reason: str
    safety: bool = False


@dataclass(frozen=True)
class ReadinessFacts:
    """What the record knows; None means unknown. Times are aware of their zone."""

    known: bool = True  # False: the number is not in the record at all
    chemistry: str | None = None
    retired: bool = False
    unknown_kinds: tuple[str, ...] = ()  # events of this battery that this version can't read
    holds: tuple[HoldFact, ...] = ()
    set_apart: tuple[HoldFact, ...] = ()  # entries that don't count yet, in words; safety: grave
    on_charge_since: datetime | None = None
    on_charger: str = ""
    last_charge_started_at: datetime | None = None
    rest_from: datetime | None = None  # where charges without rest between them began
    last_charged_at: datetime | None = None
    broken_off_at: datetime | None = None  # of a charge after it, which nobody ended
    last_charge_kind: str | None = None  # conventional, opportunity, equalize, freshening
    charged_since_use: bool | None = None
    last_used_at: datetime | None = None
    temperature: Quantity | None = None
    temperature_at: datetime | None = None
    gravity: Quantity | None = None
    gravity_at: datetime | None = None
    lowest_charge_temperature: Quantity | None = None  # the maker's, instead of the site's
    away: str = ""  # the other site that it is at by the record
    leaks: Flag | None = None  # what its last case leakage test says against it
    released: str | None = None  # a supervisor's reason for letting it be used all the same
    measured_since_release: tuple[str, ...] = ()  # recorded after it: temperature, leakage
    flagged: tuple[str, ...] = ()  # findings of care: said with the answer, never against it


@dataclass(frozen=True)
class Reason:
    """Why not yet. ``at``: when it will have passed, where that can be reckoned.

    ``about``: what it is said of, "battery" or the noun of other gear.
    """

    code: str
    sentence: str
    at: datetime | None = None
    lifted_by_release: bool = True
    about: str = "battery"

    def __str__(self) -> str:
        return self.sentence

    def to_json(self) -> dict[str, Any]:
        """As commands print it."""
        at = self.at.isoformat() if self.at else None
        return {"code": self.code, "reason": self.sentence, "ready_at": at}


@dataclass(frozen=True)
class Readiness:
    """``reasons`` against; ``lifted`` by a release; ``cautions`` don't stop it.

    ``ready_at`` is when the last reason will have passed; None when that can't be reckoned.
    """

    ready: bool
    reasons: tuple[Reason, ...] = ()
    ready_at: datetime | None = None
    lifted: tuple[Reason, ...] = ()
    cautions: tuple[Reason, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """As commands print it."""
        return {
            "ready": self.ready,
            "reasons": [reason.to_json() for reason in self.reasons],
            "ready_at": self.ready_at.isoformat() if self.ready_at else None,
            "released_from": [reason.to_json() for reason in self.lifted],
            "cautions": [caution.sentence for caution in self.cautions],
        }


def readiness(
    facts: ReadinessFacts, settings: ReadinessSettings, now: datetime, purpose: Purpose
) -> Readiness:
    """Whether the battery may be used (or charged) at ``now``, and every reason why not.

    Sentences give clock times in the zone of ``now``.
    """
    against = list(_always(facts, now, purpose))
    if not any(reason.code in ("unknown battery", "retired") for reason in against):
        rules = _for_use if purpose == "use" else _for_charge
        against += rules(facts, settings, now)
    cautions = tuple(_cautions(facts, settings, purpose))
    lifted: tuple[Reason, ...] = ()
    if facts.released and purpose == "use":
        lifted = tuple(reason for reason in against if _covered(reason, facts))
        against = [reason for reason in against if not _covered(reason, facts)]
    moments = [reason.at for reason in against]
    known = [moment for moment in moments if moment is not None]
    ready_at = max(known) if known and len(known) == len(moments) else None
    return Readiness(not against, tuple(against), ready_at, lifted, cautions)


def against_gear(
    noun: str,
    *,
    retired: bool = False,
    holds: Sequence[HoldFact] = (),
    unknown_kinds: Sequence[str] = (),
    set_apart: Sequence[HoldFact] = (),
    failed: str = "",
) -> tuple[Reason, ...]:
    """Why a truck, charger or lifting gear (``noun``) may not be used; empty when it may.

    ``failed``: what was found at its last inspection, where it did not pass and that stops it.
    """
    found = []
    if retired:
        found.append(
            Reason(
                "retired",
                f"the {noun} is retired: it has left the fleet",
                lifted_by_release=False,
                about=noun,
            )
        )
    found += [
        Reason(
            "safety hold" if hold.safety else "held",
            f"{noun} held for safety: {hold.reason}"
            if hold.safety
            else f"{noun} held: {hold.reason}",
            lifted_by_release=not hold.safety,
            about=noun,
        )
        for hold in holds
    ]
    found += _set_apart(set_apart, noun)
    if failed:
        sentence = f"the {noun} did not pass its last inspection: {failed}"
        found.append(Reason("inspection failed", sentence, lifted_by_release=False, about=noun))
    if unknown_kinds:
        kinds = ", ".join(unknown_kinds)
        sentence = (
            f"the {noun}'s record has entries this version can't read ({kinds}): update tagkit"
        )
        found.append(Reason("unknown events", sentence, lifted_by_release=False, about=noun))
    return tuple(found)


def rest_hours(facts: ReadinessFacts, settings: ReadinessSettings) -> float:
    """Hours of rest after the last charge; 0 where no rest rule applies.

    A charge whose length is not known asks for the longest rest, and one of minutes that was
    confirmed as full began before its scan; a kind of charge or a chemistry that is not known
    counts as one with a rest rule.
    """
    if facts.last_charge_kind == "opportunity" or facts.chemistry == "lithium":
        return 0.0
    start, end = facts.rest_from or facts.last_charge_started_at, _warm_until(facts)
    if start is None or end is None or end - start < BELIEVED:
        return settings.longest_rest_hours
    asked = settings.rest_factor * (end - start) / timedelta(hours=1)
    return min(max(asked, settings.shortest_rest_hours), settings.longest_rest_hours)


_MEASURED_AS = {"hot": "temperature", "case leakage": "leakage"}


def _covered(reason: Reason, facts: ReadinessFacts) -> bool:
    """Whether the release that stands lifts it: what was measured since, nobody released."""
    return (
        reason.lifted_by_release
        and _MEASURED_AS.get(reason.code) not in facts.measured_since_release
    )


def _warm_until(facts: ReadinessFacts) -> datetime | None:
    """The end of its last charge, or of one after it that was broken off: that heats as well."""
    return facts.broken_off_at or facts.last_charged_at


def _always(facts: ReadinessFacts, now: datetime, purpose: Purpose) -> Iterator[Reason]:
    if not facts.known:
        yield Reason("unknown battery", "not in the record", lifted_by_release=False)
    if facts.retired:
        yield Reason("retired", "retired: it has left the fleet", lifted_by_release=False)
    if facts.unknown_kinds:
        kinds = ", ".join(facts.unknown_kinds)
        yield Reason(
            "unknown events",
            f"the record has entries this version can't read ({kinds}): update tagkit",
            lifted_by_release=False,
        )
    for hold in facts.holds:
        if hold.safety:
            yield Reason(
                "safety hold",
                f"held for safety: {hold.reason}; only an inspection lifts it",
                lifted_by_release=False,
            )
        else:
            yield Reason("held", f"held: {hold.reason}")
    yield from _set_apart(facts.set_apart, "battery")
    yield from _leaks(facts, purpose)
    if facts.on_charge_since is not None:
        where = f" on {facts.on_charger}" if facts.on_charger else ""
        since = _clock(facts.on_charge_since, now)
        # Its connector carries current, and its cells are gassing: end the charge first.
        yield Reason("on charge", f"still on charge{where} since {since}", lifted_by_release=False)


def _set_apart(entries: Sequence[HoldFact], about: str) -> Iterator[Reason]:
    """What is on record of it and does not count yet may be a hold, or a use."""
    for one in entries:
        sentence = f"an entry does not count yet: {one.reason}"
        yield Reason("set apart", sentence, lifted_by_release=not one.safety, about=about)


def _leaks(facts: ReadinessFacts, purpose: Purpose) -> Iterator[Reason]:
    """A case that leaks; it is not said again where the hold that the test opened says it."""
    leaks = facts.leaks
    if leaks is None or any(hold.safety and hold.reason == leaks.sentence for hold in facts.holds):
        return
    grave = leaks.severity == "stop"
    if grave or purpose == "use":
        yield Reason(leaks.code, leaks.sentence, lifted_by_release=not grave)


def _for_use(facts: ReadinessFacts, settings: ReadinessSettings, now: datetime) -> Iterator[Reason]:
    if facts.on_charge_since is not None:
        return
    if facts.away:
        yield Reason(
            "at another site",
            f"by the record it is at {facts.away}: what was done with it there is not known here",
        )
    if facts.charged_since_use is None:
        yield Reason(
            "charge unknown", "the record does not say whether it was charged since its last use"
        )
        return
    if not facts.charged_since_use:
        yield Reason("not charged", "not charged since its last use")
        return
    ended = facts.last_charged_at
    if ended is None:
        yield Reason("charge unknown", "the record does not say when its last charge ended")
        return
    if ended > now + CLOCK_TOLERANCE:
        yield Reason(
            "clock",
            f"its last charge is recorded as ending later than now, at {_clock(ended, now)}: "
            "check the clocks",
        )
        return
    yield from _rest_and_heat(facts, settings, now, _warm_until(facts) or ended)
    began = facts.last_charge_started_at or ended
    measured = _measured_since(facts, began)
    weighed = facts.gravity_at is not None and facts.gravity_at >= began
    freezes_at = _freezing(facts) if measured is not None and weighed else None
    if measured is not None and freezes_at is not None and measured[0] <= freezes_at:
        yield Reason(
            "frozen",
            f"at {facts.temperature} it may be frozen (freezes at {freezes_at:.0f} °C): "
            "never use a frozen battery; warm it and have it inspected",
            lifted_by_release=False,
        )


def _rest_and_heat(
    facts: ReadinessFacts, settings: ReadinessSettings, now: datetime, ended: datetime
) -> Iterator[Reason]:
    rest = timedelta(hours=rest_hours(facts, settings))
    measured = _measured_since(facts, facts.last_charge_started_at or ended)
    limit = settings.release_celsius
    if measured is not None and measured[0] >= limit:
        # A hot battery needs the rest again, counted from the reading that found it hot.
        cool_at = max(ended, measured[1]) + rest if rest else None
        if cool_at is None or cool_at > now:
            yield Reason("hot", _hot(facts, cool_at, now), cool_at)
        return
    rested_at = ended + rest
    cooled = (
        settings.cool_ends_rest
        and measured is not None
        and measured[1] >= ended
        and measured[0] < limit
    )
    if rested_at > now and not cooled:
        yield Reason(
            "resting", f"resting after its charge, ready about {_clock(rested_at, now)}", rested_at
        )


def _hot(facts: ReadinessFacts, cool_at: datetime | None, now: datetime) -> str:
    if cool_at is None:
        return f"hot {facts.temperature}: let it cool and measure again"
    return f"hot {facts.temperature}, ready about {_clock(cool_at, now)}"


def _for_charge(
    facts: ReadinessFacts, settings: ReadinessSettings, now: datetime
) -> Iterator[Reason]:
    # A reading from before the last use says nothing about the battery now.
    measured = _measured_since(facts, facts.last_used_at)
    if measured is None:
        return
    celsius, at = measured
    if at > now + CLOCK_TOLERANCE:
        yield Reason(
            "clock",
            f"its temperature is recorded as taken later than now, at {_clock(at, now)}: "
            "check the clocks",
        )
        return
    if celsius > settings.charge_start_celsius:
        yield Reason(
            "hot",
            f"hot {facts.temperature}: a charge starts at {settings.charge_start_celsius:g} °C at "
            "most; let it cool and measure again",
        )
    freezes_at = _freezing(facts)
    if freezes_at is not None and celsius <= freezes_at:
        yield Reason(
            "frozen",
            f"at {facts.temperature} it may be frozen (freezes at {freezes_at:.0f} °C): "
            "never charge a frozen battery; warm it and have it inspected",
        )
        return
    coldest = _celsius(facts.lowest_charge_temperature)
    coldest = settings.charge_cold_celsius if coldest is None else coldest
    if celsius < coldest:
        yield Reason(
            "cold", f"cold {facts.temperature}: below {coldest:g} °C a charge stays incomplete; "
            "warm it and measure again",
        )  # fmt: skip


def _cautions(
    facts: ReadinessFacts, settings: ReadinessSettings, purpose: Purpose
) -> Iterator[Reason]:
    yield from (Reason("flagged", f"flagged: {finding}") for finding in facts.flagged)
    if facts.leaks and purpose == "charge" and facts.leaks.severity != "stop":
        yield Reason(facts.leaks.code, facts.leaks.sentence)
    if purpose == "use":
        yield from _short_charge(facts)
        measured = _measured_since(facts, facts.last_charge_started_at)
        if measured is not None and measured[0] >= settings.release_celsius:
            yield Reason(
                "measured hot", f"last measured {facts.temperature}: feel and measure before use"
            )
    elif _measured_since(facts, facts.last_used_at) is None:
        yield Reason("temperature unknown", "no temperature since its last use: measure it")


def _short_charge(facts: ReadinessFacts) -> Iterator[Reason]:
    start, end = facts.last_charge_started_at, facts.last_charged_at
    if not facts.charged_since_use or start is None or end is None:
        return
    if facts.last_charge_kind == "opportunity" or facts.chemistry == "lithium":
        return
    if timedelta(0) <= end - start < FULL_TAKES:
        minutes = (end - start) // timedelta(minutes=1)
        yield Reason(
            "short charge",
            f"its last charge took only {minutes} min: see that it is full before it is used",
        )


def _measured_since(facts: ReadinessFacts, since: datetime | None) -> tuple[float, datetime] | None:
    """The last temperature (°C) and its time, if it was taken after ``since``."""
    celsius = _celsius(facts.temperature)
    if celsius is None or facts.temperature_at is None:
        return None
    if since is not None and facts.temperature_at < since:
        return None
    return celsius, facts.temperature_at


def _celsius(temperature: Quantity | None) -> float | None:
    if temperature is None or temperature.dimension is not Dimension.TEMPERATURE:
        return None
    return temperature.base()


def _freezing(facts: ReadinessFacts) -> float | None:
    """Freezing point by the last gravity, °C; None where gravity says nothing."""
    if facts.chemistry != "vented" or facts.gravity is None:
        return None
    if facts.last_used_at and (facts.gravity_at is None or facts.gravity_at < facts.last_used_at):
        return None
    celsius = _celsius(facts.temperature)
    gravity = float(facts.gravity.value)
    if facts.gravity.dimension is Dimension.DENSITY:
        gravity = facts.gravity.base()
    return freezing_celsius(corrected_gravity(gravity, celsius if celsius is not None else 25.0))


def _clock(moment: datetime, now: datetime) -> str:
    """The time of day in the zone of ``now``, with the date when it is another day."""
    here = moment.astimezone(now.tzinfo)
    return f"{here:%H:%M}" if here.date() == now.date() else f"{here:%Y-%m-%d %H:%M}"
