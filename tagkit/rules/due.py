"""When watering, rounds, inspections and checks fall due, from the last time and the interval."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from tagkit.assets.chemistry import WATERED
from tagkit.settings import ScheduleSettings

DueState = Literal["overdue", "due", "soon", "later", "never done"]

_ONE_DAY = timedelta(days=1)


@dataclass(frozen=True)
class Due:
    """Something that falls due. ``overdue`` from a day after its time; ``at`` is None when it
    was never done, which is told apart because a record may simply begin later than the work.
    """

    what: str
    tag: str
    at: datetime | None
    state: DueState

    def to_json(self) -> dict[str, Any]:
        """As commands print it."""
        at = self.at.isoformat() if self.at else None
        return {"what": self.what, "tag": self.tag, "at": at, "state": self.state}


def due_on(
    what: str, tag: str, last: datetime | None, every_days: float, now: datetime, soon_days: float
) -> Due | None:
    """When ``what`` falls due again; None when the site asks for none (``every_days`` 0)."""
    if every_days <= 0:
        return None
    if last is None:
        return Due(what, tag, None, "never done")
    return due_at(what, tag, last + timedelta(days=every_days), now, soon_days)


def due_at(what: str, tag: str, at: datetime, now: datetime, soon_days: float) -> Due:
    """The state of something that falls due at ``at``."""
    if now > at + _ONE_DAY:
        return Due(what, tag, at, "overdue")
    if now >= at:
        return Due(what, tag, at, "due")
    soon = at - now <= timedelta(days=soon_days)
    return Due(what, tag, at, "soon" if soon else "later")


def battery_dues(
    tag: str,
    chemistry: str | None,
    last: Mapping[str, datetime],
    schedule: ScheduleSettings,
    now: datetime,
    *,
    water_at: datetime | None = None,
    new_since: datetime | None = None,
    in_service: datetime | None = None,
) -> tuple[Due, ...]:
    """What falls due on a battery, soonest first.

    ``new_since``: when it came new; what was never done falls due an interval later. None: it was
    in use before the record began. ``in_service``: since when it ages; capacity tests are asked
    for from the schedule's age on.

    ``last`` by what was done: "equalize", "round", "pilot", "inspection", "cleaning",
    "leakage", "capacity test". ``water_at`` is when its own consumption asks for water. A full
    round counts as a pilot round. Rounds with a hydrometer, equalizing and water are for vented
    batteries only; of an unknown chemistry neither is asked for. Washing acid off and its leakage
    currents concern lead-acid batteries.
    """
    every = {"inspection": schedule.inspection_days}
    if chemistry != "lithium":
        every |= {"cleaning": schedule.cleaning_days, "leakage": schedule.leakage_days}
    done = dict(last)
    if chemistry in WATERED:
        every["round"] = schedule.round_days
        every["pilot"] = schedule.pilot_days
        every["equalize"] = schedule.equalize_days
        if "round" in done:
            done["pilot"] = max(done["round"], done.get("pilot", done["round"]))
    found = [
        due_on(what, tag, done.get(what, new_since), days, now, schedule.soon_days)
        for what, days in every.items()
    ]
    found.append(_capacity_test(tag, done.get("capacity test"), schedule, now, in_service))
    if chemistry in WATERED and water_at is not None:
        found.append(due_at("water", tag, water_at, now, schedule.soon_days))
    return tuple(sorted((due for due in found if due is not None), key=_soonest_first))


def _capacity_test(
    tag: str, last: datetime | None, schedule: ScheduleSettings, now: datetime,
    in_service: datetime | None,
) -> Due | None:  # fmt: skip
    what, days = "capacity test", schedule.capacity_test_days
    if days > 0 and in_service is not None:
        first = in_service + timedelta(days=365.25 * schedule.capacity_test_from_years)
        if (last is None and first > now) or (last is not None and last < first - _ONE_DAY):
            at = first if last is None else max(first, last + timedelta(days=days))
            return due_at(what, tag, at, now, schedule.soon_days)
    return due_on(what, tag, last, days, now, schedule.soon_days)


def equipment_due(
    tag: str,
    what: str,
    last: datetime | None,
    every_days: float | None,
    now: datetime,
    soon_days: float,
) -> Due | None:
    """When a check of room equipment (or an inspection of lifting gear) falls due; None when
    its plate states no interval."""
    return None if every_days is None else due_on(what, tag, last, every_days, now, soon_days)


def _soonest_first(due: Due) -> tuple[bool, float, str]:
    # What was never done has no date and comes first: it may be years late.
    return due.at is not None, due.at.timestamp() if due.at else 0.0, due.what
