"""What happened to an asset, newest first: who, what, when; cancelled entries explained."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from tagkit.jobs.void import may_be_voided
from tagkit.record.envelope import Event
from tagkit.record.words import deed

_NUMBER = re.compile(r"\b[BTCLR]-[A-Z]{2,4}-\d{5,7}-[0-9A-Z]\b")
_LATE = timedelta(minutes=10)


@dataclass(frozen=True)
class Entry:
    """One line of a timeline."""

    id: str
    when: str
    """ISO 8601, when it happened."""
    by: str
    station: str
    what: tuple[tuple[str, bool], ...]
    """Text in pieces; True marks a number that leads to its page."""
    recorded: str | None
    """When it was recorded, if that was later."""
    voided: bool
    void: Event | None
    """The event that cancelled it, where it is among those read."""
    details: tuple[str, ...]
    photos: tuple[str, ...]
    can_void: bool


def entries(events: Sequence[Event], own: str = "") -> list[Entry]:
    """Lines for these events; ``own`` is the asset whose page it is, and leads nowhere."""
    cancelled = {str(e.body.get("event")): e for e in events if e.kind == "voided"}
    return [_entry(event, cancelled.get(event.id), own) for event in events]


def pieces(text: str, own: str = "") -> tuple[tuple[str, bool], ...]:
    """The text cut at numbers of assets."""
    found: list[tuple[str, bool]] = []
    end = 0
    for match in _NUMBER.finditer(text):
        if match.start() > end:
            found.append((text[end : match.start()], False))
        found.append((match.group(), match.group() != own))
        end = match.end()
    if end < len(text):
        found.append((text[end:], False))
    return tuple(found)


def _entry(event: Event, void: Event | None, own: str) -> Entry:
    late = event.recorded - event.happened > _LATE
    photos = event.body.get("photos") if event.kind == "inspected" else None
    return Entry(
        id=event.id,
        when=event.happened_at,
        by=event.by,
        station=event.station,
        what=pieces(_deed(event), own),
        recorded=event.recorded_at if late else None,
        voided=event.voided,
        void=void,
        details=tuple(_details(event)),
        photos=tuple(one for one in photos or () if isinstance(one, str)),
        can_void=may_be_voided(event),
    )


def _deed(event: Event) -> str:
    if event.kind == "inspected" and event.body.get("sort") == "report":
        return f"reported a problem with {', '.join(event.tags)}"
    return deed(event)


def _details(event: Event) -> list[str]:
    """What a person would ask next about this entry."""
    body = event.body
    if event.kind == "inspected" and body.get("sort") == "report":
        return [str(one) for one in body.get("findings") or ()]
    if event.kind == "retired" and event.known:
        receipt = body.get("receipt")
        return [str(body.get("reason") or ""), *([f"receipt: {receipt}"] if receipt else [])]
    if event.kind == "amended":
        second = [f"checked by {body['second']}"] if body.get("second") else []
        return [str(body.get("reason") or ""), *second]
    return []
