"""What can be stated about an asset: one specification per field, with its limits.

A nameplate is a frozen dataclass whose fields are ``Stated`` facts or None for unknown; each
field carries its :class:`Field` in the dataclass metadata. Reading text into a fact, checking
it and storing it need nothing but that specification.
"""

from __future__ import annotations

import dataclasses
import functools
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from types import MappingProxyType
from typing import Any, ClassVar, Protocol, TypeVar

from tagkit.assets.stated import Source, Stated
from tagkit.errors import WrongInput
from tagkit.units import (
    Ambiguous,
    DecimalMark,
    Dimension,
    Quantity,
    parse_number,
    parse_quantity,
    unit_named,
)


@dataclass(frozen=True)
class Field:
    """One thing that can be stated.

    ``low`` and ``high`` are in the dimension's storage unit (kg, mm, V, Ah, A, °C), inclusive;
    what lies outside is impossible, not merely unusual.
    """

    label: str
    reads: str  # quantity | quantities | number | text | choice | choices | flag | date
    dimension: Dimension = Dimension.COUNT
    low: float = 0.0
    high: float = 0.0
    choices: Mapping[str, str] = dataclasses.field(default_factory=dict)  # value -> words
    synonyms: Mapping[str, str] = dataclasses.field(default_factory=dict)  # spelling -> value


def quantity(label: str, dimension: Dimension, low: float, high: float) -> Any:
    """A dataclass field that states a quantity between ``low`` and ``high``."""
    return _declare(Field(label, "quantity", dimension, low, high))


def quantities(label: str, dimension: Dimension, low: float, high: float) -> Any:
    """A dataclass field that states one or more quantities."""
    return _declare(Field(label, "quantities", dimension, low, high))


def number(label: str, low: int, high: int) -> Any:
    """A dataclass field that states a whole number."""
    return _declare(Field(label, "number", Dimension.COUNT, low, high))


def text(label: str) -> Any:
    """A dataclass field that states words as read off the asset."""
    return _declare(Field(label, "text"))


def choice(label: str, choices: Mapping[str, str], synonyms: Mapping[str, str]) -> Any:
    """A dataclass field that states one of ``choices``."""
    return _declare(Field(label, "choice", choices=choices, synonyms=synonyms))


def choices(label: str, choices: Mapping[str, str], synonyms: Mapping[str, str]) -> Any:
    """A dataclass field that states some of ``choices``."""
    return _declare(Field(label, "choices", choices=choices, synonyms=synonyms))


def flag(label: str) -> Any:
    """A dataclass field that states yes or no."""
    return _declare(Field(label, "flag"))


def day(label: str) -> Any:
    """A dataclass field that states a date (YYYY, YYYY-MM or YYYY-MM-DD)."""
    return _declare(Field(label, "date"))


def _declare(spec: Field) -> Any:
    return dataclasses.field(default=None, metadata={"field": spec})


class Nameplate(Protocol):
    """Any of the nameplate dataclasses."""

    __dataclass_fields__: ClassVar[dict[str, Any]]


Plate = TypeVar("Plate", bound=Nameplate)


def fields_of(plate: type[Nameplate] | Nameplate) -> Mapping[str, Field]:
    """Name -> specification, in order of declaration."""
    return _fields_of(plate if isinstance(plate, type) else type(plate))


@functools.cache
def _fields_of(plate: type[Nameplate]) -> Mapping[str, Field]:
    return MappingProxyType(
        {
            entry.name: entry.metadata["field"]
            for entry in dataclasses.fields(plate)
            if "field" in entry.metadata
        }
    )


def read_fact(
    spec: Field,
    written: str,
    source: Source,
    unit: str | None = None,
    decimal_mark: DecimalMark | None = None,
) -> Stated[Any]:
    """What ``written`` states, checked; WrongInput names field, value and remedy."""
    shown = written.strip()
    try:
        value = _READERS[spec.reads](spec, shown, unit, decimal_mark)
    except WrongInput as error:
        error.where = error.where or spec.label
        raise
    return Stated(value, source)


def _read_quantity(
    spec: Field, written: str, unit: str | None, mark: DecimalMark | None
) -> Quantity:
    value = parse_quantity(written, spec.dimension, unit, mark)
    _check_range(spec, value)
    return value


def _check_range(spec: Field, value: Quantity) -> None:
    if not Decimal(str(spec.low)) <= value.exact() <= Decimal(str(spec.high)):
        low, high = (
            Quantity(Decimal(str(limit)), spec.dimension.value).rounded_to(value.unit)
            for limit in (spec.low, spec.high)
        )
        raise WrongInput(
            f"{value} is not possible (between {low} and {high})",
            "Check the figure and its unit",
            spec.label,
        )


def _read_quantities(
    spec: Field, written: str, unit: str | None, mark: DecimalMark | None
) -> tuple[Quantity, ...]:
    parts = [
        part for part in re.split(r"\s*(?:[;/|&+]|,\s+|\band\b|\bund\b|\by\b)\s*", written) if part
    ]
    if not parts:
        raise WrongInput("no figure given", "Write one or more, like “24 V / 48 V”")
    for part in parts:
        if match := re.match(r"(\d+),(\d{2,3})(?!\d)", part):
            raise Ambiguous(
                written,
                (f"{match[1]}.{match[2]}", f"{match[1]} and {match[2]}"),
                "Write several figures like “24 V / 48 V”",
            )
    units = [match.group() for part in parts if (match := re.search(r"[^\d.,\s]+$", part))]
    with_units = [
        part if re.search(r"[^\d.,\s]$", part) or not units else f"{part} {units[-1]}"
        for part in parts
    ]
    return tuple(_read_quantity(spec, part, unit, mark) for part in with_units)


def _read_number(spec: Field, written: str, _: str | None, mark: DecimalMark | None) -> int:
    match = re.fullmatch(r"(\d[\d., ]*)(\D*)", written)
    if not match or len(match[1]) > 20 or _is_other_unit(match[2]):
        raise WrongInput(f"“{written}” is not a whole number", "Write it in digits")
    value = parse_number(match[1].strip(), mark, shown=written)
    if value != int(value) or not spec.low <= value <= spec.high:
        raise WrongInput(
            f"“{written}” is not possible (a whole number between {spec.low:g} and {spec.high:g})",
            "Check the figure",
        )
    return int(value)


def _is_other_unit(words: str) -> bool:
    """Whether "24 V" stands where "24 cells" should."""
    try:
        unit = unit_named(words)
    except WrongInput:
        return True
    return unit is not None and unit.dimension not in (Dimension.COUNT, Dimension.DURATION)


def _read_text(_spec: Field, written: str, _unit: str | None, _mark: DecimalMark | None) -> str:
    words = " ".join("".join(c if c.isprintable() else " " for c in written).split())
    if not words:
        raise WrongInput("nothing is written there", "Write it as read off the asset")
    if len(words) > 120:
        raise WrongInput(f"{len(words)} characters are too many", "Use 120 at most")
    return words


def _plain(word: str) -> str:
    return re.sub(r"[\s_/().-]+", " ", word.strip().lower()).strip()


def _read_choice(spec: Field, written: str, _: str | None, __: DecimalMark | None) -> str:
    plain = _plain(written)
    for value, words in spec.choices.items():
        if plain in (_plain(value), _plain(words)):
            return value
    for spelling, value in spec.synonyms.items():
        if plain == _plain(spelling):
            return value
    raise WrongInput(
        f"“{written}” is not one of: {', '.join(spec.choices.values())}", "Use one of those words"
    )


def _spellings(spec: Field) -> set[str]:
    return {_plain(word) for word in (*spec.choices, *spec.choices.values(), *spec.synonyms)}


def _read_choices(
    spec: Field, written: str, unit: str | None, mark: DecimalMark | None
) -> tuple[str, ...]:
    # The parts first: "gel / lead-acid" is two chemistries, not gel lead-acid.
    parts = [part for part in re.split(r"[,;|+&/]|\b(?:and|und|y)\b", written) if part.strip()]
    try:
        found = [_read_choice(spec, part, unit, mark) for part in parts]
    except WrongInput:
        if len(parts) > 1 and _plain(written) in _spellings(spec):
            return (_read_choice(spec, written, unit, mark),)
        raise
    if not found:
        raise WrongInput(
            f"“{written}” is not one of: {', '.join(spec.choices.values())}",
            "Use one of those words",
        )
    return tuple(value for value in spec.choices if value in found)


def _read_flag(_spec: Field, written: str, _unit: str | None, _mark: DecimalMark | None) -> bool:
    plain = written.lower()
    if plain in ("yes", "y", "true", "1", "x", "ja", "sí", "si", "✓"):
        return True
    if plain in ("no", "n", "false", "0", "nein"):
        return False
    raise WrongInput(f"“{written}” is neither yes nor no", "Write yes or no")


def _read_date(_spec: Field, written: str, _unit: str | None, _mark: DecimalMark | None) -> str:
    if match := re.fullmatch(r"(\d{4})(?:-(\d{1,2}))?(?:-(\d{1,2}))?(?:[T ]00:00:00)?", written):
        year, month, of_month = match[1], match[2], match[3]
    elif match := re.fullmatch(r"(\d{1,2})\.(\d{1,2})\.(\d{4})", written):
        of_month, month, year = match[1], match[2], match[3]
    elif match := re.fullmatch(r"(\d{1,2})[/.](\d{4})", written):
        month, year, of_month = match[1], match[2], None
    elif match := re.fullmatch(r"(\d{1,2})/(\d{1,2})/(\d{4})", written):
        first, second, year = int(match[1]), int(match[2]), match[3]
        if first <= 12 and second <= 12 and first != second:
            raise WrongInput(
                f"“{written}” can be day/month or month/day", "Write dates as YYYY-MM-DD"
            )
        month, of_month = (str(second), str(first)) if first > 12 else (str(first), str(second))
    else:
        raise WrongInput(f"“{written}” is not a date", "Write dates as YYYY-MM-DD")
    try:
        date(int(year), int(month or 1), int(of_month or 1))
    except ValueError:
        raise WrongInput(f"“{written}” is not a date", "Write dates as YYYY-MM-DD") from None
    return "-".join(
        [f"{int(year):04d}", *(f"{int(part):02d}" for part in (month, of_month) if part)]
    )


_READERS: dict[str, Any] = {
    "quantity": _read_quantity,
    "quantities": _read_quantities,
    "number": _read_number,
    "text": _read_text,
    "choice": _read_choice,
    "choices": _read_choices,
    "flag": _read_flag,
    "date": _read_date,
}


def stored_plate(plate: Nameplate) -> dict[str, Any]:
    """The facts of a nameplate as the record keeps them; unknown ones are left out."""
    facts = {name: getattr(plate, name) for name in fields_of(plate)}
    return {name: fact.stored() for name, fact in facts.items() if fact is not None}


def plate_from(cls: type[Plate], stored: Mapping[str, Any]) -> Plate:
    """The nameplate that :func:`stored_plate` wrote; fields it does not know are passed over.

    WrongInput for a fact that can't be read: leaving it out would leave a requirement out.
    """
    facts = {
        name: _fact_from(spec, stored[name])
        for name, spec in fields_of(cls).items()
        if stored.get(name) is not None
    }
    return cls(**facts)


def _fact_from(spec: Field, stored: Mapping[str, Any]) -> Stated[Any]:
    try:
        return _readable(spec, stored)
    except (KeyError, TypeError, ValueError, ArithmeticError, WrongInput):
        raise WrongInput(
            f"what the record has as {spec.label} can't be read",
            "Run “tagkit verify”; a figure that was recorded so is amended with “tagkit amend”",
        ) from None


def _readable(spec: Field, stored: Mapping[str, Any]) -> Stated[Any]:
    source = Source(stored["source"])
    if spec.reads == "quantity":
        return Stated(Quantity.from_stored(dict(stored)), source)
    value = stored["value"]
    if spec.reads == "quantities":
        return Stated(tuple(Quantity.from_stored(item) for item in value), source)
    return Stated(tuple(value) if isinstance(value, list) else value, source)
