"""The site's settings, kept in ``site.toml`` with every default written out and commented.

Reading is strict: an unknown key, a wrong type or an impossible value is an error that names
the key and what is allowed, because a mistyped safety limit must not be passed over.
"""

from __future__ import annotations

import dataclasses
import tomllib
import zoneinfo
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any

from tagkit.assets.payload import PayloadForm, PayloadStyle
from tagkit.assets.tag import check_site_code
from tagkit.errors import WrongInput


def _setting(default: Any, comment: str, low: float | None = None, high: float | None = None,
             among: tuple[str, ...] = ()) -> Any:  # fmt: skip
    return field(
        default=default, metadata={"comment": comment, "low": low, "high": high, "among": among}
    )


@dataclass(frozen=True)
class SiteSettings:
    """Who and where."""

    code: str = _setting("", "Site code, 2 to 4 letters; part of every number. Given out once.")
    name: str = _setting("", "Name of the site, as printed on reports.")
    language: str = _setting("en", "Language of the site's labels.", among=("en", "es"))
    units: str = _setting(
        "metric",
        "Units of the site: metric prints on A4, us on Letter, unless a template is named.",
        among=("metric", "us"),
    )
    timezone: str = _setting(
        "", "Time zone of what is shown, like Etc/UTC; empty: this computer's."
    )


@dataclass(frozen=True)
class StationSettings:
    """Defaults of the options --station and --by."""

    name: str = _setting("desk", "Name under which this computer writes into the record.")
    by: str = _setting("", "Person code used when --by is not given; empty: --by is required.")


@dataclass(frozen=True)
class LabelSettings:
    """What labels carry."""

    payload: str = _setting(
        "bare",
        "What the symbol says: the bare number, a link that ends in it, or a GS1 Digital Link.",
        among=tuple(form.value for form in PayloadForm),
    )
    language: str = _setting(
        "", "Language of labels; empty: the site's.", among=("", "en", "es", "en+es")
    )
    host: str = _setting("", "Host name in links, like labels.example.")
    gs1_prefix: str = _setting("", "GS1 company prefix, for the digital link.")


@dataclass(frozen=True)
class FitSettings:
    """Limits of the fit check."""

    play_mm: float = _setting(
        13.0,
        "Largest total play of a battery in its compartment, mm (common practice: 13 mm, 1/2 in).",
        0,
        100,
    )
    scale_difference_percent: float = _setting(
        2.0, "Largest difference between stamped weight and scale before it is settled, %.", 0, 20
    )
    scale_error_percent: float = _setting(
        1.0, "Error of a scale that states none, % of the reading.", 0, 10
    )


@dataclass(frozen=True)
class ReadinessSettings:
    """When a battery that fits may be used."""

    release_celsius: float = _setting(
        43.0, "Electrolyte temperature below which a charged battery may be used, °C.", 20, 60
    )
    rest_factor: float = _setting(
        1.0, "Rest after a conventional charge, as a multiple of the charging time.", 0, 4
    )
    shortest_rest_hours: float = _setting(0.0, "Rest after any conventional charge, h.", 0, 24)
    longest_rest_hours: float = _setting(
        12.0, "Rest asked for at most, h, however long the charge took.", 0, 72
    )
    cool_ends_rest: bool = _setting(
        False, "Whether a measured temperature below the release value ends the rest."
    )
    charge_start_celsius: float = _setting(
        43.0, "Highest electrolyte temperature at the start of a charge, °C.", 20, 60
    )
    charge_cold_celsius: float = _setting(
        10.0, "Below this a charge stays incomplete, °C.", -30, 30
    )


@dataclass(frozen=True)
class ConditionSettings:
    """When a label in service is to be reprinted."""

    unused_soon: float = _setting(
        0.50,
        "Error correction left below which a label is reprinted soon (ISO/IEC 15415: below B).",
        0,
        1,
    )
    unused_now: float = _setting(
        0.25, "Error correction left below which it is reprinted now (below D).", 0, 1
    )
    contrast_soon: float = _setting(
        0.40, "Contrast, (light - dark) / light, below which it is reprinted soon.", 0, 1
    )
    contrast_now: float = _setting(0.20, "Contrast below which it is reprinted now.", 0, 1)
    pattern_soon: float = _setting(
        0.14,
        "Share of a finder pattern damaged above which it is reprinted soon (a seventh).",
        0,
        1,
    )
    pattern_now: float = _setting(
        0.28, "Share of a finder pattern damaged above which it is reprinted now.", 0, 1
    )
    frame_soon: float = _setting(
        0.50, "Share of the printed frame left below which it is reprinted soon.", 0, 1
    )


@dataclass(frozen=True)
class Settings:
    """Everything in site.toml."""

    site: SiteSettings = field(default_factory=SiteSettings)
    station: StationSettings = field(default_factory=StationSettings)
    labels: LabelSettings = field(default_factory=LabelSettings)
    fit: FitSettings = field(default_factory=FitSettings)
    readiness: ReadinessSettings = field(default_factory=ReadinessSettings)
    condition: ConditionSettings = field(default_factory=ConditionSettings)

    def payload_style(self) -> PayloadStyle:
        """How this site writes tags into symbols."""
        return PayloadStyle(
            PayloadForm(self.labels.payload), self.labels.host, self.labels.gs1_prefix
        )


def parse_settings(text: str, where: str = "site.toml") -> Settings:
    """The settings written in ``text``; raises WrongInput with file, key and what is allowed."""
    try:
        tables = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise WrongInput(f"this is not TOML: {error}", "Mend that line", where) from None
    sections = {entry.name: entry for entry in dataclasses.fields(Settings)}
    _refuse_unknown(tables, sections, where)
    parts = {}
    for name, entry in sections.items():
        table = tables.get(name, {})
        if not isinstance(table, dict):
            raise WrongInput("this must be a section", f"Write [{name}]", f"{where}, {name}")
        parts[name] = _section(entry.default_factory, table, f"{where}, [{name}]")
    settings = Settings(**parts)
    with _naming(f"{where}, [site] code"):
        code = check_site_code(settings.site.code)
    with _naming(f"{where}, [labels]"):
        settings.payload_style()
    with _naming(f"{where}, [site] timezone"):
        _check_timezone(settings.site.timezone)
    return dataclasses.replace(settings, site=dataclasses.replace(settings.site, code=code))


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
        lines += ["", f"[{entry.name}]"]
        for item in dataclasses.fields(section):
            lines.append(f"# {item.metadata['comment']}")
            if item.metadata["among"]:
                lines.append(f"# One of: {', '.join(filter(None, item.metadata['among']))}.")
            lines.append(f"{item.name} = {_toml(getattr(section, item.name))}")
    return "\n".join(lines) + "\n"


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
