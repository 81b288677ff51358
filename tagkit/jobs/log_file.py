"""A charger's log as a file, whichever form it has: opened, its columns known, its cells read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tagkit.assets.tag import Kind, parse_tag
from tagkit.errors import NotFound, WrongInput
from tagkit.jobs.log_columns import (
    Degrees,
    LogForm,
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
from tagkit.record.state import AssetState
from tagkit.units import Dimension, parse_quantity

_EARLIEST = 1990  # chargers have kept no logs before
_POSSIBLE = {Dimension.CAPACITY: (0, 5000), Dimension.TEMPERATURE: (-30, 100)}  # Ah, °C
_FORMS = ("%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M",
          "%Y/%m/%d %H:%M:%S", "%Y/%m/%d %H:%M")  # fmt: skip


@dataclass(frozen=True)
class LogCells:
    """A row of a log: its number in the file, and what stands in it."""

    row: int
    cells: list[str]
    _place: Mapping[str, int]
    _degrees: Degrees

    def __getitem__(self, what: str) -> str:
        """The text of a column, empty where there is none."""
        column = self._place.get(what)
        return self.cells[column].strip() if column is not None and column < len(self.cells) else ""

    def figure(self, what: str, dimension: Dimension, unit: str) -> dict[str, Any] | None:
        """The figure of a column as events keep it; ``unit`` counts where none is written."""
        return figure_in(self[what], dimension, unit, unit)

    def warmth(self, what: str) -> dict[str, Any] | None:
        """A temperature, in the degrees of its column."""
        return figure_in(
            self[what], Dimension.TEMPERATURE, self._degrees.of(what, self[what]), "°C"
        )


@dataclass(frozen=True)
class LogFile:
    """A log whose columns are known. ``new``: they were said with it and are to be kept."""

    form: LogForm
    kind_of_file: str
    columns: dict[str, str]
    new: bool
    _rows: list[tuple[int, list[str]]]
    _place: Mapping[str, int]
    _degrees: Degrees

    def rows(self) -> Iterator[LogCells]:
        """Those below the headings that are not empty."""
        for number, cells in self._rows:
            if any(cell.strip() for cell in cells):
                yield LogCells(number, cells, self._place, self._degrees)

    def keep(self, site: Site, **more: str) -> None:
        """Keeps the columns for the next file of this kind, if they are new; ``more`` with them."""
        if self.new:
            kept = {**self.columns, **self._degrees.kept(self.columns), **more}
            remember(site, self.kind_of_file, kept, self.form)


def look_at(site: Site, file: Path, form: LogForm) -> LogHead:
    """The head of a log, for somebody who is to say what its columns hold."""
    kinds = form.kinds(site)
    _, headings = headings_of(read_table(file), [*map(form.alone, kinds.values())], form)
    known = form.known(site, headings)
    columns = form.alone(kinds[known]) if known else guessed(headings, None, form)
    return LogHead(tuple(filter(None, headings)), columns, known)


def open_log(
    site: Site,
    file: Path,
    form: LogForm,
    columns: Mapping[str, str] | None,
    kind_of_file: str | None,
    temperature_unit: str | None,
) -> LogFile:
    """The log in ``file``; WrongInput where its columns are not known and not given."""
    table, given = read_table(file), dict(columns or {})
    kinds = [*map(form.alone, form.kinds(site).values())]
    top, headings = headings_of(table, [*kinds, given], form)
    name, mapped, new = columns_of(site, headings, given, kind_of_file, form)
    degrees = degrees_of(site, name, mapped, temperature_unit, form)
    place = {what: headings.index(heading) for what, heading in mapped.items()}
    return LogFile(form, name, mapped, new, [row for row in table if row[0] > top], place, degrees)


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
