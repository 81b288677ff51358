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

    ``noted``: the moment that a device wrote on it, where its clock said something else than
    ``at``; it is kept with the entry, so that the same note is known again.

    It is recorded whatever the verdict says. A truck or charger with a battery that does not fit
    is held for safety in the same transaction, once for each battery.
    """
    words = " ".join(place.split())
    if not words or len(words) > 80:
        raise WrongInput("the place is empty or too long", "Say where in at most 80 characters")
    with site.record.writing(by=by, station=station, at=at) as writing:
        found = asset(writing, battery, Kind.BATTERY)
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
        if noted is not None:
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
