"""Which battery goes into the truck next, and why each other one was passed over.

Of the batteries that fit, are ready and not held, the one rested longest goes next. Those that
are not ready and released for one use come after all of these.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tagkit.rules.readiness import Readiness
from tagkit.rules.verdict import Result


@dataclass(frozen=True)
class Candidate:
    """A battery beside a truck: verdict of fit with its deciding lines, readiness for use.

    ``rested_since`` is when its rest was over (or its charge ended); ``elsewhere`` says in
    words where it is when it can't be fetched ("in truck T-…"). ``flagged``: findings of care
    that are said with its place.
    """

    tag: str
    verdict: Result
    readiness: Readiness
    against: tuple[str, ...] = ()
    rested_since: datetime | None = None
    elsewhere: str = ""
    flagged: tuple[str, ...] = ()

    @property
    def may_go(self) -> bool:
        """Whether it may be put in."""
        return self.verdict == "fit" and self.readiness.ready and not self.elsewhere


@dataclass(frozen=True)
class Place:
    """A battery's place in the rotation: 1 is next; 0 was passed over, and why."""

    tag: str
    place: int
    why: str
    ready_at: datetime | None = None
    released: bool = False
    """May go by a pass for one use alone: it is not ready."""

    def to_json(self) -> dict[str, Any]:
        """As commands print it."""
        at = self.ready_at.isoformat() if self.ready_at else None
        return {"battery": self.tag, "place": self.place, "why": self.why, "ready_at": at,
                "released": self.released}  # fmt: skip


@dataclass(frozen=True)
class Rotation:
    """``next`` is None when no battery may be taken; ``places`` begins with those that may."""

    next: str | None
    places: tuple[Place, ...]

    def to_json(self) -> dict[str, Any]:
        """As commands print it."""
        return {"next": self.next, "rotation": [place.to_json() for place in self.places]}


def next_battery(candidates: Iterable[Candidate], now: datetime) -> Rotation:
    """The battery to take, the ones after it in order, and the ones passed over.

    Those passed over come by how soon they can be had: elsewhere last, no fit at the very end.
    A battery whose rest is not on record goes after those whose is.
    """
    everyone = list(candidates)
    takes = sorted((c for c in everyone if c.may_go), key=_rested_longest)
    places = [
        Place(
            candidate.tag,
            place,
            _with_flags(candidate, _why_it_goes(candidate, place, now)),
            released=bool(candidate.readiness.lifted),
        )
        for place, candidate in enumerate(takes, start=1)
    ]
    passed = sorted((c for c in everyone if not c.may_go), key=_how_soon)
    places += [Place(c.tag, 0, _why_passed(c), c.readiness.ready_at) for c in passed]
    return Rotation(takes[0].tag if takes else None, tuple(places))


def _rested_longest(candidate: Candidate) -> tuple[bool, bool, float, str]:
    since, released = candidate.rested_since, bool(candidate.readiness.lifted)
    return released, since is None, since.timestamp() if since else 0.0, candidate.tag


def _how_soon(candidate: Candidate) -> tuple[int, bool, float, str]:
    ready_at = candidate.readiness.ready_at
    kind = {"fit": 0, "not_confirmed": 2, "no_fit": 3}[candidate.verdict]
    if candidate.elsewhere:
        kind = max(kind, 1)
    return kind, ready_at is None, ready_at.timestamp() if ready_at else 0.0, candidate.tag


def _why_it_goes(candidate: Candidate, place: int, now: datetime) -> str:
    if candidate.readiness.lifted:
        lifted = "; ".join(reason.sentence for reason in candidate.readiness.lifted)
        return f"fits, released for one use although {lifted}"
    if candidate.rested_since is None:
        return "fits and is ready, but since when it rests is not on record"
    hours = (now - candidate.rested_since).total_seconds() / 3600
    if place == 1:
        return f"fits, is ready, and has rested longest ({_time(hours)})"
    return f"fits and is ready, rested {_time(hours)}, less than the one before"


def _with_flags(candidate: Candidate, why: str) -> str:
    return "; ".join((why, *(f"flagged: {finding}" for finding in candidate.flagged)))


def _why_passed(candidate: Candidate) -> str:
    if candidate.verdict == "no_fit":
        return _sentence("no fit", candidate.against)
    if candidate.verdict == "not_confirmed":
        return _sentence("fit not confirmed", candidate.against)
    if candidate.elsewhere:
        return candidate.elsewhere
    return _sentence("not ready", [reason.sentence for reason in candidate.readiness.reasons])


def _sentence(start: str, reasons: Sequence[str]) -> str:
    return f"{start}: {'; '.join(reasons)}" if reasons else start


def _time(hours: float) -> str:
    return f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"
