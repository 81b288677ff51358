"""Cancelling an entry that was wrong. It stays in the record, marked, with the reason."""

from __future__ import annotations

from datetime import datetime

from tagkit.errors import NeedsAnswer, NotFound, WrongInput
from tagkit.jobs.change import undo_change
from tagkit.jobs.people import require_second, require_supervisor, require_technician
from tagkit.jobs.reason import checked_reason
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event
from tagkit.record.words import describe

FIGURES = ("registered", "married", "amended")
"""Cancelling one of these changes the figures that fit is judged by: two people do it."""

_NEVER = {
    "voided": ("this entry cancels another", "Record anew what was cancelled wrongly"),
    "epoch_started": ("this entry begins a station's record", "It can't be cancelled"),
}


def void_event(
    site: Site,
    identity: str,
    reason: str,
    second: str | None = None,
    *,
    by: str,
    station: str,
    at: datetime | None = None,
) -> Event:
    """Cancel the entry with this id; the event that cancels it.

    A technician does it; a supervisor where a right was given or a hold released or set. Entries
    that figures come from need a ``second`` authorised person. A safety hold is never cancelled:
    only an inspection lifts it. A change is undone with the charges that were logged with it.
    """
    reason = checked_reason(reason)
    event = site.record.event(identity)
    if event is None:
        raise NotFound("there is no such entry", "Open it from the timeline of its asset")
    if event.voided:
        raise NeedsAnswer("that entry is cancelled already", "Look it up in the history")
    refuse_voiding(event)
    if event.kind in ("authorised", "held", "released"):
        require_supervisor(site, by)
    else:
        require_technician(site, by)
    if event.kind == "changed":
        return undo_change(site, identity, reason, by=by, station=station, at=at).event
    with site.record.writing(by=by, station=station, at=at) as writing:
        body = {"event": identity, "reason": reason}
        if event.kind in FIGURES:
            body["second"] = require_second(site, by, second or "")
        now = site.record.event(identity)
        if now is None or now.voided:
            raise NeedsAnswer("that entry is cancelled already", "Look it up in the history")
        return writing.append("voided", list(event.tags), body)


def refuse_voiding(event: Event) -> None:
    """WrongInput, with what to do instead, for entries that are never cancelled."""
    if event.kind in _NEVER:
        problem, remedy = _NEVER[event.kind]
        raise WrongInput(problem, remedy)
    if event.kind == "held" and event.body.get("safety"):
        raise WrongInput(
            "a safety hold is not cancelled: only an inspection lifts it",
            "Have it inspected and mended by a qualified person, then release it",
        )
    if event.body.get("with_change"):
        raise WrongInput(
            f"this was logged with a change of battery: {describe(event)}",
            "Cancel the change, and this goes with it",
        )


def may_be_voided(event: Event) -> bool:
    """Whether cancelling is offered at all."""
    try:
        refuse_voiding(event)
    except WrongInput:
        return False
    return not event.voided
