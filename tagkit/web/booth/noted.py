"""Notes of a tablet that was cut off: what was done meanwhile, recorded as seen, never twice.

A cut-off tablet gives no verdict, so nothing it noted is a change: it is a fact somebody saw.
What makes a note itself is its battery, place and moment to the millisecond, so that one that
comes again is known even by a server that was restored in between.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

from pydantic import BaseModel, Field

from tagkit.assets.tag import Kind, parse_tag
from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.seen import log_seen
from tagkit.jobs.site import Site
from tagkit.web.visitor import Visitor

LONGEST_AGO = timedelta(days=14)
_AHEAD = timedelta(minutes=5)


class Noted(BaseModel):
    """One note. ``key`` is made by the tablet; ``by`` is who was at work there then."""

    key: str = Field(min_length=8, max_length=64)
    truck: str = Field(max_length=60)
    battery: str = Field(max_length=60)
    at: datetime
    by: str = Field(default="", max_length=16)


def log_noted(site: Site, note: Noted, visitor: Visitor) -> dict[str, Any]:
    """Record the note; ``already`` says that it was in the record before.

    Raises WrongInput for numbers that are none or a time that can't be, NotFound for assets
    that are not in the record: such a note stays on the tablet, to be mended.
    """
    truck, battery = _pair(site, note)
    noted = _moment(site, note.at)
    by = note.by.strip().upper()
    if site.record.person(by) is None:
        by = visitor.person or ""
    # A tablet whose clock is a little ahead saw nothing that is still to come.
    at = min(noted, site.now())
    seen = log_seen(site, battery, truck, by=by, station=visitor.station, at=at, noted=noted)
    return {"event": seen.event, "already": seen.already, "held": seen.held}


def _pair(site: Site, note: Noted) -> tuple[str, str]:
    """Truck and battery, in whichever order they were noted."""
    first, second = parse_tag(note.truck), parse_tag(note.battery)
    if first.kind is Kind.BATTERY and second.kind is Kind.TRUCK:
        first, second = second, first
    truck = asset(site.record, first, Kind.TRUCK)
    battery = asset(site.record, second, Kind.BATTERY)
    return truck.tag, battery.tag


def _moment(site: Site, given: datetime) -> datetime:
    """The moment of the note in UTC, to the millisecond."""
    if given.tzinfo is None:
        raise WrongInput("the time of the note has no zone", "Note it again")
    try:
        at = given.astimezone(UTC)
    except OverflowError:  # at an end of the calendar, and refused below
        at = given.replace(tzinfo=UTC)
    at = at.replace(microsecond=at.microsecond // 1000 * 1000)
    now = site.now()
    if not now - LONGEST_AGO <= at <= now + _AHEAD:
        raise WrongInput(
            f"the note says {at:%Y-%m-%d %H:%M} UTC, and now it is {now:%Y-%m-%d %H:%M}",
            "Set the clock of the tablet, and note it again",
        )
    return at
