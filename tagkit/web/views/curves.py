"""The current of a charge as a curve to be drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from tagkit.jobs.care_facts import plain, when
from tagkit.jobs.site import Site

WIDE, HIGH = 600.0, 160.0
"""Of the drawing."""
_LOOKED_THROUGH = 12
"""Charges; most sites take in few of their logs."""


@dataclass(frozen=True)
class Curve:
    """Its points from the top left, and what stands at the ends of its axes."""

    points: str
    hours: float
    amperes: float
    """The highest."""


@dataclass(frozen=True)
class ChargeCurve:
    """A charge on record with its curve."""

    curve: Curve
    started: datetime
    ended: datetime
    ah: float | None
    charger: str | None


def curve_of(samples: Sequence[Sequence[float]]) -> Curve:
    """The curve of samples of (hours since the start, A)."""
    hours, high = samples[-1][0], max(amperes for _, amperes in samples)
    points = " ".join(
        f"{at / hours * WIDE if hours else 0:.1f},{HIGH - (amperes / high * HIGH if high else 0):.1f}"
        for at, amperes in samples
    )
    return Curve(points, hours, high)


def last_curves(site: Site, battery: str, count: int) -> list[ChargeCurve]:
    """Of the last charges whose current was taken in, the latest first."""
    found = []
    for event in site.record.last_of_kind(battery, "charge_ended", _LOOKED_THROUGH):
        if event.voided or not event.known or len(event.body["current"] or ()) < 2:
            continue
        body, curve = event.body, curve_of(event.body["current"])
        ended = when(event.moment)
        began = when(body["started_at"]) if body["started_at"] else None
        started = began or ended - timedelta(hours=curve.hours)
        found.append(ChargeCurve(curve, started, ended, plain(body["ah"]), body["charger"]))
    return found[:count]
