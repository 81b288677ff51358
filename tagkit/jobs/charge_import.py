"""Charges taken from a charger's log (CSV or XLSX), a row for each charge.

Which column holds what is said once for each kind of file and kept in ``site.toml``. A charge
that somebody scanned already is not recorded twice: what the log knows more of (Ah, the highest
temperature) replaces the scanned end, which stays in the record, marked as cancelled.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.errors import TagkitError, WrongInput
from tagkit.jobs.care_facts import plain, when
from tagkit.jobs.charge import highest_amperes, most_ah
from tagkit.jobs.charge_flags import judge_times
from tagkit.jobs.log_columns import CHARGES
from tagkit.jobs.log_file import LogCells, LogFile, moment_in, named_asset, open_log
from tagkit.jobs.logged_charges import (
    OVERLAP,
    SAME_CHARGE,
    charges_of,
    doubts,
    off_the_scan,
    refuse_overlap,
    replace_end,
)
from tagkit.jobs.site import Site
from tagkit.record.bodies import CHARGE_KINDS
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.record.writing import Writing
from tagkit.units import Dimension

LONGEST_HOURS = 96.0
"""Of a charge; a row that says more has a wrong column or clock."""


@dataclass(frozen=True)
class LogRow:
    """A row of the log and what became of it: logged, completed, here already, refused."""

    row: int
    outcome: str
    battery: str | None
    note: str = ""
    event: str | None = None

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit charge import --json`` prints it."""
        return {
            "row": self.row, "outcome": self.outcome, "battery": self.battery, "note": self.note,
            "event": self.event,
        }  # fmt: skip


@dataclass(frozen=True)
class LogTaken:
    """What an import did."""

    kind_of_file: str
    columns: dict[str, str]
    remembered: bool
    rows: tuple[LogRow, ...]
    dry_run: bool = False

    def count(self, outcome: str) -> int:
        """Rows with this outcome."""
        return sum(row.outcome == outcome for row in self.rows)

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit charge import --json`` prints it."""
        return {
            "kind_of_file": self.kind_of_file,
            "columns": self.columns,
            "remembered": self.remembered,
            "dry_run": self.dry_run,
            "logged": self.count("logged"),
            "completed": self.count("completed"),
            "here_already": self.count("here already"),
            "refused": self.count("refused"),
            "rows": [row.to_json() for row in self.rows],
        }


@dataclass(frozen=True)
class _Charge:
    """A row as read."""

    row: int
    battery: AssetState
    charger: AssetState | None
    started: datetime
    ended: datetime
    kind: str
    ah: dict[str, Any] | None
    begun: dict[str, Any] = field(default_factory=dict)
    highest: dict[str, Any] | None = None
    end_temperature: dict[str, Any] | None = None


def import_charges(
    site: Site,
    file: Path,
    columns: Mapping[str, str] | None = None,
    kind_of_file: str | None = None,
    *,
    temperature_unit: str | None = None,
    by: str,
    station: str,
    dry_run: bool = False,
    keep_good: bool = False,
    called: str = "",
) -> LogTaken:
    """Record the charges of a charger's log.

    ``columns`` (what -> heading) is needed once for a kind of file; it is then remembered under
    ``kind_of_file``, with ``temperature_unit``, the degrees of temperatures that have none in the
    file: a site with customary units is asked for it, as both are in use there. All rows or
    none, unless ``keep_good``; WrongInput names the first bad row. ``called``: the file's name,
    where it came under another.
    """
    log = open_log(site, file, CHARGES, columns, kind_of_file, temperature_unit)
    charges, done = _judged(site, log)
    if not charges and not done:
        raise WrongInput(
            "the log has no charges", "Name a file with a row for each charge", str(file)
        )
    if done and not keep_good and not dry_run:
        raise WrongInput(
            f"row {done[0].row}: {done[0].note}",
            f"Rows that can't be taken: {len(done)}, all listed by --dry-run; mend them, or take the "
            "good ones alone (--keep-good)",
            str(file),
        )
    if dry_run:
        done += [LogRow(one.row, _fate(site, one)[0], one.battery.tag) for one in charges]
    else:
        with site.record.writing(by=by, station=station) as writing:
            for charge in sorted(charges, key=lambda one: one.ended):
                done.append(_log(site, writing, charge, called or file.name))
        log.keep(site)
    rows = tuple(sorted(done, key=lambda row: row.row))
    return LogTaken(log.kind_of_file, log.columns, log.new and not dry_run, rows, dry_run)


def _judged(site: Site, log: LogFile) -> tuple[list[_Charge], list[LogRow]]:
    """The charges of the log, and the rows that can be none."""
    charges: list[_Charge] = []
    refused: list[LogRow] = []
    of_battery: dict[str, list[_Charge]] = {}
    for cells in log.rows():
        tag = None
        try:
            charge = _read(site, cells)
            tag = charge.battery.tag
            _check_figures(site, charge)
            earlier = of_battery.setdefault(charge.battery.tag, [])
            _check_times(site, charge, earlier)
        except TagkitError as error:
            refused.append(LogRow(cells.row, "refused", tag, f"{error.problem}. {error.remedy}"))
        else:
            earlier.append(charge)
            charges.append(charge)
    return charges, refused


def _read(site: Site, cells: LogCells) -> _Charge:
    battery = named_asset(site, cells["battery"], Kind.BATTERY)
    charger = named_asset(site, cells["charger"], Kind.CHARGER) if cells["charger"] else None
    started, ended = (moment_in(site, cells[what], what) for what in ("started", "ended"))
    if ended <= started:
        raise WrongInput("the charge ends before it begins", "Check the columns started and ended")
    if ended > site.now() + timedelta(minutes=5):
        raise WrongInput(f"{cells['ended']} is in the future", "Check the charger's clock")
    kind = cells["kind"].lower() or "conventional"
    kind = "equalize" if kind.startswith(("equal", "eq", "igual")) else kind
    if kind not in CHARGE_KINDS:
        kind = "conventional"
    return _Charge(
        cells.row, battery, charger, started, ended, kind,
        cells.figure("ah", Dimension.CAPACITY, "Ah"),
        {"temperature": cells.warmth("start_temperature"), "sg": None},
        cells.warmth("highest_temperature"),
        cells.warmth("end_temperature"),
    )  # fmt: skip


def _check_figures(site: Site, charge: _Charge) -> None:
    """WrongInput for what no charge of this battery can have been."""
    hours = (charge.ended - charge.started) / timedelta(hours=1)
    if hours > LONGEST_HOURS:
        raise WrongInput(
            f"a charge of {hours:.0f} h is not plausible: {LONGEST_HOURS:.0f} h at most",
            "Check the columns started and ended, and the charger's clock",
        )
    ah, most = plain(charge.ah), most_ah(site, charge.battery)
    if ah and most and ah > most:
        raise WrongInput(
            f"{ah:.0f} Ah are more than {charge.battery.tag} takes, which is {most:.0f} Ah at most",
            "Check the battery and the column of the Ah; where the capacity of its nameplate is "
            "wrong, correct that first",
        )
    amperes, limit = (ah or 0) / hours, highest_amperes(site, charge.battery)
    if amperes > limit:
        raise WrongInput(
            f"{ah:.0f} Ah in {hours * 60:.0f} min are {amperes:.0f} A, more than {limit:.0f} A that "
            f"{charge.battery.tag} can take",
            "Check the columns of the Ah and of the times",
        )
    highest = plain(charge.highest)
    for fact in (charge.begun["temperature"], charge.end_temperature):
        warm = plain(fact)
        if highest is not None and warm is not None and warm > highest + 1:
            raise WrongInput(
                f"its highest temperature, {highest:.0f} °C, is below another of it, {warm:.0f} °C",
                "Check the columns of the temperatures, and their degrees",
            )


def _check_times(site: Site, charge: _Charge, earlier: Sequence[_Charge]) -> None:
    """WrongInput where the battery would be charged twice at a time, by the log or the record."""
    for one in earlier:
        common = min(one.ended, charge.ended) - max(one.started, charge.started)
        same = max(abs(one.started - charge.started), abs(one.ended - charge.ended)) <= SAME_CHARGE
        if common > OVERLAP and not same:
            raise WrongInput(
                f"it overlaps row {one.row}, a charge of the same battery",
                "Check the battery and the times of both",
            )
    _, began, over = _fate(site, charge)
    if began is None and over is None:
        refuse_overlap(site, charge.battery.tag, charge.started, charge.ended)


def _fate(site: Site, charge: _Charge) -> tuple[str, Event | None, Event | None]:
    """What is to become of a row, and the scanned start and end of the same charge."""
    began = over = None
    for one in charges_of(site, charge.battery.tag):
        if one.start and abs(one.began - charge.started) <= SAME_CHARGE:
            began, over = one.start, one.end  # whenever somebody came by and scanned its end
    for event in site.record.timeline(charge.battery.tag, 400):
        if event.voided or not event.known:
            continue
        at = when(event.moment)
        if event.kind == "charge_ended" and abs(at - charge.ended) <= SAME_CHARGE:
            over = event
        if at < charge.started - timedelta(days=2):
            break
    if over is not None:
        more = any(
            value is not None and over.body[name] is None
            for name, value in (("ah", charge.ah), ("highest_temperature", charge.highest))
        )
        return ("completed" if more else "here already"), began, over
    return "logged", began, None


_COUNTED = ("ah", "highest_temperature", "current")
"""What the record keeps of a scanned charge where the log has nothing."""


def _log(site: Site, writing: Writing, charge: _Charge, file: str) -> LogRow:
    fate, began, over = _fate(site, charge)
    tag = charge.battery.tag
    if fate == "here already":
        return LogRow(charge.row, fate, tag, event=over.id if over else None)
    state = writing.state(tag) or charge.battery
    tags = [tag, *([charge.charger.tag] if charge.charger else [])]
    notes = doubts(site, state, charge.charger, charge.kind)
    if began is not None:
        scanned = when(over.moment) if over else None
        notes += off_the_scan(when(began.moment), scanned, charge.started, charge.ended)
    if began is None:
        writing.append(
            "charge_started",
            tags,
            {
                "battery": tag,
                "charger": charge.charger.tag if charge.charger else None,
                "charge_kind": charge.kind,
                "temperature": charge.begun["temperature"],
                "imported_from": file,
            },
            at=charge.started,
        )
        begun = charge.begun
    else:
        begun = {"sg": began.body["sg"], "temperature": began.body["temperature"]}
    judged = judge_times(
        site, state, charge.started, charge.ended, charge.kind, begun,
        plain(charge.highest), plain(charge.ah),
    )  # fmt: skip
    body = {
        "battery": tag,
        "charger": charge.charger.tag if charge.charger else None,
        "ah": charge.ah,
        "highest_temperature": charge.highest,
        "temperature": charge.end_temperature,
        "charge_kind": charge.kind,
        "started_at": charge.started.isoformat(),
        "imported_from": file,
        **judged.body(),
    }
    if over is not None:
        replace_end(writing, over, file)
        kept = {name: over.body[name] for name in ("temperature", "sg") if over.body[name]}
        lacking = {name: over.body[name] for name in _COUNTED if not body.get(name)}
        body |= {**kept, **lacking, "replaces": over.id}
    seen_by = over.by if over else None  # who scanned it saw it
    event = writing.append("charge_ended", tags, body, at=charge.ended, by=seen_by)
    words = "; ".join([*notes, *(flag.sentence for flag in judged.flags)])
    return LogRow(charge.row, fate, tag, words, event.id)
