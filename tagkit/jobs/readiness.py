"""Readiness of a battery as the record has it: the folded state turned into the rules' facts."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from tagkit.assets.tag import Kind, Tag
from tagkit.exchange.topics import SITE_WORD
from tagkit.jobs.assets import plate
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.record.words import describe
from tagkit.rules.figures import figure
from tagkit.rules.flags import Flag
from tagkit.rules.leakage import standing_leakage
from tagkit.rules.readiness import (
    HoldFact,
    Purpose,
    Readiness,
    ReadinessFacts,
    against_gear,
    readiness,
)
from tagkit.settings import Settings
from tagkit.units import Quantity


def readiness_of(
    site: Site, state: AssetState, purpose: Purpose, temperature: dict[str, Any] | None = None,
    at: datetime | None = None, gravity: dict[str, Any] | None = None,
    flagged: tuple[str, ...] = (),
) -> Readiness:  # fmt: skip
    """Whether this battery may be used (or charged) now.

    ``temperature`` and ``gravity`` are readings taken this very moment, in the form events keep
    them; ``at`` is the moment, if not now; ``flagged`` is said with the answer.
    """
    now = (at or site.now()).astimezone(site.timezone())
    return readiness(
        readiness_facts(
            state, site.settings, temperature, now, gravity, flagged, set_apart(site, state.tag)
        ),
        site.settings.readiness, now, purpose,
    )  # fmt: skip


def gear_readiness(state: AssetState, apart: tuple[HoldFact, ...] = ()) -> Readiness:
    """Whether a truck, charger or lifting gear may be used: not retired, not held; of lifting gear
    also that its last inspection was passed."""
    reasons = against_gear(
        Kind(state.kind).noun,
        retired=state.retired_at is not None,
        holds=hold_facts(state),
        unknown_kinds=state.unknown_kinds,
        set_apart=apart,
        failed=_failed(state),
    )
    return Readiness(not reasons, reasons)


def _failed(state: AssetState) -> str:
    """What was found on lifting gear that did not pass: nothing is lifted with it, whatever date
    is on its plate. Elsewhere a finding is something to be done, and whoever found it holds it."""
    last = state.inspection
    if state.kind != Kind.LIFTING.value or last is None or last["passed"] is not False:
        return ""
    return "; ".join(last["findings"]) or "not said"


def hold_facts(state: AssetState) -> tuple[HoldFact, ...]:
    """The holds that stand, as the rules take them; those for the same reason as one."""
    facts = (HoldFact(hold["reason"], hold["kind"] == "safety") for hold in state.holds)
    return tuple(dict.fromkeys(facts))


def set_apart(site: Site, tag: str | Tag) -> tuple[HoldFact, ...]:
    """Entries about an asset that do not count yet, as the clock of whoever wrote them is ahead:
    each in words, the grave ones as for safety. What is known to have happened is not passed over
    because of a clock."""
    told = {
        f"the clock of station “{event.station}” of {event.site} is ahead ({describe(event)})":
        _grave(event)
        for event in site.record.set_apart(tag)
    }  # fmt: skip
    facts = sorted((HoldFact(*one) for one in told.items()), key=lambda one: not one.safety)
    return tuple(facts[:_FEW_APART])


_FEW_APART = 3


def _grave(event: Event) -> bool:
    """Whether no release lifts it."""
    if not event.known or event.kind == "retired":
        return True
    if event.kind == "held":
        return bool(event.body["safety"])
    return event.kind == "leakage_tested" and event.body["passes"] is not True


def both(first: Readiness, second: Readiness) -> Readiness:
    """Ready only when both are."""
    reasons = first.reasons + second.reasons
    moments = [reason.at for reason in reasons]
    known = [moment for moment in moments if moment]
    return Readiness(
        not reasons,
        reasons,
        max(known) if known and len(known) == len(moments) else None,
        first.lifted + second.lifted,
        first.cautions + second.cautions,
    )


def readiness_facts(
    state: AssetState,
    settings: Settings,
    temperature: dict[str, Any] | None,
    now: datetime,
    gravity: dict[str, Any] | None = None,
    flagged: tuple[str, ...] = (),
    apart: tuple[HoldFact, ...] = (),
) -> ReadinessFacts:
    """What the rules ask about a battery. ``temperature`` and ``gravity`` are readings taken at
    ``now``; ``apart`` is what :func:`set_apart` gives."""
    charging = state.charging or {}
    broken_off = (state.broken_off_at or "") > (state.last_charged_at or "")
    chemistry = state.nameplate.get("chemistry")
    measured = {**temperature, "at": now.isoformat()} if temperature else state.last_temperature
    weighed = {**gravity, "at": now.isoformat()} if gravity else state.last_sg
    lowest = state.nameplate.get("lowest_temperature")
    return ReadinessFacts(
        chemistry=chemistry["value"] if chemistry else None,
        retired=state.retired_at is not None,
        unknown_kinds=tuple(state.unknown_kinds),
        holds=hold_facts(state),
        set_apart=apart,
        on_charge_since=_time(charging.get("started_at")),
        on_charger=str(charging.get("charger") or ""),
        last_charge_started_at=_time(state.last_charge_started_at),
        rest_from=_time(state.rest_from),
        last_charged_at=_time(state.last_charged_at),
        # The charge under way, and those that it goes on with, decide about the rest after it.
        last_charge_kind=state.rest_kind if charging or broken_off else state.last_charge_kind,
        broken_off_at=_time(state.broken_off_at) if broken_off else None,
        away=_away(state, settings.site.code),
        charged_since_use=state.charged_since_use,
        last_used_at=_time(state.last_used_at),
        temperature=Quantity.from_stored(measured) if measured else None,
        temperature_at=_time(measured.get("at")) if measured else None,
        gravity=Quantity.from_stored(weighed) if weighed else None,
        gravity_at=_time(weighed.get("at")) if weighed else None,
        lowest_charge_temperature=Quantity.from_stored(lowest) if lowest else None,
        leaks=leaks(state, settings),
        released=standing_release(state),
        measured_since_release=tuple((state.release or {}).get("since", ())),
        flagged=flagged,
    )


def _away(state: AssetState, here: str) -> str:
    """The other site that it was sent to, by the record; empty where it is here."""
    place = state.place or {}
    name = str(place.get("name") or "")
    sent = place.get("kind") == "elsewhere" and name.startswith(SITE_WORD)
    return name if sent and name.removeprefix(SITE_WORD).strip() != here else ""


def leaks(state: AssetState, settings: Settings) -> Flag | None:
    """What its last case leakage test, or the washing that measured it, says against it now."""
    last = state.leakage_test
    if last is None:
        return None
    stated = figure(plate(state), "voltage")
    volts = float(stated.exact()) if stated.known else None
    return standing_leakage(last["ohm"], last["passes"], volts, settings.life)


def standing_release(state: AssetState) -> str | None:
    """The reason of a release that still stands.

    A release is given only for a battery without holds, so that it lifts none: the order in
    which things are recorded decides, not the time that was given for them. Another use or
    charge recorded since has ended it (see the fold).
    """
    if state.release is None or state.holds:
        return None
    used = state.last_used_at is not None and state.last_used_at > state.release["at"]
    return None if used else str(state.release["reason"])


def _time(text: str | None) -> datetime | None:
    return datetime.fromisoformat(text) if text else None
