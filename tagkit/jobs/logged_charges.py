"""Charges on record as a log meets them: which there are, which it would be a second of, and what
is to be said of one that happened."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from tagkit.errors import WrongInput
from tagkit.jobs.care_facts import equalizing_of, when
from tagkit.jobs.fit import judge_states
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.record.writing import Writing

SAME_CHARGE = timedelta(minutes=20)
"""A scan this close to the log's times is of the same charge."""
OVERLAP = timedelta(minutes=5)
"""Two charges that overlap by more can't both be; less is clocks."""
OFF_THE_SCAN = timedelta(minutes=15)
"""A log that begins or ends further from the scan is told."""


@dataclass(frozen=True)
class RecordedCharge:
    """A charge as the record has it."""

    start: Event | None
    end: Event | None
    began: datetime
    over: datetime | None


def charges_of(site: Site, battery: str) -> list[RecordedCharge]:
    """The charges of a battery on record, latest first."""
    found: list[RecordedCharge] = []
    end: Event | None = None
    for event in site.record.timeline(battery, 400):
        if event.voided or not event.known:
            continue
        if event.kind == "charge_ended":
            if end is not None and end.body["started_at"]:
                found.append(
                    RecordedCharge(None, end, when(end.body["started_at"]), when(end.moment))
                )
            end = event
        elif event.kind == "charge_started":
            over = when(end.moment) if end else None
            found.append(RecordedCharge(event, end, when(event.moment), over))
            end = None
    return found


def refuse_overlap(site: Site, battery: str, first: datetime, last: datetime) -> None:
    """WrongInput where a battery would be charged twice at a time."""
    for place, one in enumerate(charges_of(site, battery)):
        # Without an end the latest is under way; of an older one only its start is known.
        over = one.over or (last if place == 0 else one.began + OVERLAP * 2)
        if min(over, last) - max(one.began, first) <= OVERLAP:
            continue
        entry = one.end or one.start
        number = entry.id if entry else ""
        zone = site.timezone()
        began = f"{one.began.astimezone(zone):%Y-%m-%d %H:%M}"
        until = f"{one.over.astimezone(zone):%Y-%m-%d %H:%M}" if one.over else "—"
        raise WrongInput(
            f"the log overlaps a charge of {battery} that is on record, {began} to {until}",
            "Check the battery and the dates of the log; if the charge on record is the wrong "
            f"one, cancel it first (its entry: {number})",
            "time",
        )


def off_the_scan(
    began: datetime, over: datetime | None, first: datetime, last: datetime
) -> list[str]:
    """What is to be said of a log that is not of the times on record."""
    told = []
    if abs(early := began - first) > OFF_THE_SCAN:
        minutes = abs(early) // timedelta(minutes=1)
        told.append(
            f"the log begins {minutes} min before the charge on record: check that it is of this "
            "charge" if early > timedelta(0) else
            f"the log begins {minutes} min after the charge on record began: check that it is of "
            "this charge"
        )  # fmt: skip
    if over and abs(early := over - last) > OFF_THE_SCAN:
        minutes = abs(early) // timedelta(minutes=1)
        told.append(
            f"the log ends {minutes} min before the charge on record: check that it is of this "
            "charge" if early > timedelta(0) else
            f"the log ends {minutes} min after the charge on record ended: check that it is of "
            "this charge"
        )  # fmt: skip
    return told


def doubts(
    site: Site, battery: AssetState, charger: AssetState | None, charge_kind: str
) -> list[str]:
    """What is to be said of a charge that happened and would have been refused before it."""
    found = []
    if charger and judge_states(site, battery, charger).verdict.result == "no_fit":
        found.append(f"{charger.tag} is no charger for it")
    if charge_kind == "equalize" and not (equalizing := equalizing_of(battery)).allowed:
        found.append(equalizing.words)
    return found


def replace_end(writing: Writing, over: Event, file: str) -> None:
    """Cancels the end of a charge of which a log knows more; the caller logs it anew."""
    writing.append(
        "voided", list(over.tags), {"event": over.id, "reason": f"the log {file} knows more"}
    )
