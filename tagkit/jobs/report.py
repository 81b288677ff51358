"""Reporting a problem with an asset: what anyone on shift has noticed, in words and photographs.

A report stays with the asset as something to be done. It is no inspection. Only when the person
says that the asset must not be used does it hold it, and then in the same transaction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.site import Site

MOST_PHOTOS = 4


@dataclass(frozen=True)
class Reported:
    """What was recorded."""

    tag: str
    event: str
    hold: str | None


def report_problem(
    site: Site,
    number: str,
    words: str,
    *,
    must_not_be_used: bool,
    photos: Sequence[str] = (),
    by: str,
    station: str,
    at: datetime | None = None,
) -> Reported:
    """Record what was noticed; ``photos`` are names that keep_photo gave.

    WrongInput without words: a photo alone does not say what is wrong.
    """
    said = " ".join(words.split())
    if not 3 <= len(said) <= 500:
        raise WrongInput(
            "the report is empty or too long", "Say what you saw, in 3 to 500 characters", "words"
        )
    if len(photos) > MOST_PHOTOS:
        raise WrongInput("there are too many photos", f"Send {MOST_PHOTOS} at most", "photo")
    with site.record.writing(by=by, station=station, at=at) as writing:
        found = asset(writing, number)
        event = writing.append(
            "inspected",
            [found.tag],
            {
                "sort": "report",
                "what": "problem reported",
                "findings": [said],
                "todo": [said],
                "photos": list(photos),
            },
        )
        hold = None
        if must_not_be_used:
            reason = said if len(said) <= 300 else f"{said[:297]}…"
            body = {"asset": found.tag, "reason": reason, "safety": False}
            hold = writing.append("held", [found.tag], body).id
    return Reported(found.tag, event.id, hold)
