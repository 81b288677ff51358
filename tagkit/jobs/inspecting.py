"""Inspections of batteries, chargers, trucks, gear and room equipment; washing; holds lifted.

Whatever is found is followed by something: a hold, or a to-do that stays on the morning list
until somebody settles it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import when
from tagkit.jobs.figures import ohms
from tagkit.jobs.hold import check_emptied
from tagkit.jobs.people import check_authorised, require_supervisor, require_technician
from tagkit.jobs.reason import checked_reason
from tagkit.jobs.repairing import settled
from tagkit.jobs.site import Site
from tagkit.record.care_bodies import INSPECTIONS
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.rules.due import equipment_due

_BATTERY = {
    "arrival": "case and lid, posts and cables, caps, level of every cell, voltage of every cell, "
    "stamps against the order, freshening charge within the maker's time",
    "periodic": "case, cables and insulation, connector, caps, label, corrosion, dry and clean",
    "change": "connector and cable, retainer, no smell, no heat, no leak",
    "serial": "stamped serial compared with the label: it is this battery",
}
_ARRIVAL = "complete and undamaged, plate against the order, label on"
_OTHERS = {
    Kind.TRUCK: {
        "arrival": _ARRIVAL,
        "periodic": "battery compartment, retainer or gate, connector and cable, plate and label "
        "legible",
        "change": "connector and cable, retainer, no smell, no heat, no leak",
    },
    Kind.CHARGER: {
        "arrival": _ARRIVAL,
        "periodic": "case, cables and connector, display and switch, air way free, plate and label "
        "legible",
    },
    Kind.LIFTING: {
        "arrival": _ARRIVAL,
        "periodic": "hooks and latches, chain or rope, beam and lugs, insulation, stops, rated load "
        "legible",
    },
}
WASH_CAUTION = (
    "Goggles or face shield, acid-resistant gloves, apron. Caps closed; soda solution must not "
    "get into the cells; rinse, dry. Test and dispose of the wash water by local rule."
)


def checklist(sort: str, state: AssetState) -> str:
    """What such an inspection of this asset looks at; empty where nothing is laid down.

    The usual points of each kind; of room equipment what its plate says. The makers' instructions
    and local rules go before them.
    """
    if sort == "hold":
        return "the reason of the hold is mended"
    kind = Kind(state.kind)
    if kind is Kind.ROOM:
        said = (state.nameplate.get("check") or {}).get("value")
        return str(said or "as its plate says") if sort in ("equipment", "periodic") else ""
    return (_BATTERY if kind is Kind.BATTERY else _OTHERS[kind]).get(sort, "")


def inspections_of(state: AssetState) -> tuple[str, ...]:
    """The inspections that go with an asset, the usual one first."""
    sorts = ("equipment", "periodic", "arrival", "change", "hold", "serial")
    return tuple(
        sort
        for sort in sorts
        if checklist(sort, state) and not (sort == "periodic" and state.kind == Kind.ROOM.value)
    )


@dataclass(frozen=True)
class Inspected:
    """An inspection and what followed."""

    event: Event
    asset: str
    held: str | None
    lifted: tuple[str, ...]
    todos: tuple[str, ...]
    next_due: str | None = None
    """Of lifting gear that passed: the date of its next examination."""

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit inspect --json`` prints it."""
        body = self.event.body
        return {
            "event": self.event.id,
            "asset": self.asset,
            "sort": body["sort"],
            "passed": body["passed"],
            "findings": body["findings"],
            "todos": list(self.todos),
            "held": self.held,
            "lifted": list(self.lifted),
            "next_due": self.next_due,
        }


def inspect(
    site: Site,
    number: str,
    *,
    sort: str = "periodic",
    what: str | None = None,
    findings: Sequence[str] = (),
    hold: str | None = None,
    todo: Sequence[str] = (),
    settles: Sequence[str] = (),
    lift: bool = False,
    passed: bool | None = None,
    next_due: str | None = None,
    by: str,
    station: str,
    at: datetime | None = None,
) -> Inspected:
    """Record an inspection of any asset.

    Lifting gear that passed its examination (sort periodic or equipment, by a technician) may
    lift until ``next_due``, or for the site's interval.

    ``hold``: "safety" or "ordinary" holds it for what was found; without one every finding
    becomes a to-do. ``lift`` ends the holds that stand, which takes a supervisor and an
    inspection that passed. ``passed``: None is judged by whether anything was found.
    """
    if sort not in INSPECTIONS:
        raise WrongInput(
            f"“{sort}” is no inspection", f"One of: {', '.join(INSPECTIONS)}", "--sort"
        )
    if hold not in (None, "safety", "ordinary"):
        raise WrongInput(f"“{hold}” is no hold", "Write safety or ordinary", "--hold")
    found = [checked_reason(one, "--finding") for one in findings]
    todos = [checked_reason(one, "--todo") for one in todo] or ([] if hold else list(found))
    passed = not found if passed is None else passed
    if hold and not found:
        raise WrongInput("nothing was found that could hold it", "Add --finding", "--finding")
    if hold and lift:
        raise WrongInput("a hold is opened and lifted at once", "Do one of the two", "--hold")
    if lift and not passed:
        raise WrongInput(
            "only an inspection that passed lifts a hold", "Have the cause mended first", "--lift"
        )
    with site.record.writing(by=by, station=station, at=at) as writing:
        check_authorised(site, by)
        state = asset(writing, number)
        if lift:
            require_supervisor(site, by)
            if not state.holds:
                raise WrongInput(f"{state.tag} is not held", "There is nothing to lift", "--lift")
            check_emptied(site, state)
        due = _next_due(site, state, sort, passed, next_due, by, at)
        event = writing.append(
            "inspected",
            [state.tag],
            {
                "sort": sort,
                "next_due": due,
                "what": what or checklist(sort, state) or None,
                "findings": found,
                "passed": passed,
                "todo": todos,
                "settles": settled(state, settles),
            },
        )
        held = None
        if hold:
            body = {
                "asset": state.tag,
                "reason": "; ".join(found)[:300],
                "safety": hold == "safety",
            }
            held = writing.append("held", [state.tag], body).id
        lifted = []
        for one in state.holds if lift else ():
            body = {
                "asset": state.tag,
                "hold": one["id"],
                "reason": f"inspected: {'; '.join(found) or 'passed'}"[:300],
                "inspected": True,
            }
            lifted.append(writing.append("released", [state.tag], body).id)
    return Inspected(event, state.tag, held, tuple(lifted), tuple(todos), due)


def _next_due(
    site: Site, state: AssetState, sort: str, passed: bool, asked: str | None, by: str,
    at: datetime | None,
) -> str | None:  # fmt: skip
    examined = state.kind == Kind.LIFTING.value and sort in ("periodic", "equipment") and passed
    if not examined:
        if asked is not None:
            raise WrongInput(
                "only lifting gear that passed its examination gets a next date",
                "Leave it out, or inspect it with --sort periodic", "--next-due",
            )  # fmt: skip
        return None
    try:
        require_technician(site, by)
    except WrongInput:
        if asked is None:
            return None  # somebody else's look at it is recorded, and is no examination
        raise
    today = (at or site.now()).astimezone(site.timezone()).date()
    if asked is None:
        gear = (state.nameplate.get("gear") or {}).get("value")
        schedule = site.settings.schedule
        days = schedule.hoist_days if gear == "hoist" else schedule.beam_days
        return (today + timedelta(days=days)).isoformat()
    try:
        due = datetime.strptime(asked.strip(), "%Y-%m-%d").date()  # noqa: DTZ007
    except ValueError:
        raise WrongInput(
            f"“{asked}” is not a date", "Write it as YYYY-MM-DD", "--next-due"
        ) from None
    if due <= today:
        raise WrongInput(
            f"{asked} is no date to come", "Give the date on its new plate", "--next-due"
        )
    return due.isoformat()


def clean(
    site: Site,
    battery: str,
    *,
    using: str,
    neutralised: bool = True,
    resistance: str | None = None,
    note: str | None = None,
    by: str,
    station: str,
    at: datetime | None = None,
) -> Event:
    """Record that a battery was washed and neutralised; ``resistance`` from case to post."""
    using = " ".join(using.split())
    if not 2 <= len(using) <= 120:
        raise WrongInput("what it was washed with is not said", "Say it in a few words", "--with")
    measured = ohms(resistance) if resistance else None
    with site.record.writing(by=by, station=station, at=at) as writing:
        check_authorised(site, by)
        state = asset(writing, battery, Kind.BATTERY)
        return writing.append(
            "cleaned",
            [state.tag],
            {
                "with": using,
                "neutralised": neutralised,
                "case_to_post_ohm": measured,
                "note": note,
            },
        )


@dataclass(frozen=True)
class EquipmentLine:
    """A piece of room equipment or gear: what is checked, when last, when again."""

    tag: str
    what: str
    location: str | None
    check: str | None
    every_days: float | None
    last: datetime | None
    due_at: datetime | None
    state: str | None
    passed: bool | None

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit equipment --json`` prints it."""
        return {
            "asset": self.tag,
            "what": self.what,
            "location": self.location,
            "check": self.check,
            "every_days": self.every_days,
            "last": self.last.isoformat() if self.last else None,
            "due_at": self.due_at.isoformat() if self.due_at else None,
            "state": self.state,
            "passed": self.passed,
        }


def equipment(site: Site) -> list[EquipmentLine]:
    """Room equipment with its checks, what is most overdue first."""
    now = site.now()
    rows = [
        _line(site, state, now)
        for state in site.record.states(Kind.ROOM)
        if not state.retired_at and state.registered_at
    ]
    order = {"never done": 0, "overdue": 1, "due": 2, "soon": 3, "later": 4, None: 5}
    return sorted(rows, key=lambda row: (order[row.state], row.due_at or now, row.tag))


def _line(site: Site, state: AssetState, now: datetime) -> EquipmentLine:
    def stated(field: str) -> Any:
        fact = state.nameplate.get(field)
        return fact["value"] if fact else None

    last = when(state.done["check"]) if "check" in state.done else None
    every = stated("check_every")
    due = equipment_due(
        state.tag, stated("check") or "check", last, float(every) if every else None, now,
        site.settings.schedule.soon_days,
    )  # fmt: skip
    at = due.at if due else None
    if due and due.state == "never done" and state.registered_at:
        at = when(state.registered_at) + timedelta(days=float(every))
    return EquipmentLine(
        state.tag, stated("equipment") or "equipment", stated("location"), stated("check"),
        float(every) if every else None, last, at, due.state if due else None,
        state.inspection["passed"] if state.inspection else None,
    )  # fmt: skip
