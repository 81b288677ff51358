"""The current of a charge from a charger's log: a row for each sample, over hours or by the clock.

Which column holds what is said once for each kind of file, as for a log of whole charges. Each
battery's samples are one charge. It is found in the record by its time: what was scanned stays as
it was scanned, and gets its Ah and its curve; a charge under way is ended; one that nobody scanned
is recorded.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.errors import TagkitError, WrongInput, mistake_in
from tagkit.jobs.care_facts import plain
from tagkit.jobs.charge import CHARGE_KINDS, refuse_too_much, thinned
from tagkit.jobs.charge_flags import judge_times
from tagkit.jobs.log_columns import CURRENT
from tagkit.jobs.log_file import LogFile, moment_in, named_asset, open_log
from tagkit.jobs.logged_charges import (
    SAME_CHARGE,
    RecordedCharge,
    charges_of,
    doubts,
    off_the_scan,
    refuse_overlap,
    replace_end,
)
from tagkit.jobs.site import Site
from tagkit.jobs.tables import read_table
from tagkit.record.state import AssetState
from tagkit.record.writing import Writing
from tagkit.rules.charge import ah_from_log
from tagkit.site_toml import TIME_UNIT, TIME_UNITS

IDLE_AMPERES = 0.5
"""A charger that gives no more than this does not charge."""
LONGEST_GAP = timedelta(minutes=30)
"""Between two samples with current; what flowed in a longer one is not known."""
_HOURS = {"hours": 1.0, "minutes": 60.0, "seconds": 3600.0}
_DIFFERENT = 0.1
"""Ah of the samples further than this share from the charger's own count are told."""


@dataclass(frozen=True)
class CurrentCharge:
    """What became of one battery's samples: logged, completed, ended, here already."""

    outcome: str
    battery: str
    charger: str | None
    started: datetime
    ended: datetime
    ah: float
    highest_amperes: float
    count: int
    curve: tuple[tuple[float, float], ...]
    notes: tuple[str, ...] = ()
    event: str | None = None

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit charge current --json`` prints it."""
        return {
            "outcome": self.outcome, "battery": self.battery, "charger": self.charger,
            "started_at": self.started.isoformat(), "ended_at": self.ended.isoformat(),
            "ah": {"value": round(self.ah, 1), "unit": "Ah"},
            "highest_current": {"value": self.highest_amperes, "unit": "A"},
            "samples": self.count, "notes": list(self.notes), "event": self.event,
        }  # fmt: skip


@dataclass(frozen=True)
class CurrentTaken:
    """What an import did, or would do."""

    kind_of_file: str
    columns: dict[str, str]
    remembered: bool
    charges: tuple[CurrentCharge, ...]
    dry_run: bool = False

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit charge current --json`` prints it."""
        return {
            "kind_of_file": self.kind_of_file,
            "columns": self.columns,
            "remembered": self.remembered,
            "dry_run": self.dry_run,
            "charges": [one.to_json() for one in self.charges],
        }


@dataclass(frozen=True)
class _About:
    """What is said of the charge beside its log."""

    battery: str | None = None
    charger: str | None = None
    began: datetime | None = None
    kind: str = "conventional"


@dataclass
class _Samples:
    """One battery's, as read: hours since the first (or since the start), A."""

    battery: AssetState
    charger: AssetState | None = None
    first: datetime | None = None
    pairs: list[tuple[float, float]] = field(default_factory=list)
    rows: list[int] = field(default_factory=list)
    """Of the file, one for each pair."""
    highest: dict[str, Any] | None = None
    begins: float = 0.0
    """Hours of the first sample with current, by the log's own clock."""


def current_log(path: Path) -> list[tuple[float, float]]:
    """Samples of a charge from a file with two columns: hours since the start (or a time), A.

    Rows before the first with two figures are taken for headings. WrongInput names the row.
    """
    samples: list[tuple[float, float]] = []
    rows: list[int] = []
    first: datetime | None = None
    for number, cells in read_table(path):
        try:
            hours, first = _hours(cells[0].strip(), first)
            samples.append((hours, _finite(cells[1].strip())))
            rows.append(number)
        except (
            ValueError,
            IndexError,
            TypeError,
        ):  # TypeError: a time with a zone, then one without
            if samples:
                raise WrongInput(
                    "this row has no time and current", "Write hours (or a time) and A",
                    f"{path.name}, row {number}",
                ) from None  # fmt: skip
    if len(samples) < 2:
        raise WrongInput("the log has fewer than two samples", "Name a charger's log", str(path))
    _without_gaps(samples, rows, path)
    return samples


def import_current(
    site: Site,
    file: Path,
    columns: Mapping[str, str] | None = None,
    kind_of_file: str | None = None,
    *,
    battery: str | None = None,
    charger: str | None = None,
    began: datetime | None = None,
    charge_kind: str = "conventional",
    time_unit: str | None = None,
    temperature_unit: str | None = None,
    by: str,
    station: str,
    dry_run: bool = False,
    called: str = "",
) -> CurrentTaken:
    """Record the current of a charge, sample by sample, and the Ah that follow from it.

    ``battery`` (and ``charger``): whose charge it is, where no column says it. ``began``: when it
    began, where the log counts hours and the record has no charge of it. ``columns`` and the two
    units are needed once for a kind of file; all or nothing is recorded. WrongInput names the row.
    """
    if charge_kind not in CHARGE_KINDS:
        raise WrongInput(
            f"“{charge_kind}” is not a kind of charge",
            f"One of: {', '.join(CHARGE_KINDS)}",
            "--kind",
        )
    log = open_log(site, file, CURRENT, columns, kind_of_file, temperature_unit)
    unit = _time_unit(site, log.kind_of_file, log.columns["time"], time_unit)
    about = _About(battery or None, charger or None, began, charge_kind)
    charges = [_trimmed(samples, file) for samples in _read(site, log, _HOURS[unit], about)]
    if dry_run:
        done = [_planned(site, one, about) for one in charges]
    else:
        shown = called or file.name
        with site.record.writing(by=by, station=station) as writing:
            done = [_log(site, writing, one, about, shown) for one in charges]
        log.keep(site, **({TIME_UNIT: unit} if unit != "hours" else {}))
    return CurrentTaken(
        log.kind_of_file, log.columns, log.new and not dry_run, tuple(done), dry_run
    )


def _time_unit(site: Site, name: str, heading: str, given: str | None) -> str:
    """Hours, minutes or seconds: as kept, as given, as the heading says, else hours."""
    if given is not None and given not in TIME_UNITS:
        raise WrongInput(
            f"“{given}” is no unit of a log's time",
            f"One of: {', '.join(TIME_UNITS)}",
            "--time-unit",
        )
    kept = CURRENT.kinds(site).get(name)
    if kept is not None:
        return str(kept.get(TIME_UNIT, "hours"))
    said = re.search(r"\b(h|hours?|min|minutes?|s|sec|seconds?)\b", heading.lower())
    by_heading = {"h": "hours", "m": "minutes", "s": "seconds"}[said[0][0]] if said else "hours"
    return given or by_heading


def _read(site: Site, log: LogFile, per_hour: float, about: _About) -> list[_Samples]:
    """The samples of each battery, in the order of the file."""
    found: dict[str, _Samples] = {}
    with mistake_in("battery"):
        named = named_asset(site, about.battery, Kind.BATTERY) if about.battery else None
    with mistake_in("charger"):
        at_charger = named_asset(site, about.charger, Kind.CHARGER) if about.charger else None
    assets: dict[tuple[str, Kind], AssetState] = {}

    def one(words: str, kind: Kind) -> AssetState:
        if (words, kind) not in assets:
            assets[words, kind] = named_asset(site, words, kind)
        return assets[words, kind]

    for cells in log.rows():
        try:
            battery = one(cells["battery"], Kind.BATTERY) if cells["battery"] else named
            if battery is None:
                raise WrongInput("no battery is named", "Say whose charge it is", "battery")
            if named is not None and battery.tag != named.tag:
                raise WrongInput(
                    f"this is a sample of {battery.tag}, not of {named.tag}",
                    "Name no battery, and the log's own are taken", "battery",
                )  # fmt: skip
            samples = found.setdefault(battery.tag, _Samples(battery, at_charger))
            if cells["charger"] and samples.charger is None:
                samples.charger = one(cells["charger"], Kind.CHARGER)
            _add(site, samples, cells["time"], cells["current"], per_hour)
            samples.rows.append(cells.row)
            warmth = cells.warmth("temperature")
            if warmth and (plain(warmth) or 0) > (plain(samples.highest) or -99):
                samples.highest = warmth
        except TagkitError as error:
            raise WrongInput(
                f"row {cells.row}: {error.problem}", error.remedy, error.where
            ) from None
    if not found:
        raise WrongInput("the log has no samples", "Name a charger's log of a charge's current")
    return list(found.values())


def _add(site: Site, samples: _Samples, time: str, current: str, per_hour: float) -> None:
    try:
        amperes = _finite(re.sub(r"\s*A$", "", current))
    except ValueError:
        raise WrongInput(
            f"“{current}” is not a current", "Write it in A, like 96.5", "current"
        ) from None
    if elapsed := re.fullmatch(r"(\d{1,3}):(\d\d)(?::(\d\d))?", time):
        hours, minutes, seconds = (int(part or 0) for part in elapsed.groups())
        since = hours + minutes / 60 + seconds / 3600
    else:
        try:
            since = _finite(time) / per_hour
        except ValueError:
            at = moment_in(site, time, "time")
            if samples.first is None and not samples.pairs:
                samples.first = at
            if samples.first is not None:
                samples.pairs.append(((at - samples.first) / timedelta(hours=1), amperes))
                return
            since = math.nan
    if samples.first is not None or math.isnan(since):
        raise WrongInput(
            "some samples have a time of day and others count from the start",
            "Write all of them in one way", "time",
        )  # fmt: skip
    samples.pairs.append((since, amperes))


def _trimmed(samples: _Samples, file: Path) -> _Samples:
    """Without what a charger wrote before it charged and after: hours from the first current on."""
    flows = [at for at, (_, amperes) in enumerate(samples.pairs) if amperes > IDLE_AMPERES]
    if len(samples.pairs) < 2 or not flows:
        raise WrongInput(
            "the log has fewer than two samples" if len(samples.pairs) < 2
            else "no current flows in this log",
            "Name a charger's log of a charge's current", str(file.name),
        )  # fmt: skip
    ah_from_log(samples.pairs)  # refuses currents and times that can't be
    _without_gaps(samples.pairs, samples.rows, file)
    kept = samples.pairs[max(0, flows[0] - 1) : flows[-1] + 2]
    begins = kept[0][0]
    return replace(
        samples,
        pairs=[(hours - begins, amperes) for hours, amperes in kept],
        first=samples.first + timedelta(hours=begins) if samples.first else None,
        begins=begins,
    )


def _without_gaps(pairs: Sequence[tuple[float, float]], rows: Sequence[int], file: Path) -> None:
    """WrongInput where current flowed and nobody wrote down how much."""
    numbered = zip(rows, pairs, strict=True)
    for (before, (earlier, gave)), (after, (later, gives)) in pairwise(numbered):
        gap = timedelta(hours=later - earlier)
        if gap > LONGEST_GAP + timedelta(seconds=1) and min(gave, gives) > IDLE_AMPERES:
            minutes, longest = gap / timedelta(minutes=1), LONGEST_GAP // timedelta(minutes=1)
            raise WrongInput(
                f"no sample for {minutes:.0f} min between row {before} and row {after}, and "
                "current flows on both sides: what flowed between is not known",
                f"Export the log with a sample at least every {longest} min, one charge of a "
                "battery in a file; check the unit of its times",
                file.name,
            )


def _match(site: Site, samples: _Samples, about: _About) -> tuple[RecordedCharge | None, datetime]:
    """The charge on record that the samples are of, if there is one; and when they begin."""
    known = charges_of(site, samples.battery.tag)
    hours = samples.pairs[-1][0]
    first = samples.first or (
        about.began + timedelta(hours=samples.begins) if about.began is not None else None
    )
    if first is None:
        # A log that counts hours is of the latest charge, unless somebody says when it began.
        if not known:
            raise WrongInput(
                f"the record has no charge of {samples.battery.tag}, and the log counts hours",
                "Say when this charge began", "--began",
            )  # fmt: skip
        return known[0], known[0].began + timedelta(hours=samples.begins)
    last = first + timedelta(hours=hours)
    for one in known:
        if abs(one.began - first) <= SAME_CHARGE:
            return one, first
        over = one.over or last
        if min(over, last) - max(one.began, first) > (last - first) / 2:
            return one, first
        if one.began < first - timedelta(days=3):
            break
    return None, first


def _planned(site: Site, samples: _Samples, about: _About) -> CurrentCharge:
    """What is to become of one battery's samples."""
    found, first = _match(site, samples, about)
    last = first + timedelta(hours=samples.pairs[-1][0])
    ah = ah_from_log(samples.pairs)
    notes: list[str] = []
    charger = samples.charger.tag if samples.charger else None
    if last > site.now() + timedelta(minutes=5):
        raise WrongInput("the samples run into the future", "Check the charger's clock", "time")
    if found is None or not (found.end and found.end.body["current"]):
        refuse_too_much(site, samples.battery, ah)
    if found is None:
        outcome = "logged"
        refuse_overlap(site, samples.battery.tag, first, last)
        notes += doubts(site, samples.battery, samples.charger, about.kind)
    else:
        charger = (found.start.body["charger"] if found.start else None) or charger
        if found.end is None:
            outcome = "ended"
            notes += off_the_scan(found.began, found.over, first, last)
        elif found.end.body["current"]:
            outcome = "here already"
        else:
            outcome = "completed"
            notes += off_the_scan(found.began, found.over, first, last)
            counted = plain(found.end.body["ah"])
            if counted and abs(ah - counted) > _DIFFERENT * counted:
                notes.append(
                    f"the charger counted {counted:.0f} Ah, its samples give {ah:.0f} Ah: the "
                    "count stays"
                )
    return CurrentCharge(
        outcome, samples.battery.tag, charger, first, last, ah,
        max(amperes for _, amperes in samples.pairs), len(samples.pairs),
        tuple((hours, amperes) for hours, amperes in thinned(samples.pairs)), tuple(notes),
    )  # fmt: skip


def _log(
    site: Site, writing: Writing, samples: _Samples, about: _About, file: str
) -> CurrentCharge:
    planned = _planned(site, samples, about)
    found, _ = _match(site, samples, about)
    end = found.end if found else None
    if planned.outcome == "here already":
        return replace(planned, event=end.id if end else None)
    state = writing.state(planned.battery) or samples.battery
    tags = [tag for tag in (planned.battery, planned.charger) if tag]
    started, ended, kind = planned.started, planned.ended, about.kind
    begun: dict[str, Any] = {"sg": None, "temperature": None}
    if found is None:
        writing.append(
            "charge_started",
            tags,
            {
                "battery": planned.battery,
                "charger": planned.charger,
                "charge_kind": kind,
                "imported_from": file,
            },
            at=started,
        )
    else:
        started = found.began
        ended = found.over or max(ended, started + timedelta(minutes=1))
        if found.start:
            kind = found.start.body["charge_kind"]
            begun = {name: found.start.body[name] for name in begun}
    before = dict(end.body) if end else {}
    ah = before.get("ah") or {"value": f"{planned.ah:.1f}", "unit": "Ah"}
    highest = before.get("highest_temperature") or samples.highest
    kind = before.get("charge_kind") or kind
    judged = judge_times(site, state, started, ended, kind, begun, plain(highest), plain(ah),
                         confirmed=bool(end and end.body["counts"]))  # fmt: skip
    if end is not None:
        replace_end(writing, end, file)
    event = writing.append(
        "charge_ended",
        list(end.tags) if end else tags,
        {
            **before,
            "battery": planned.battery,
            "charger": planned.charger,
            "ah": ah,
            "highest_temperature": highest,
            "current": [list(pair) for pair in planned.curve],
            "charge_kind": kind,
            "started_at": started.isoformat(),
            "imported_from": file,
            "replaces": end.id if end else None,
            **judged.body(),
        },
        at=ended,
        by=end.by if end else None,  # who saw it; that a log came later is the other's entry
    )
    notes = (*planned.notes, *(flag.sentence for flag in judged.flags))
    return replace(planned, notes=notes, event=event.id)


def _hours(text: str, first: datetime | None) -> tuple[float, datetime | None]:
    try:
        return _finite(text), first
    except ValueError:
        at = datetime.fromisoformat(text)
        begun = first or at
        return (at - begun) / timedelta(hours=1), begun


def _finite(text: str) -> float:
    figure = float(text.replace(",", "."))
    if not math.isfinite(figure):
        raise ValueError(f"“{text}” is not a figure")
    return figure
