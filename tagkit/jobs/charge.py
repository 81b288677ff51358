"""The start and the end of a charge."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from decimal import Decimal
from typing import Any

from tagkit.assets.chemistry import CHEMISTRIES, WATERED
from tagkit.assets.tag import Kind
from tagkit.errors import Exit, NeedsAnswer, TagkitError, WrongInput
from tagkit.jobs.answers import check_answer
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import battery_facts, equalizing_of
from tagkit.jobs.charge_flags import (
    discharge_json,
    judge_charge,
    start_flags,
    use_flags_of,
    use_told,
)
from tagkit.jobs.fit import Judgement, judge_states
from tagkit.jobs.order import in_order
from tagkit.jobs.people import check_authorised
from tagkit.jobs.site import Site
from tagkit.record.care_bodies import MOST_SAMPLES
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.record.words import describe
from tagkit.rules.charge import MOST_AMPERES, ah_from_log
from tagkit.rules.flags import Flag
from tagkit.rules.readiness import Readiness
from tagkit.rules.times import readable
from tagkit.units import Dimension, Quantity, parse_quantity

MOST_OF_CAPACITY = 1.4
"""Ah of one charge as a multiple of capacity; the highest charge factor a site may set."""
HIGHEST_RATE = 2.0
"""A for each Ah of capacity; lithium on a fast charger takes no more."""
CHARGE_KINDS = ("conventional", "opportunity", "equalize", "freshening")


class ChargeRefused(TagkitError):
    """The charger does not suit the battery, or the battery must not be charged now: why not
    stands in the judgement."""

    def __init__(self, judgement: Judgement) -> None:
        self.judgement = judgement
        remedy = "Use a charger that fits; data that is wrong is amended with “tagkit amend”"
        if judgement.verdict.fits:
            remedy = "Put this right first, then put it on charge"
            if judgement.battery.holds or judgement.other.holds:
                remedy = "Have it inspected and mended by a qualified person, then release it"
        super().__init__(f"{judgement.answer()}: the charge was not logged", remedy)
        self.exit_code = judgement.exit_code()


@dataclass(frozen=True)
class ChargeReadings:
    """What was measured with it; None is not measured."""

    temperature: str | None = None
    gravity: str | None = None
    gauge_percent: float | None = None
    """State of discharge that the truck's gauge showed, %."""

    def stored(self) -> dict[str, Any]:
        """``temperature`` and ``sg`` as the events keep them; WrongInput when impossible."""
        return {
            "temperature": _reading(self.temperature, Dimension.TEMPERATURE, "°C", -30, 70,
                                    "--temperature"),
            "sg": _gravity(self.gravity),
        }  # fmt: skip


def _reading(
    text: str | None,
    dimension: Dimension,
    unit: str,
    low: float,
    high: float,
    where: str,
    taken_as: str | None = None,
) -> dict[str, str] | None:
    if text is None:
        return None
    try:
        # Without its unit a temperature can be °C or °F: the person is asked.
        value = parse_quantity(text, dimension, taken_as)
    except WrongInput as error:
        error.where = error.where or where
        raise
    if not low <= value.base() <= high:
        raise WrongInput(
            f"{value} is not plausible (between {low:g} and {high:g} {unit})",
            "Read it again",
            where,
        )
    return value.stored()


def _check_gauge(percent: float | None) -> None:
    if percent is not None and not 0 <= percent <= 100:
        raise WrongInput(
            f"{percent:g} % is no state of discharge", "Read the gauge again: 0 to 100", "--gauge"
        )


def _gravity(text: str | None) -> dict[str, str] | None:
    """“1280” and “1.280” are the same reading (DOMAIN: plausible 1.000 to 1.350)."""
    if text is None:
        return None
    digits = text.strip().replace(",", ".")
    try:
        value = Decimal(digits)
        if not value.is_finite():
            raise ArithmeticError
    except ArithmeticError:
        raise WrongInput(
            f"“{text}” is not a specific gravity", "Write it like 1.280", "--sg"
        ) from None
    value = value / 1000 if value >= 100 else value
    if not Decimal("1.000") <= value <= Decimal("1.350"):
        raise WrongInput(
            f"{value} is not plausible (between 1.000 and 1.350)", "Read it again", "--sg"
        )
    return Quantity(value, "SG").stored()


def start_charge(
    site: Site,
    battery: str,
    charger: str,
    readings: ChargeReadings,
    *,
    by: str,
    station: str,
    at: datetime | None = None,
    charge_kind: str = "conventional",
    answer: str | None = None,
) -> tuple[Event, Judgement]:
    """Log that ``battery`` was put on ``charger`` (either order of numbers).

    Raises ChargeRefused when the charger does not fit or the battery must not be charged now,
    NeedsAnswer when the record says that battery or charger are taken, or that the battery is in
    a truck: “as-shown”, it was taken out and is at the charger; “as-recorded”, it is charged in
    its truck and stays there.
    """
    if charge_kind not in CHARGE_KINDS:
        raise WrongInput(
            f"“{charge_kind}” is not a kind of charge",
            f"One of: {', '.join(CHARGE_KINDS)}",
            "--kind",
        )
    measured = readings.stored()
    _check_gauge(readings.gauge_percent)
    with site.record.writing(by=by, station=station, at=at) as writing:
        first, second = asset(writing, battery), asset(writing, charger)
        if {first.kind, second.kind} != {Kind.BATTERY.value, Kind.CHARGER.value}:
            raise WrongInput(
                f"{first.tag} and {second.tag} are not a battery and a charger",
                "Give the number of a battery and of a charger",
            )
        if first.kind == Kind.CHARGER.value:
            first, second = second, first
        _check_chemistry(first, charge_kind, measured)
        warning = check_authorised(site, by)
        judged = judge_states(site, first, second, measured["temperature"], at, measured["sg"])
        judged = replace(judged, readiness=_off_charge(judged.readiness))
        if judged.exit_code() != Exit.DONE:  # no answer would help
            raise ChargeRefused(judged)
        in_truck = _settle_taken(site, first, second, answer)
        at = in_order(site, at, [first])
        told = use_told(site, first, measured, readings.gauge_percent)
        flags = [
            *use_flags_of(site, first, told),
            *start_flags(site, first, charge_kind, measured, told, at or site.now()),
        ]
        if charge_kind == "equalize" and (allowed := equalizing_of(first).words):
            flags.append(Flag("equalizing allowed", allowed, "note"))
        if warning:
            flags.append(Flag("not authorised", warning, "watch"))
        flags += _truck_flags(first, in_truck)
        event = writing.append(
            "charge_started",
            [first.tag, second.tag],
            {
                "battery": first.tag,
                # Where it is charged is where it is: no charger, and it stays in its truck.
                "charger": None if in_truck else second.tag,
                "charge_kind": charge_kind,
                "verdict": judged.verdict.to_json(),
                "discharge": discharge_json(told),
                "gauge_percent": readings.gauge_percent,
                "flags": [flag.to_json() for flag in flags],
                **measured,
            },
            at=at,
        )
    return event, judged


def _check_chemistry(
    battery: AssetState, charge_kind: str | None, measured: Mapping[str, Any]
) -> None:
    """What is for vented batteries alone is not done to a sealed or a lithium one."""
    if charge_kind == "equalize" and not (equalizing := equalizing_of(battery)).allowed:
        raise WrongInput(
            f"{battery.tag}: {equalizing.words}",
            "Charge it by its maker's instructions; if these allow it, amend “equalizing” to yes, "
            "with a second person",
            "--kind",
        )
    chemistry = (battery.nameplate.get("chemistry") or {}).get("value")
    if chemistry is None or chemistry in WATERED:
        return
    name = CHEMISTRIES.get(chemistry, chemistry)
    if measured.get("sg"):
        raise WrongInput(
            f"{battery.tag} is {name}, its gravity can't be read",
            "Leave the gravity out; if that is wrong, amend its chemistry",
            "--sg",
        )


def _settle_taken(site: Site, battery: AssetState, charger: AssetState, answer: str | None) -> bool:
    """What the record has otherwise must be answered for: that one of them is on charge already,
    that another battery stands there, that this one is in a truck.

    True where it is charged in its truck.
    """
    others = [one for one in site.record.held_by(charger.tag) if one.tag != battery.tag]
    on_charge = [one for one in (battery, *others) if one.charging]
    standing = [one for one in others if not one.charging]
    truck = _truck_of(battery) if not battery.charging else None
    if not on_charge and not standing and not truck:
        return False
    in_truck = bool(truck and not on_charge)
    told = (
        "then it is on charge already" if on_charge else "then another battery is at this charger"
    )
    check_answer(answer, "" if in_truck else told)
    if answer is not None:
        return in_truck and answer == "as-recorded"
    problems = [_on_charge(site, one) for one in on_charge]
    problems += [f"{one.tag} stands at {charger.tag}, {_placed(site, one)}" for one in standing]
    if truck:
        problems.append(
            f"{battery.tag} is in truck {truck}, {_placed(site, battery)}; nobody recorded that it was "
            "taken out"
        )
    raise NeedsAnswer(
        f"by the record {'; '.join(problems)}",
        _how_to_go_on(bool(on_charge), bool(standing), bool(truck)),
        answers={} if on_charge else _IN_TRUCK if in_truck else _STANDS_THERE,
    )


_IN_TRUCK = {
    "as-shown": "It was taken out: it is at the charger",
    "as-recorded": "It is charged in its truck: it stays there",
}
_STANDS_THERE = {"as-shown": "The other was taken away: begin this charge"}


def _how_to_go_on(on_charge: bool, standing: bool, in_truck: bool) -> str:
    if in_truck and on_charge:
        return (
            "If what you see is right, add --answer as-shown; if it is charged in its truck, end the "
            "other charge first; nothing was logged"
        )
    if in_truck:
        return (
            "If it was taken out, log that change with “tagkit swap” first, or add --answer as-shown; "
            "if it is charged in its truck, add --answer as-recorded, and it stays there; nothing "
            "was logged"
        )
    if standing and not on_charge:
        return (
            "If the other was taken away, add --answer as-shown, then record with “tagkit seen” where "
            "it is; else read the charger's number again; nothing was logged"
        )
    return "If what you see is right, add --answer as-shown; nothing was logged"


def _truck_of(battery: AssetState) -> str | None:
    """The truck that the record has it in."""
    place = battery.place or {}
    return str(place["name"]) if place.get("kind") == "truck" else None


def _truck_flags(battery: AssetState, in_truck: bool) -> list[Flag]:
    """What is to be minded of a battery that the record has in a truck."""
    truck = _truck_of(battery)
    if truck is None:
        return []
    if in_truck:
        return [Flag("charged in its truck",
                     f"it is charged in truck {truck}: brake set, key off, cover open", "note")]  # fmt: skip
    return [Flag("change not logged",
                 f"its change was not logged: record what is in truck {truck} now", "watch")]  # fmt: skip


def _on_charge(site: Site, battery: AssetState) -> str:
    charging = battery.charging or {}
    started = site.record.event(charging["event"])
    told = f" ({describe(started)})" if started else ""
    at = charging["charger"] or _truck_of(battery) or "a charger"
    return f"{battery.tag} is on charge at {at}{told}"


def _placed(site: Site, battery: AssetState) -> str:
    """When and by whom it was recorded where it is."""
    place = battery.place or {}
    event = site.record.event(place["event"])
    since = readable(place["since"], site.timezone())
    return f"recorded {since} by {event.by if event else '—'}"


def _off_charge(ready: Readiness) -> Readiness:
    """Readiness but for that the record has it on charge, which is asked about."""
    reasons = tuple(reason for reason in ready.reasons if reason.code != "on charge")
    return replace(ready, ready=not reasons, reasons=reasons)


def end_charge(
    site: Site,
    battery: str,
    readings: ChargeReadings,
    *,
    by: str,
    station: str,
    at: datetime | None = None,
    answer: str | None = None,
    ah: str | None = None,
    highest: str | None = None,
    current: Sequence[tuple[float, float]] = (),
    confirmed: bool = False,
) -> Event:
    """Log the end of the charge of ``battery``; NeedsAnswer when no charge was started.

    ``ah``: what the charger counted; ``highest``: the highest electrolyte temperature;
    ``current``: samples of (hours since the start, A), from which the Ah follow.
    A charge shorter than the site's shortest one does not count as charged unless
    ``confirmed``. What was wrong stands in the event's flags (:func:`flags_of`).
    """
    measured = readings.stored()
    if current and ah is None:
        ah = f"{ah_from_log(current):.1f} Ah"
    counted = _reading(ah, Dimension.CAPACITY, "Ah", 0, 5000, "--ah", "Ah")
    hottest = _reading(highest, Dimension.TEMPERATURE, "°C", -30, 100, "--highest")
    with site.record.writing(by=by, station=station, at=at) as writing:
        state = asset(writing, battery, Kind.BATTERY)
        if not state.charging:
            check_answer(answer, "then there is no charge to end")
            if answer is None:
                raise NeedsAnswer(
                    f"the record has no charge of {state.tag} that could end{_last_end(site, state)}",
                    "If it was charged, add --answer as-shown; nothing was logged",
                )
        elif at is not None and at < datetime.fromisoformat(state.charging["started_at"]):
            began = readable(state.charging["started_at"], site.timezone())
            raise WrongInput(
                f"the charge of {state.tag} began later, at {began}",
                "Give the time it ended",
                "--at",
            )
        _check_chemistry(state, None, measured)
        if current:
            refuse_too_much(site, state, ah_from_log(current))
        charger = (state.charging or {}).get("charger")
        over = judge_charge(site, state, measured, counted, hottest, at or site.now(), confirmed)
        return writing.append(
            "charge_ended",
            [tag for tag in (state.tag, charger) if tag],
            {
                "battery": state.tag,
                "charger": charger,
                "ah": counted,
                "highest_temperature": hottest,
                "current": thinned(current) or None,
                **over.body(),
                **measured,
            },
        )


def thinned(samples: Sequence[tuple[float, float]]) -> list[list[float]]:
    """At most so many samples as an event keeps, first and last among them."""
    every = max(1, -(-len(samples) // (MOST_SAMPLES - 1)))
    kept = list(samples[::every])
    if samples and kept[-1] != samples[-1]:
        kept.append(samples[-1])
    return [[round(hours, 4), round(amperes, 2)] for hours, amperes in kept]


def _last_end(site: Site, battery: AssetState) -> str:
    """Who ended its last charge, if somebody did."""
    for event in site.record.timeline(battery.tag, 20):
        if event.kind == "charge_ended" and not event.voided:
            return f" ({describe(event)})"
    return ""


def most_ah(site: Site, battery: AssetState) -> float | None:
    """Ah that the battery takes in one charge at most; None where its capacity is unknown."""
    capacity = battery_facts(battery, site.settings).capacity_ah
    return MOST_OF_CAPACITY * capacity if capacity else None


def highest_amperes(site: Site, battery: AssetState) -> float:
    """A that the battery can take on the mean of a charge."""
    capacity = battery_facts(battery, site.settings).capacity_ah
    return min(MOST_AMPERES, HIGHEST_RATE * capacity) if capacity else MOST_AMPERES


def refuse_too_much(site: Site, battery: AssetState, ah: float) -> None:
    """WrongInput for more than the battery can take; nothing where its capacity is unknown."""
    capacity, most = battery_facts(battery, site.settings).capacity_ah, most_ah(site, battery)
    if capacity and most and ah > most:
        raise WrongInput(
            f"the samples give {ah:.0f} Ah, and {battery.tag} with its {capacity:.0f} Ah takes "
            f"{most:.0f} Ah at most",
            "Check the battery, the column of the current and the unit of the times; where the "
            "capacity of its nameplate is wrong, correct that first",
            "current",
        )
