"""What is entered later than it happened must not come before what is recorded already."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from tagkit.errors import NeedsAnswer
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState
from tagkit.record.words import describe
from tagkit.rules.times import readable


def in_order(site: Site, at: datetime | None, states: Iterable[AssetState]) -> datetime | None:
    """``at``, or the moment of the last placement when that lies within the same minute.

    People give times by the minute, the record keeps milliseconds. Raises NeedsAnswer when one
    of the assets was placed, or had its battery changed, after ``at``: what went in or came out
    then can't be inferred from where everything is now.
    """
    if at is None:
        return None
    for state in states:
        since = state.last_changed_at if state.kind == "T" else state.place_since
        if since is None or at >= datetime.fromisoformat(since):
            continue
        placed = datetime.fromisoformat(since)
        if at.replace(second=0, microsecond=0) == placed.replace(second=0, microsecond=0):
            at = placed
            continue
        event = site.record.event(_placing(state))
        told = (
            describe(event)
            if event
            else f"{state.tag} was placed at {readable(since, site.timezone())}"
        )
        raise NeedsAnswer(
            f"later than the time given was recorded: {told}",
            "Enter things in the order they happened; where a battery is now is recorded with "
            "“tagkit seen”. Nothing was logged",
            "--at",
        )
    return at


def _placing(state: AssetState) -> str:
    if state.kind == "T":
        return str(state.last_change)
    return str((state.place or {}).get("event") or state.last_event)
