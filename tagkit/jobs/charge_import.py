"""Charges taken from a charger's log (CSV or XLSX), a row for each charge.

Which column holds what is said once for each kind of file and kept in ``site.toml``. A charge
that somebody scanned already is not recorded twice: what the log knows more of (Ah, the highest
temperature) replaces the scanned end, which stays in the record, marked as cancelled.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from tagkit.assets.tag import Kind, parse_tag
from tagkit.errors import NotFound, TagkitError, WrongInput
from tagkit.jobs.care_facts import equalizing_of, plain, when
from tagkit.jobs.charge_flags import judge_times
from tagkit.jobs.fit import judge_states
from tagkit.jobs.log_columns import (
    CHARGES,
    Degrees,
    LogHead,
    columns_of,
    degrees_of,
    guessed,
    headings_of,
    plain_words,
    remember,
)
from tagkit.jobs.site import Site
from tagkit.jobs.tables import read_table
from tagkit.record.bodies import CHARGE_KINDS
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.record.writing import Writing
from tagkit.units import Dimension, parse_quantity

SAME_CHARGE = timedelta(minutes=20)
"""A scan this close to the log's times is of the same charge."""

_EARLIEST = 1990  # chargers have kept no logs before


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


def look_at_log(site: Site, file: Path) -> LogHead:
    """The head of a charger's log, for somebody who is to say what its columns hold."""
    kinds: list[Mapping[str, str]] = [*map(CHARGES.alone, site.settings.logs.values())]
    _, headings = headings_of(read_table(file), kinds)
    known = CHARGES.known(site, headings)
    columns = CHARGES.alone(site.settings.logs[known]) if known else guessed(headings)
    return LogHead(tuple(filter(None, headings)), dict(columns), known)


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
    table = read_table(file)
    top, headings = headings_of(
        table, [*map(CHARGES.alone, site.settings.logs.values()), dict(columns or {})]
    )
    name, mapped, new = columns_of(site, headings, dict(columns or {}), kind_of_file)
    place = {what: headings.index(heading) for what, heading in mapped.items()}
    degrees = degrees_of(site, name, mapped, temperature_unit)
    done: list[LogRow] = []
    charges: list[_Charge] = []
    for number, cells in table:
        if number <= top or not any(cell.strip() for cell in cells):
            continue
        try:
            charges.append(_read(site, number, cells, place, degrees))
        except TagkitError as error:
            done.append(LogRow(number, "refused", None, f"{error.problem}. {error.remedy}"))
    if not charges and not done:
        raise WrongInput(
            "the log has no charges", "Name a file with a row for each charge", str(file)
        )
    if done and not keep_good and not dry_run:
        raise WrongInput(
            f"row {done[0].row}: {done[0].note}",
            f"{len(done)} row(s) can't be taken; mend them, or take the good ones alone (--keep-good)",
            str(file),
        )
    if dry_run:
        done += [LogRow(one.row, _fate(site, one)[0], one.battery.tag) for one in charges]
        return LogTaken(name, mapped, False, tuple(sorted(done, key=lambda row: row.row)), True)
    with site.record.writing(by=by, station=station) as writing:
        for charge in sorted(charges, key=lambda one: one.ended):
            done.append(_log(site, writing, charge, called or file.name))
    if new:
        remember(site, name, {**mapped, **degrees.kept(mapped)})
    return LogTaken(name, mapped, new, tuple(sorted(done, key=lambda row: row.row)))


def _read(
    site: Site, number: int, cells: list[str], place: Mapping[str, int], degrees: Degrees
) -> _Charge:
    def cell(what: str) -> str:
        column = place.get(what)
        return cells[column].strip() if column is not None and column < len(cells) else ""

    def warmth(what: str) -> dict[str, Any] | None:
        unit = degrees.of(what, cell(what))
        return figure_in(cell(what), Dimension.TEMPERATURE, unit, "°C")

    battery = named_asset(site, cell("battery"), Kind.BATTERY)
    charger = named_asset(site, cell("charger"), Kind.CHARGER) if cell("charger") else None
    started, ended = (moment_in(site, cell(what), what) for what in ("started", "ended"))
    if ended <= started:
        raise WrongInput("the charge ends before it begins", "Check the columns started and ended")
    if ended > site.now() + timedelta(minutes=5):
        raise WrongInput(f"{cell('ended')} is in the future", "Check the charger's clock")
    kind = cell("kind").lower() or "conventional"
    kind = "equalize" if kind.startswith(("equal", "eq", "igual")) else kind
    if kind not in CHARGE_KINDS:
        kind = "conventional"
    return _Charge(
        number, battery, charger, started, ended, kind,
        figure_in(cell("ah"), Dimension.CAPACITY, "Ah", "Ah"),
        {"temperature": warmth("start_temperature"), "sg": None},
        warmth("highest_temperature"),
        warmth("end_temperature"),
    )  # fmt: skip


def named_asset(site: Site, words: str, kind: Kind) -> AssetState:
    """The asset that a file names by its number, maker's serial, own number or bay."""
    if not words:
        raise WrongInput(f"no {kind.noun} is named", "Fill the column, or leave the row out")
    found = None
    try:
        found = site.record.state(parse_tag(words))
    except WrongInput:
        found = site.record.by_maker_serial(kind, words) or site.record.by_fleet_number(words, kind)
        if found is None and kind is Kind.CHARGER:
            bays = [
                state
                for state in site.record.states(kind)
                if plain_words(str((state.nameplate.get("bay") or {}).get("value", "")))
                == plain_words(words)
                and not state.retired_at
            ]
            found = bays[0] if len(bays) == 1 else None
    if found is None or found.registered_at is None or found.kind != kind.value:
        raise NotFound(
            f"“{words}” is no {kind.noun} of this site", "Give its number or its maker's serial"
        )
    return found


_POSSIBLE = {Dimension.CAPACITY: (0, 5000), Dimension.TEMPERATURE: (-30, 100)}  # Ah, °C
_FORMS = ("%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M",
          "%Y/%m/%d %H:%M:%S", "%Y/%m/%d %H:%M")  # fmt: skip


def moment_in(site: Site, text: str, what: str) -> datetime:
    """A time as chargers write it, in the site's zone unless it has one; ``what``: its column."""
    found = None
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        for form in _FORMS:
            try:
                found = datetime.strptime(text, form)  # noqa: DTZ007 - the zone follows
                break
            except ValueError:
                continue
    if found is None:
        raise WrongInput(
            f"“{text}” is not a time that can be read in one way only",
            "Write times like “2031-05-04 14:20”",
            what,
        )
    if not _EARLIEST <= found.year < 9000:
        raise WrongInput(f"{text} is no time of a charge", "Check the charger's clock", what)
    if found.tzinfo is None:
        zone = site.timezone()
        early, late = (
            found.replace(tzinfo=zone, fold=fold) if zone else found.replace(fold=fold).astimezone()
            for fold in (0, 1)
        )
        if early.utcoffset() != late.utcoffset():
            raise WrongInput(
                f"clocks were changed at {text}, so it was twice or never",
                "Write it with its offset, like 2031-10-26 02:30+02:00",
                what,
            )
        found = early
    # Times of one zone are subtracted as the clock on the wall shows them, so not in that zone.
    return found.astimezone(UTC)


def figure_in(text: str, dimension: Dimension, unit: str, basic: str) -> dict[str, Any] | None:
    """A figure of a log as events keep it; WrongInput where no charge has it."""
    if not text:
        return None
    value = parse_quantity(text, dimension, unit)
    low, high = _POSSIBLE[dimension]
    if not low <= value.base() <= high:
        raise WrongInput(f"{value} is not plausible", f"Between {low} and {high} {basic} it may be")
    return value.stored()


def _fate(site: Site, charge: _Charge) -> tuple[str, Event | None, Event | None]:
    """What is to become of a row, and the scanned start and end of the same charge."""
    began = over = None
    for event in site.record.timeline(charge.battery.tag, 400):
        if event.voided or not event.known:
            continue
        at = when(event.moment)
        if event.kind == "charge_started" and abs(at - charge.started) <= SAME_CHARGE:
            began = event
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


def _log(site: Site, writing: Writing, charge: _Charge, file: str) -> LogRow:
    fate, began, over = _fate(site, charge)
    tag = charge.battery.tag
    if fate == "here already":
        return LogRow(charge.row, fate, tag, event=over.id if over else None)
    state = writing.state(tag) or charge.battery
    tags = [tag, *([charge.charger.tag] if charge.charger else [])]
    notes = doubts(site, state, charge.charger, charge.kind)
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
        body |= {**kept, "replaces": over.id}
    seen_by = over.by if over else None  # who scanned it saw it
    event = writing.append("charge_ended", tags, body, at=charge.ended, by=seen_by)
    words = "; ".join([*notes, *(flag.sentence for flag in judged.flags)])
    return LogRow(charge.row, fate, tag, words, event.id)


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
