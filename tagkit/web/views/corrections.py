"""What the lead has to settle, and what was corrected: each with the way to put it right."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from tagkit.jobs.site import Site
from tagkit.record.contradictions import Contradiction
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.web.views.timeline import Entry, entries, pieces

TRAIL_DAYS = 90
TRAIL_ENTRIES = 50
ANSWERED_DAYS = 7
ANSWERED_ENTRIES = 20
ANSWERED_LOOKED_AT = 200
"""Changes looked through for answers, the newest first."""
MOST_SHOWN = 50
MOST_BEHIND = 6


@dataclass(frozen=True)
class Settling:
    """A contradiction and what may be pressed about it."""

    kind: str
    text: tuple[tuple[str, bool], ...]
    remedy: str
    batteries: tuple[AssetState, ...]
    """Batteries that may be said to be somewhere else."""
    amend: tuple[str, ...]
    """Assets of which a figure may be corrected."""
    field: str
    marry: tuple[str, ...]
    entries: tuple[Entry, ...]
    """What the contradiction rests on, the first few."""


@dataclass(frozen=True)
class Answered:
    """A question that the record asked at a station, and what a person answered."""

    event: Event
    about: str
    recorded: str
    since: str | None
    """Since when, of a charge that was still running; ISO 8601."""
    given: str


@dataclass(frozen=True)
class Corrections:
    """The lead's page."""

    open: tuple[Settling, ...]
    count: int
    answered: tuple[Answered, ...]
    trail: tuple[Entry, ...]
    stand: str
    """Where a battery is most likely, if it is not where the record has it."""


def corrections(site: Site) -> Corrections:
    """What contradicts itself now, what was answered at the stations lately, what was corrected."""
    found = site.record.contradictions(MOST_SHOWN)
    now = site.now()
    trail = site.record.happened(
        ("amended", "retired"), now - timedelta(days=TRAIL_DAYS),
        now + timedelta(minutes=10), TRAIL_ENTRIES,
    )  # fmt: skip
    trail = sorted([*trail, *site.record.lately_voided(TRAIL_ENTRIES)],
                   key=lambda event: event.clock, reverse=True)  # fmt: skip
    return Corrections(
        tuple(_settling(site, one) for one in found),
        site.record.count_contradictions(),
        tuple(_answered(site)),
        tuple(entries(trail[:TRAIL_ENTRIES])),
        site.settings.station.stand or "stand",
    )


def _settling(site: Site, found: Contradiction) -> Settling:
    states = [state for tag in found.tags if (state := site.record.state(tag))]
    return Settling(
        kind=found.kind,
        text=pieces(found.text),
        remedy=found.remedy,
        batteries=tuple(state for state in states if state.kind == "B")
        if found.kind in ("several in one place", "retired in use")
        else (),
        amend=tuple(found.tags) if found.kind in ("same serial", "unsettled") else (),
        field="maker_serial" if found.kind == "same serial" else "",
        marry=tuple(found.tags) if found.kind == "unsettled" else (),
        entries=tuple(
            entries(
                [event for one in found.events[:MOST_BEHIND] if (event := site.record.event(one))]
            )
        ),
    )


def _answered(site: Site) -> list[Answered]:
    now = site.now()
    changes = site.record.happened(
        ("changed",),
        now - timedelta(days=ANSWERED_DAYS),
        now + timedelta(minutes=10),
        ANSWERED_LOOKED_AT,
    )
    found = [
        Answered(
            event,
            str(one.get("about")),
            *_recorded(str(one.get("recorded"))),
            str(one.get("given")),
        )
        for event in changes
        if event.known and not event.voided
        for one in event.body.get("answers") or ()
    ]
    return found[:ANSWERED_ENTRIES]


def _recorded(words: str) -> tuple[str, str | None]:
    """What the record said, and since when where it said that too."""
    what, said, since = words.rpartition(" since ")
    try:
        datetime.fromisoformat(since)
    except ValueError:
        return words, None
    return (what, since) if said else (words, None)
