"""A battery found somewhere: facts are always accepted, and what is dangerous is held."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tagkit.assets.tag import Kind, parse_tag
from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset, others_at, refuse_known_as
from tagkit.jobs.fit import Judgement, judge_states
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event


@dataclass(frozen=True)
class Seen:
    """What was recorded, and what follows from it."""

    event: str
    battery: str
    place: str
    judgement: Judgement | None
    held: str | None
    others: tuple[str, ...] = ()
    """Batteries that the record has there too."""
    already: bool = False
    """The same note had been recorded before: nothing was written."""

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit seen --json`` prints it."""
        return {
            "event": self.event,
            "battery": self.battery,
            "place": self.place,
            "verdict": self.judgement.to_json() if self.judgement else None,
            "held": self.held,
            "others": list(self.others),
        }


def log_seen(
    site: Site,
    battery: str,
    place: str,
    *,
    by: str,
    station: str,
    at: datetime | None = None,
    noted: datetime | None = None,
) -> Seen:
    """Record that ``battery`` was seen at ``place`` (a truck, a charger, or words).

    ``noted``: the moment that a device wrote on it, in UTC to the millisecond. A note is itself by
    battery, place and that moment: one that is in the record is not written again, however many
    send it at once. Where the device's clock said something else than ``at``, its moment is kept
    with the entry. ``battery`` is a number then.

    It is recorded whatever the verdict says. A truck or charger with a battery that does not fit
    is held for safety in the same transaction, once for each battery.
    """
    words = " ".join(place.split())
    if not words or len(words) > 80:
        raise WrongInput("the place is empty or too long", "Say where in at most 80 characters")
    before = _before(site, battery, words, noted) if noted is not None else None
    with site.record.writing(by=by, station=station, at=at) as writing:
        found = asset(writing, battery, Kind.BATTERY)
        if before is not None and noted is not None:
            if before.events != found.events:  # recorded by somebody else since it was looked for
                before = _before(site, battery, words, noted)
            if before.same is not None:
                return Seen(before.same, found.tag, words, None, None, already=True)
        try:
            tag = parse_tag(words)
        except WrongInput:
            if words[:2].upper() in ("T-", "C-"):
                raise
            # A truck called by its fleet number would go unchecked as mere words.
            refuse_known_as(site.record, words)
            tag = None
        if tag is None:
            where, judged, tags = {"kind": "elsewhere", "name": words}, None, [found.tag]
        else:
            other = asset(writing, tag, Kind.TRUCK, Kind.CHARGER)
            kind = "truck" if tag.kind is Kind.TRUCK else "charger"
            where, tags = {"kind": kind, "name": other.tag}, [found.tag, other.tag]
            judged = judge_states(site, found, other, at=at)
        body: dict[str, Any] = {
            "battery": found.tag,
            "place": where,
            "verdict": judged.verdict.to_json() if judged else None,
        }
        if noted is not None and noted != at:
            body["noted_at"] = noted.isoformat(timespec="milliseconds")
        event = writing.append("seen_at", tags, body)
        held = None
        if judged and (judged.verdict.result == "no_fit" or found.retired_at):
            held = judged.other.tag
            fault = "has left the fleet" if found.retired_at else "does not fit"
            reason = f"{found.tag} was found in it and {fault}"
            if all(hold["reason"] != reason for hold in judged.other.holds):
                writing.append("held", [held], {"asset": held, "reason": reason, "safety": True})
        others = () if tag is None else others_at(site.record, where["name"], found.tag)
    return Seen(event.id, found.tag, str(where["name"]), judged, held, others)


@dataclass(frozen=True)
class _Before:
    """A look for a note: the entry that it is in, and how many entries the battery had by then."""

    events: int
    same: str | None


def _before(site: Site, battery: str, place: str, noted: datetime) -> _Before:
    """Looked for before the lock is taken: a battery may have many thousands of entries."""
    state = site.record.state(battery)
    entries = site.record.timeline(battery) if state is not None else ()
    same = next(
        (
            event.id
            for event in entries
            if event.kind == "seen_at"
            and event.known
            and event.body["place"].get("name") == place
            and _noted_at(event) == noted
        ),
        None,
    )
    return _Before(state.events if state is not None else 0, same)


def _noted_at(event: Event) -> datetime:
    """The moment that stood on the note, which an entry keeps where it happened earlier."""
    noted = event.body.get("noted_at")
    return datetime.fromisoformat(noted) if isinstance(noted, str) else event.happened
