"""The page behind a label: what this is, where, since when, and whether it may be used."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import islice
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.jobs.assets import is_married
from tagkit.jobs.fit import Judgement
from tagkit.jobs.inspecting import equipment
from tagkit.jobs.judging import Telling, telling
from tagkit.jobs.label_behind import label_says, misleads
from tagkit.jobs.matches import Match, matches_of
from tagkit.jobs.plates import called
from tagkit.jobs.readiness import readiness_of
from tagkit.jobs.site import Site
from tagkit.jobs.whereabouts import RELEASED_ONCE, Whereabouts, whereabouts_of
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.rules.figures import due_days
from tagkit.rules.verdict import Check, Result
from tagkit.web.judged import up_to_date
from tagkit.web.views.curves import ChargeCurve, last_curves
from tagkit.web.views.plates import PlateLine, in_one_line, plate_lines
from tagkit.web.views.states import role_of
from tagkit.web.views.timeline import Entry, entries

FIRST_ENTRIES = 15
MOST_ENTRIES = 500
MEMBERS_NAMED = 24
CURVES = 2


@dataclass(frozen=True)
class Linked:
    """An asset named on another's page."""

    tag: str
    name: str | None
    charging_since: datetime | None = None
    """Of a battery that is on charge."""


@dataclass(frozen=True)
class NumberPage:
    """Everything on it but what it fits, which is asked for separately."""

    state: AssetState
    kind: Kind
    where: Whereabouts
    role: str
    what: tuple[str, ...]
    place_kind: str | None
    """truck, charger, stand, elsewhere; None when the place is not known or it has none."""
    place: Linked | None
    """The truck or charger it is in or at."""
    place_words: str | None
    ready_at: datetime | None
    cautions: tuple[str, ...]
    inside: tuple[Linked, ...]
    """Batteries in this truck or at this charger."""
    due: datetime | str | None
    """When gear or room equipment is to be examined again: a moment, or the day on its plate."""
    overdue: bool
    plate: tuple[PlateLine, ...]
    married: bool
    timeline: tuple[Entry, ...]
    more: bool
    todos: tuple[dict[str, Any], ...]
    left: str
    """Why it left the fleet, where that is among what is shown of its timeline."""
    curves: tuple[ChargeCurve, ...]
    """Of the current of its last charges, where their logs were taken in."""
    told: tuple[Telling, ...]
    """What is to be told of it now or soon, the gravest first; holds and to-dos apart."""

    @property
    def label_says(self) -> tuple[str, ...]:
        """What the label that sticks on it has otherwise than the record."""
        return () if self.state.retired_at else label_says(self.state)

    @property
    def label_misleads(self) -> bool:
        """Whether that is more than a remark that is no longer due."""
        return not self.state.retired_at and misleads(self.state)

    @property
    def safety(self) -> bool:
        """Whether a safety hold is on it."""
        return self.state.safety_held


def number_page(site: Site, state: AssetState, units: str, shown: int) -> NumberPage:
    """The page of an asset, with the last ``shown`` entries of its timeline."""
    kind = Kind(state.kind)
    where = whereabouts_of(site, state)
    ready_at, cautions = _readiness(site, state, where)
    shown = min(max(shown, FIRST_ENTRIES), MOST_ENTRIES)
    events = site.record.timeline(state.tag, limit=shown + 1)
    due, overdue = _due(site, state)
    place = state.place or {}
    name = str(place.get("name") or "") or None
    at_asset = place.get("kind") in ("truck", "charger")
    return NumberPage(
        state=state,
        kind=kind,
        where=where,
        role=role_of(where.state),
        what=tuple(in_one_line(kind, state.nameplate, units)),
        place_kind=place.get("kind"),
        place=Linked(name, _name(site, name)) if at_asset and name else None,
        place_words=None if at_asset else name or place.get("kind"),
        ready_at=ready_at,
        cautions=cautions,
        inside=tuple(_inside(site, tag) for tag in where.holds),
        due=due,
        overdue=overdue,
        plate=tuple(plate_lines(kind, state.nameplate, units)),
        married=is_married(state),
        timeline=tuple(entries(events[:shown], state.tag)),
        more=len(events) > shown,
        todos=tuple(state.todos),
        left=_why_left(events),
        curves=tuple(last_curves(site, state.tag, CURVES)) if kind is Kind.BATTERY else (),
        told=tuple(_told(site, state)),
    )


def _why_left(events: Sequence[Event]) -> str:
    left = [one for one in events if one.kind == "retired" and one.known and not one.voided]
    return str(left[-1].body.get("reason") or "") if left else ""


_SHOWN_ELSEWHERE = ("held", "held for safety", "to do", "not married", "label")


def _told(site: Site, state: AssetState) -> list[Telling]:
    up_to_date(site)
    now = site.now()
    soon = now + timedelta(days=site.settings.schedule.soon_days)
    found = [telling(one, now) for one in site.record.outlook().notices_of(state.tag)]
    return [
        one
        for one in found
        if one.at <= soon and one.state != "never done" and one.code not in _SHOWN_ELSEWHERE
    ]


def _readiness(
    site: Site, state: AssetState, where: Whereabouts
) -> tuple[datetime | None, tuple[str, ...]]:
    judged = where.state in ("ready", "not ready", RELEASED_ONCE)
    if state.kind != Kind.BATTERY.value or not judged:
        return None, ()
    ready = readiness_of(site, state, "use")
    return (
        None if ready.ready else ready.ready_at,
        tuple(caution.sentence for caution in ready.cautions),
    )


def _due(site: Site, state: AssetState) -> tuple[datetime | str | None, bool]:
    now = site.now()
    if state.retired_at:
        return None, False
    if state.kind == Kind.ROOM.value:
        at = next((one.due_at for one in equipment(site) if one.tag == state.tag), None)
        return at, at is not None and at < now
    fact = state.nameplate.get("inspection_due") if state.kind == Kind.LIFTING.value else None
    if not fact:
        return None, False
    days = due_days(str(fact["value"]))
    return str(fact["value"]), days is not None and days[1] < now.date()


def _inside(site: Site, tag: str) -> Linked:
    state = site.record.state(tag)
    if state is None:
        return Linked(tag, None)
    since = datetime.fromisoformat(state.charging["started_at"]) if state.charging else None
    return Linked(tag, called(state) or state.maker_serial, since)


def _name(site: Site, tag: str) -> str | None:
    state = site.record.state(tag)
    return called(state) if state else None


@dataclass(frozen=True)
class FitGroup:
    """Trucks or chargers with one plate, beside a battery."""

    result: Result
    members: tuple[Linked, ...]
    """The first of them; of many only a few are named."""
    count: int
    what: tuple[str, ...]
    against: tuple[str, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class Fits:
    """What a battery goes with."""

    trucks: tuple[FitGroup, ...]
    chargers: tuple[FitGroup, ...]


def fits(site: Site, battery: AssetState, units: str) -> Fits:
    """Which trucks and chargers go with the battery, and why not the others."""
    return Fits(
        *(
            tuple(_group(match, kind, units) for match in matches_of(site, battery, kind))
            for kind in (Kind.TRUCK, Kind.CHARGER)
        )
    )


def _group(match: Match, kind: Kind, units: str) -> FitGroup:
    return FitGroup(
        match.result,
        tuple(
            Linked(tag, None if name == tag else name)
            for tag, name in islice(
                zip(match.group.tags, match.group.names, strict=True), MEMBERS_NAMED
            )
        ),
        len(match.group.tags),
        tuple(in_one_line(kind, match.judged.other.nameplate, units)),
        tuple(check_words(check) for check in match.deciding),
        notes_of(match.judged),
    )


def check_words(check: Check) -> str:
    """A line that stops it, in words: what is wrong, or what is needed and what is there."""
    if check.note:
        return f"{check.name}: {check.note}"
    needs = f"needs {check.required}" if check.required else ""
    has = f"has {check.found}" if check.found else "not known"
    return f"{check.name}: {', '.join(part for part in (needs, has) if part)}"


def why_not(judged: Judgement) -> tuple[str, ...]:
    """All that stands against it, in words: lines of the fit, then what it is not ready for."""
    if not judged.verdict.fits:
        return tuple(check_words(check) for check in judged.verdict.deciding)
    return tuple(reason.sentence for reason in judged.readiness.reasons)


def notes_of(judged: Judgement) -> tuple[str, ...]:
    """Remarks on lines that fit."""
    return tuple(
        f"{check.name}: {check.note}"
        for check in judged.verdict.checks
        if check.result == "fit" and check.note
    )
