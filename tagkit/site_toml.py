"""The file ``site.toml``: every setting written out with its comment, and read again.

Reading is strict: an unknown key, a wrong type or an impossible value is an error that names
the key and what is allowed, because a mistyped safety limit must not be passed over.
"""

from __future__ import annotations

import dataclasses
import tomllib
import zoneinfo
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from tagkit.assets.tag import check_site_code
from tagkit.errors import WrongInput
from tagkit.settings import RETIRED, Settings, parse_shifts


def parse_settings(text: str, where: str = "site.toml") -> Settings:
    """The settings written in ``text``; raises WrongInput with file, key and what is allowed."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise WrongInput(f"this is not TOML: {error}", "Mend that line", where) from None
    sections = {
        entry.name: entry for entry in dataclasses.fields(Settings) if entry.name not in LOG_KEYS
    }
    _refuse_unknown(tables, {**sections, **LOG_KEYS}, where)
    parts: dict[str, Any] = {
        section: _logs(tables.get(section, {}), section, where) for section in LOG_KEYS
    }
    for name, entry in sections.items():
        table = tables.get(name, {})
        if not isinstance(table, dict):
            raise WrongInput("this must be a section", f"Write [{name}]", f"{where}, {name}")
        kept = {key: value for key, value in table.items() if key not in RETIRED.get(name, ())}
        parts[name] = _section(entry.default_factory, kept, f"{where}, [{name}]")
    settings = Settings(**parts)
    with _naming(f"{where}, [site] code"):
        code = check_site_code(settings.site.code)
    with _naming(f"{where}, [labels]"):
        settings.payload_style()
    with _naming(f"{where}, [site] timezone"):
        _check_timezone(settings.site.timezone)
    parse_shifts(settings.schedule.shifts, f"{where}, [schedule] shifts")
    return dataclasses.replace(settings, site=dataclasses.replace(settings.site, code=code))


LOGS = "logs"
LOG_COLUMNS = (
    "battery", "charger", "started", "ended", "ah", "start_temperature", "highest_temperature",
    "end_temperature", "kind",
)  # fmt: skip
"""What a column of a charger's log can hold; battery, started and ended must be there."""
CURRENT_LOGS = "current_logs"
CURRENT_COLUMNS = ("time", "current", "battery", "charger", "temperature")
"""What a column of a log of one charge's current can hold; time and current must be there."""
LOG_UNIT = "temperature_unit"
LOG_UNITS = ("°C", "°F")
"""Which degrees the log's temperatures are, where the file itself does not say."""
TIME_UNIT = "time_unit"
TIME_UNITS = ("hours", "minutes", "seconds")
"""What the figures of a log's time are, where the file itself does not say."""
LOG_KEYS: Mapping[str, Mapping[str, tuple[str, ...]]] = {
    LOGS: {**dict.fromkeys(LOG_COLUMNS, ()), LOG_UNIT: LOG_UNITS},
    CURRENT_LOGS: {
        **dict.fromkeys(CURRENT_COLUMNS, ()), LOG_UNIT: LOG_UNITS, TIME_UNIT: TIME_UNITS,
    },
}  # fmt: skip
"""Sections with kinds of logs -> what is kept of each, and among what (any heading, if empty)."""
_LOG_WORDS = {
    LOGS: "# What stands in which column of a charger's log.",
    CURRENT_LOGS: "# What stands in which column of a log of one charge's current.",
    LOG_UNIT: "# Degrees of its temperatures where the file does not say: °C or °F.",
    TIME_UNIT: "# Unit of its times since the start: hours, minutes or seconds.",
}


def _logs(table: Any, section: str, where: str) -> dict[str, dict[str, str]]:
    """The columns of a section's logs, by kind of file."""
    if not isinstance(table, dict):
        raise WrongInput("this must be a section", f"Write [{section}.NAME]", f"{where}, {section}")
    for name, columns in table.items():
        place = f"{where}, [{section}.{name}]"
        if not isinstance(columns, dict):
            raise WrongInput("this must be a section", f"Write [{section}.NAME]", place)
        _refuse_unknown(columns, dict(LOG_KEYS[section]), place)
        for key, among in LOG_KEYS[section].items():
            if among and columns.get(key, among[0]) not in among:
                raise WrongInput(
                    f"“{columns[key]}” is not allowed", f"Allowed are: {', '.join(among)}",
                    f"{place} {key}",
                )  # fmt: skip
        if any(not isinstance(column, str) for column in columns.values()):
            raise WrongInput("a column is named by its heading", "Write it in quotes", place)
    return {name: dict(columns) for name, columns in table.items()}


def logs_text(name: str, columns: Mapping[str, str], section: str = LOGS) -> str:
    """The section of one kind of log, to be added to ``site.toml``."""
    lines = [f"\n[{section}.{_toml(name)}]", _LOG_WORDS[section]]
    for key in LOG_KEYS[section]:
        if key in columns:
            lines += [_LOG_WORDS[key]] if key in _LOG_WORDS else []
            lines.append(f"{key} = {_toml(columns[key])}")
    return "\n".join(lines) + "\n"


@contextmanager
def _naming(where: str) -> Iterator[None]:
    """Adds to an error the key it is about."""
    try:
        yield
    except WrongInput as error:
        error.where = error.where or where
        raise


def _check_timezone(name: str) -> None:
    if not name:
        return
    try:
        zoneinfo.ZoneInfo(name)
    except (ValueError, OSError, zoneinfo.ZoneInfoNotFoundError):
        raise WrongInput(
            f"“{name}” is not a time zone this computer knows",
            "Write its name like Etc/UTC, or leave it empty",
        ) from None


def _refuse_unknown(table: dict[str, Any], known: dict[str, Any], where: str) -> None:
    for key in table:
        if key not in known:
            raise WrongInput(
                f"“{key}” is not known here", f"Allowed are: {', '.join(known)}", where
            )


def _section(cls: Any, table: dict[str, Any], where: str) -> Any:
    entries = {entry.name: entry for entry in dataclasses.fields(cls)}
    _refuse_unknown(table, entries, where)
    values = {key: _value(entries[key], table[key], f"{where} {key}") for key in table}
    return cls(**values)


def _value(entry: dataclasses.Field[Any], value: Any, where: str) -> Any:
    default, meta = entry.default, entry.metadata
    if isinstance(default, float) and isinstance(value, int) and not isinstance(value, bool):
        value = float(value)
    if type(value) is not type(default):
        kinds = {str: "a text in quotes", float: "a number", bool: "true or false"}
        raise WrongInput(f"“{value}” can't stand here", f"Write {kinds[type(default)]}", where)
    if meta["among"] and value not in meta["among"]:
        raise WrongInput(
            f"“{value}” is not allowed",
            f"Allowed are: {', '.join(name or 'empty' for name in meta['among'])}",
            where,
        )
    if meta["low"] is not None and not meta["low"] <= value <= meta["high"]:
        raise WrongInput(
            f"{value} is not possible", f"Between {meta['low']} and {meta['high']}", where
        )
    return value


def settings_text(settings: Settings) -> str:
    """``site.toml`` with every setting written out and explained."""
    lines = [
        "# Settings of this site. The makers' instructions and local codes overrule all of it.",
    ]
    for entry in dataclasses.fields(settings):
        section = getattr(settings, entry.name)
        if entry.name in LOG_KEYS:
            continue
        lines += ["", f"[{entry.name}]"]
        for item in dataclasses.fields(section):
            lines.append(f"# {item.metadata['comment']}")
            if item.metadata["among"]:
                lines.append(f"# One of: {', '.join(filter(None, item.metadata['among']))}.")
            lines.append(f"{item.name} = {_toml(getattr(section, item.name))}")
    logs = [
        logs_text(name, columns, section)
        for section in LOG_KEYS
        for name, columns in getattr(settings, section).items()
    ]
    return "\n".join(lines) + "\n" + "".join(logs)


def _toml(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return '"' + "".join(_escaped(character) for character in value) + '"'
    return str(value)


def _escaped(character: str) -> str:
    """A character within a TOML basic string (TOML 1.0, "String")."""
    if character in '"\\':
        return f"\\{character}"
    if character < " " or character == "\x7f":
        return f"\\u{ord(character):04x}"
    return character
