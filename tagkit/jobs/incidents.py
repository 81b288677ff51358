"""Incidents: spill, first aid, near miss, arc, dropped battery. Kept apart from maintenance."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from tagkit.errors import WrongInput, mistake_in
from tagkit.jobs.assets import asset
from tagkit.jobs.site import Site
from tagkit.record.care_bodies import INCIDENTS
from tagkit.record.envelope import Event

FIRST_AID = {
    "spill": "Keep people away, goggles and gloves, neutralise with sodium bicarbonate in water, "
    "test, dispose of by local rule.",
    "first aid": "Acid in the eye or on the skin: flush 15 minutes at the eyewash or shower, then "
    "medical help at once.",
    "arc": "Do not touch; isolate, let a qualified person look at charger, cable and connector.",
    "dropped battery": "Keep away, it may leak, short or fall on. Hold the gear for inspection.",
    "fire": "Get everybody out, call the fire brigade, tell them of acid and hydrogen.",
}


@dataclass(frozen=True)
class Incident:
    """An incident as recorded."""

    event: str
    at: datetime
    by: str
    sort: str
    what: str
    hurt: bool | None
    assets: tuple[str, ...]
    done: str | None

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit incident --json`` prints it."""
        return {
            "event": self.event,
            "at": self.at.isoformat(),
            "by": self.by,
            "sort": self.sort,
            "what": self.what,
            "hurt": self.hurt,
            "assets": list(self.assets),
            "done": self.done,
        }


def report_incident(
    site: Site,
    sort: str,
    what: str,
    *,
    assets: Sequence[str] = (),
    hurt: bool | None = None,
    done: str | None = None,
    place: str | None = None,
    hold: bool = False,
    by: str,
    station: str,
    at: datetime | None = None,
) -> Incident:
    """Record what happened; ``hold`` holds the assets for safety until they are inspected.

    Nothing is asked about who was hurt: a name belongs into the employer's own records.
    """
    if sort not in INCIDENTS:
        raise WrongInput(f"“{sort}” is no incident", f"One of: {', '.join(INCIDENTS)}", "--sort")
    words = " ".join(what.split())
    if not 5 <= len(words) <= 1000:
        raise WrongInput("what happened is not said", "Say it in 5 to 1,000 characters", "--what")
    with site.record.writing(by=by, station=station, at=at) as writing:
        with mistake_in("--tag"):
            tags = [asset(writing, number).tag for number in assets]
        event = writing.append(
            "incident",
            tags,
            {"sort": sort, "what": words, "hurt": hurt, "done": done, "place": place},
        )
        for tag in tags if hold else ():
            body = {"asset": tag, "reason": f"{sort}: {words}"[:300], "safety": True}
            writing.append("held", [tag], body)
    return incident_of(event)


def incidents(
    site: Site, since: datetime | None = None, until: datetime | None = None
) -> list[Incident]:
    """Incidents of a time, newest first; cancelled ones are left out."""
    start = since or datetime(1970, 1, 2, tzinfo=UTC)
    found = site.record.happened(["incident"], start, until or datetime(9000, 1, 1, tzinfo=UTC))
    return [incident_of(event) for event in found if event.known and not event.voided]


def incident_of(event: Event) -> Incident:
    """The incident that an event tells."""
    body = event.body
    return Incident(
        event.id, event.happened, event.by, body["sort"], body["what"] or "", body["hurt"],
        event.tags, body["done"],
    )  # fmt: skip
