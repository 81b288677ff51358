"""Cancelling one entry of the record. It stays there, marked as cancelled, with the reason."""

from __future__ import annotations

from datetime import datetime

from tagkit.errors import NeedsAnswer, NotFound, WrongInput
from tagkit.jobs.care_facts import when
from tagkit.jobs.change import undo_change
from tagkit.jobs.people import require_second, require_supervisor, require_technician
from tagkit.jobs.readiness import leaks
from tagkit.jobs.reason import checked_reason
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event
from tagkit.record.words import describe
from tagkit.record.writing import Writing

NEVER = ("epoch_started", "registered", "voided", "authorised", "married")
"""What is not cancelled: later entries rest on it. Figures are amended, people authorised anew."""

BY_A_SUPERVISOR = ("held", "released")
"""Cancelling one of these lifts a hold or a release, which a supervisor does."""


def by_two(event: Event) -> bool:
    """Whether cancelling it changes what fit is judged by, which takes two people."""
    return event.kind in ("amended", "retired") or (
        event.kind == "repaired" and bool(event.body.get("changes"))
    )


def void(
    site: Site,
    identity: str,
    reason: str,
    second: str | None = None,
    *,
    by: str,
    station: str,
    at: datetime | None = None,
) -> Event:
    """Cancel the entry with this id (as ``history --json`` and every command give it).

    One's own entry may be cancelled by anybody, another's by a technician or supervisor; a hold
    or release, and a case leakage that stands against its battery, by a supervisor; an amendment,
    a retirement, or a repair that changed figures, with a ``second`` authorised person. A safety
    hold is never cancelled: only an inspection lifts it.
    A change takes along the charges that were logged with it, a charge that came from a log its
    start; a scanned end that a log replaced comes back.
    """
    reason = checked_reason(reason)
    found = site.record.event(identity.strip())
    if found is None:
        raise NotFound(
            f"there is no entry “{identity}”", "Look its id up with “tagkit history TAG --ids”"
        )
    refuse_voiding(found)
    if found.kind in BY_A_SUPERVISOR or _holds(site, found):
        require_supervisor(site, by)
    elif by_two(found):
        require_technician(site, by)
    elif (owner := _entered_by(site, found)) != by:
        _require_over(site, owner, by)
    if found.kind == "changed":
        return undo_change(site, found.id, reason, by=by, station=station, at=at).event
    with site.record.writing(by=by, station=station, at=at) as writing:
        body = {"event": found.id, "reason": reason}
        if by_two(found):
            body["second"] = require_second(site, by, second or "")
        fresh = site.record.event(found.id)
        if fresh is None or fresh.voided:
            raise NeedsAnswer("that entry is cancelled already", "Look it up in the history")
        done = writing.append("voided", list(found.tags), body)
        if found.kind == "charge_ended" and found.body["imported_from"]:
            _as_before_the_log(site, writing, found, reason)
        return done


def _holds(site: Site, event: Event) -> bool:
    """Whether it is the leakage test, or the washing, that its battery is not to be used for."""
    if event.kind not in ("leakage_tested", "cleaned"):
        return False
    state = site.record.state(event.tags[0]) if event.tags else None
    if state is None or state.leakage_test is None or state.leakage_test["event"] != event.id:
        return False
    return leaks(state, site.settings) is not None


def _require_over(site: Site, owner: str, by: str) -> None:
    """WrongInput unless ``by`` may cancel what ``owner`` entered."""
    known = site.record.person(by)
    if known is not None and known.role == "attendant":
        raise WrongInput(
            f"this entry is by {owner}, and {by} may only cancel their own",
            "Have a technician or supervisor cancel it",
            "--by",
        )
    require_technician(site, by)


def _entered_by(site: Site, event: Event) -> str:
    """Whose entry it is: of a scanned end that a log completed, whoever brought the log."""
    if event.kind == "charge_ended" and event.known and event.body["replaces"]:
        for one in site.record.timeline(event.body["battery"], 400):
            if one.kind == "voided" and one.known and one.body["event"] == event.body["replaces"]:
                return one.by
    return event.by


def _as_before_the_log(site: Site, writing: Writing, end: Event, reason: str) -> None:
    """Takes back the rest of what a log did: the scanned end that it replaced is logged again,
    the start that it brought is cancelled."""
    replaced = site.record.event(end.body["replaces"]) if end.body["replaces"] else None
    if replaced is not None and replaced.known:
        writing.append(
            "charge_ended", list(replaced.tags), dict(replaced.body), at=when(replaced.moment),
            by=replaced.by,
        )  # fmt: skip
        return
    for event in site.record.timeline(end.body["battery"], 400):
        if (
            event.kind == "charge_started"
            and not event.voided
            and event.known
            and event.body["imported_from"] == end.body["imported_from"]
            and when(event.moment) == when(end.body["started_at"])
        ):
            writing.append("voided", list(event.tags), {"event": event.id, "reason": reason})
            return


def refuse_voiding(event: Event) -> None:
    """WrongInput, with what to do instead, for an entry that is not cancelled."""
    if event.kind in NEVER:
        raise WrongInput(
            f"an entry “{event.kind.replace('_', ' ')}” is not cancelled",
            "Correct figures with “tagkit amend”, people with “tagkit authorise”",
        )
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
