"""What stands in which column of a charger's log, and in which degrees: said once for a kind of
file, kept in ``site.toml``.

There are two forms of log: a row for each charge, and a row for each sample of one charge's
current.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tagkit.errors import WrongInput
from tagkit.jobs.log_guesses import CURRENT_GUESSES, GUESSES
from tagkit.jobs.site import SETTINGS_FILE, Site
from tagkit.site_toml import (
    CURRENT_COLUMNS,
    CURRENT_LOGS,
    LOG_COLUMNS,
    LOG_UNIT,
    LOG_UNITS,
    LOGS,
    logs_text,
    parse_settings,
)
from tagkit.whole_file import whole_file


@dataclass(frozen=True)
class LogForm:
    """A form of log: what its columns can hold, which must be there, and by which headings they
    are known unasked. ``section``: where ``site.toml`` keeps its kinds."""

    section: str
    columns: tuple[str, ...]
    needed: tuple[str, ...]
    guesses: Mapping[str, tuple[str, ...]]
    usual_name: str

    def kinds(self, site: Site) -> Mapping[str, Mapping[str, str]]:
        """The kinds of file that the site knows, with all that is kept of each."""
        found: Mapping[str, Mapping[str, str]] = getattr(site.settings, self.section)
        return found

    def alone(self, kept: Mapping[str, str]) -> dict[str, str]:
        """The columns alone, of what is kept of a kind of file."""
        return {what: heading for what, heading in kept.items() if what in self.columns}

    def known(self, site: Site, headings: list[str]) -> str | None:
        """The kind of file that has these columns, if one has."""
        return next(
            (
                name
                for name, kept in self.kinds(site).items()
                if set(self.alone(kept).values()) <= set(headings)
            ),
            None,
        )


CHARGES = LogForm(LOGS, LOG_COLUMNS, ("battery", "started", "ended"), GUESSES, "charger-log")
CURRENT = LogForm(
    CURRENT_LOGS, CURRENT_COLUMNS, ("time", "current"), CURRENT_GUESSES, "current-log"
)


@dataclass(frozen=True)
class LogHead:
    """What a log's first rows tell: its headings, and which column holds what as far as that is
    known. ``known``: the kind of file of ``site.toml`` that has these columns, if one has."""

    headings: tuple[str, ...]
    columns: dict[str, str]
    known: str | None


def headings_of(
    table: list[tuple[int, list[str]]], known: Sequence[Mapping[str, str]], form: LogForm = CHARGES
) -> tuple[int, list[str]]:
    """The row of headings: the first that has all of a known kind's, else the first not empty."""
    first: tuple[int, list[str]] | None = None
    for number, row in table[:30]:
        cells = [" ".join(cell.split()) for cell in row]
        if not any(cells):
            continue
        first = first or (number, cells)
        if any(columns and set(columns.values()) <= set(cells) for columns in known):
            return number, cells
        if all(
            any(plain_words(cell) in form.guesses[what] for cell in cells) for what in form.needed
        ):
            return number, cells
    if first is None:
        raise WrongInput("the file is empty", "Name a charger's log")
    return first


def columns_of(
    site: Site,
    headings: list[str],
    given: dict[str, str],
    name: str | None,
    form: LogForm = CHARGES,
) -> tuple[str, dict[str, str], bool]:
    """Name of the kind of file, its columns, and whether they are new."""
    for what, heading in given.items():
        if what not in form.columns:
            raise WrongInput(
                f"“{what}” is nothing a log holds", f"One of: {', '.join(form.columns)}", "--column"
            )
        if heading not in headings:
            raise WrongInput(
                f"the log has no column “{heading}”", f"It has: {', '.join(filter(None, headings))}",
                "--column",
            )  # fmt: skip
    for known, kept in form.kinds(site).items():
        columns = form.alone(kept)
        if (name is None or known == name) and set(columns.values()) <= set(headings):
            if given and any(columns.get(what) != heading for what, heading in given.items()):
                raise WrongInput(
                    f"the columns of “{known}” are in {SETTINGS_FILE} otherwise",
                    f"Change [{form.section}.{known}] there, or choose another name with --as",
                    "--column",
                )
            return known, dict(columns), False
    mapped = guessed(headings, given, form)
    missing = [what for what in form.needed if what not in mapped]
    if missing:
        raise WrongInput(
            f"which column holds {', '.join(missing)} is not known",
            f'Say it once, like --column {missing[0]}="HEADING"; the file has: '
            f"{', '.join(filter(None, headings))}",
            "--column",
        )
    return (
        name or form.usual_name,
        {what: mapped[what] for what in form.columns if what in mapped},
        True,
    )


def guessed(
    headings: list[str], given: Mapping[str, str] | None = None, form: LogForm = CHARGES
) -> dict[str, str]:
    """What the columns hold, as given, else by headings that leave no doubt."""
    mapped = dict(given or {})
    for what, words in form.guesses.items():
        matching = [heading for heading in headings if plain_words(heading) in words]
        if what not in mapped and len(matching) == 1 and matching[0] not in mapped.values():
            mapped[what] = matching[0]
    return mapped


def remember(site: Site, name: str, kept: Mapping[str, str], form: LogForm = CHARGES) -> None:
    """Adds what is kept of a kind of file at the end of ``site.toml``, leaving the rest alone."""
    path = site.directory / SETTINGS_FILE
    text = path.read_text(encoding="utf-8-sig")
    text = text.rstrip("\n") + "\n" + logs_text(name, kept, form.section)
    parse_settings(text, str(path))
    with whole_file(path) as part:
        part.write_text(text, encoding="utf-8", newline="\n")


@dataclass(frozen=True)
class Degrees:
    """Which degrees temperatures are that have no unit in their cell: by the heading of their
    column, else as the kind of file usually has them; None: nobody has said."""

    usual: str | None
    by_column: Mapping[str, str]
    kind_of_file: str
    new: bool
    section: str = LOGS

    def kept(self, columns: Mapping[str, str]) -> dict[str, str]:
        """What is kept of it beside ``columns``."""
        any_bare = any("temperature" in what and what not in self.by_column for what in columns)
        return {LOG_UNIT: self.usual} if self.usual and any_bare else {}

    def of(self, what: str, text: str) -> str:
        """Those of a cell; WrongInput asks where they are not known."""
        found = self.by_column.get(what) or self.usual
        if found is not None or not _BARE.fullmatch(text):
            return found or LOG_UNITS[0]
        how = (
            "Say it once with --temperature-unit °C or °F" if self.new
            else f"Write {LOG_UNIT} = \"°F\" (or \"°C\") under [{self.section}.{self.kind_of_file}] in "
            f"{SETTINGS_FILE}"
        )  # fmt: skip
        raise WrongInput(f"“{text}” does not say whether it is °C or °F", how)


_BARE = re.compile(r"[-+]?[\d.,]+")
_HEADED = re.compile(r"°\s*([cf])\b|\b(?:deg\s*)?([cf])\b|(celsius|fahrenheit)", re.IGNORECASE)


def degrees_of(
    site: Site,
    name: str,
    mapped: Mapping[str, str],
    given: str | None,
    form: LogForm = CHARGES,
) -> Degrees:
    if given is not None and given not in LOG_UNITS:
        raise WrongInput(
            f"“{given}” are no degrees of a log", f"One of: {', '.join(LOG_UNITS)}",
            "--temperature-unit",
        )  # fmt: skip
    kept = form.kinds(site).get(name)
    stated = (kept or {}).get(LOG_UNIT)
    if given and kept is not None and given != (stated or given):
        raise WrongInput(
            f"the degrees of “{name}” are in {SETTINGS_FILE} otherwise",
            f"Change {LOG_UNIT} under [{form.section}.{name}] there", "--temperature-unit",
        )  # fmt: skip
    by_column = {}
    for what, heading in mapped.items():
        if "temperature" in what and (match := _HEADED.search(heading)):
            letter = next(filter(None, match.groups()))[0].upper()
            by_column[what] = f"°{letter}"
    usual = given or stated or (None if site.settings.site.units == "us" else LOG_UNITS[0])
    return Degrees(usual, by_column, name, kept is None, form.section)


def plain_words(words: str) -> str:
    return " ".join(words.replace("_", " ").replace(".", " ").lower().split())
