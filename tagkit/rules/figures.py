"""Facts of a nameplate as the rules may use them: known and possible, or not usable and why.

Whatever stands in a nameplate, reading it here never raises; what is unknown, of the wrong kind
or impossible comes back as a figure that is not known, so that it can't become a fit.
"""

from __future__ import annotations

import calendar
import re
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any, NamedTuple

from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.assets.fields import Field, Nameplate, fields_of
from tagkit.assets.lifting import Lifting
from tagkit.assets.stated import Source, Stated
from tagkit.assets.truck import Truck
from tagkit.units import Quantity

_OWNERS: dict[type, str] = {
    Battery: "battery",
    Truck: "truck",
    Charger: "charger",
    Lifting: "lifting gear",
}
# Decimal exponents beyond any weight, length or voltage; keeps exact arithmetic cheap.
_LARGEST_EXPONENT = 12


class Figure(NamedTuple):
    """One fact: ``value`` is None unless it is known and possible."""

    owner: str
    spec: Field
    stated: bool
    value: Any = None
    source: Source | None = None
    marked: object = None  # what stands there when it is not possible

    @property
    def label(self) -> str:
        """What it is: "service weight"."""
        return self.spec.label

    @property
    def known(self) -> bool:
        """Whether a rule may reckon with it."""
        return self.value is not None

    @property
    def assumed(self) -> bool:
        """Whether nobody has read it anywhere: it can't confirm a fit."""
        return self.source is Source.ASSUMED

    @property
    def said_by(self) -> str:
        """Where it comes from: "battery stamped", "truck unknown"."""
        return f"{self.owner} {self.source.value if self.source else 'unknown'}"

    @property
    def words(self) -> str:
        """The value as people say it; empty when it is not known."""
        return _words(self.spec, self.value) if self.known else ""

    @property
    def trouble(self) -> str:
        """Why it can't be used; empty when it can."""
        if self.known:
            return ""
        if not self.stated:
            return f"{self.owner}: {self.label} is not known"
        shown = _brief(self.marked)
        return f"{self.owner}: {self.label} as recorded is not possible ({shown})"

    def exact(self) -> Fraction:
        """The exact figure in the storage unit (kg, mm, V, Ah)."""
        return _exact(self.value)


def figure(plate: Nameplate, name: str, owner: str = "") -> Figure:
    """The fact ``name`` of ``plate``, checked against what is possible for that field."""
    not_stated, usable = _field(type(plate), name, owner)
    fact = getattr(plate, name)
    if fact is None:
        return not_stated
    owner, spec = not_stated.owner, not_stated.spec
    if not isinstance(fact, Stated):
        return Figure(owner, spec, stated=True, marked=fact)
    source = fact.source if isinstance(fact.source, Source) else None
    if source is None or not usable(spec, fact.value):
        return Figure(owner, spec, stated=True, source=source, marked=fact.value)
    return Figure(owner, spec, True, fact.value, source)


def exact_setting(number: float) -> Fraction:
    """A limit from the settings as exactly the figure that is written there."""
    return _limit(number)


def in_unit(exact: Fraction, unit: str, digits: int = 2, *, up: bool = False) -> Quantity:
    """A computed figure (storage unit) for display in ``unit``.

    Rounded down, for margins and whatever must not look better than it is; ``up`` for loads.
    """
    scaled = exact * _steps(unit, digits)
    whole = -(-scaled.numerator // scaled.denominator) if up else scaled.__floor__()
    return Quantity(_trimmed(Decimal(whole).scaleb(-digits)), unit)


def said_weight(exact: Fraction, unit: str, *, up: bool = False) -> Quantity:
    """A computed weight (kg) as a verdict says it: whole kilograms or pounds, rounded as
    :func:`in_unit` does. Nobody reads a tenth of a pound off a case, and on a screen it is taken
    for another figure."""
    return in_unit(exact, unit, 3 if unit == "t" else 0, up=up)


def nearest_weight(exact: Fraction, unit: str) -> Quantity:
    """The same to the nearest, for a weight that is merely said in another unit too."""
    down, up = said_weight(exact, unit), said_weight(exact, unit, up=True)
    return down if exact - down.exact() <= up.exact() - exact else up


def due_days(written: str) -> tuple[date, date] | None:
    """First and last day that a date stated as YYYY, YYYY-MM or YYYY-MM-DD can mean."""
    match = re.fullmatch(r"(\d{4})(?:-(\d{1,2}))?(?:-(\d{1,2}))?", written)
    if not match:
        return None
    year, month, day = int(match[1]), match[2], match[3]
    try:
        if day:
            only = date(year, int(month), int(day))
            return only, only
        if month:
            last = calendar.monthrange(year, int(month))[1]
            return date(year, int(month), 1), date(year, int(month), last)
        return date(year, 1, 1), date(year, 12, 31)
    except ValueError:
        return None


def _trimmed(number: Decimal) -> Decimal:
    """Without noughts at the end, and without an exponent."""
    whole = number.to_integral_value()
    return whole if number == whole else number.normalize()


@lru_cache(maxsize=512)
def _field(
    plate: type[Nameplate], name: str, owner: str
) -> tuple[Figure, Callable[[Field, object], bool]]:
    """The figure of a field that is not stated, and how a stated one is checked."""
    spec = fields_of(plate)[name]
    return Figure(owner or _OWNERS.get(plate, ""), spec, stated=False), _USABLE[spec.reads]


@lru_cache(maxsize=64)
def _steps(unit: str, digits: int) -> Fraction:
    """How many of the last digits shown make one storage unit."""
    return Fraction(10**digits) / Quantity(Decimal(1), unit).exact()


@lru_cache(maxsize=4096)
def _exact(value: Quantity) -> Fraction:
    return value.exact()


@lru_cache(maxsize=256)
def _limit(number: float) -> Fraction:
    return Fraction(Decimal(str(number)))


def _possible_quantity(spec: Field, value: object) -> bool:
    return (
        isinstance(value, Quantity)
        and value.dimension is spec.dimension
        and _within(value, spec.low, spec.high)
    )


@lru_cache(maxsize=4096)
def _within(value: Quantity, low: float, high: float) -> bool:
    marked = value.value
    return (
        abs(marked.adjusted()) <= _LARGEST_EXPONENT
        and len(marked.as_tuple().digits) <= 2 * _LARGEST_EXPONENT
        and _limit(low) <= _exact(value) <= _limit(high)
    )


def _possible_quantities(spec: Field, value: object) -> bool:
    return (
        isinstance(value, tuple)
        and bool(value)
        and all(_possible_quantity(spec, item) for item in value)
    )


def _possible_number(spec: Field, value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and spec.low <= value <= spec.high


def _possible_text(_: Field, value: object) -> bool:
    return isinstance(value, str) and bool(value.strip())


def _possible_choice(spec: Field, value: object) -> bool:
    return isinstance(value, str) and value in spec.choices


def _possible_choices(spec: Field, value: object) -> bool:
    return (
        isinstance(value, tuple)
        and bool(value)
        and all(_possible_choice(spec, item) for item in value)
    )


def _possible_flag(_: Field, value: object) -> bool:
    return isinstance(value, bool)


def _possible_date(_: Field, value: object) -> bool:
    return isinstance(value, str) and due_days(value) is not None


_USABLE: dict[str, Callable[[Field, object], bool]] = {
    "quantity": _possible_quantity,
    "quantities": _possible_quantities,
    "number": _possible_number,
    "text": _possible_text,
    "choice": _possible_choice,
    "choices": _possible_choices,
    "flag": _possible_flag,
    "date": _possible_date,
}


def _words(spec: Field, value: Any) -> str:
    if spec.reads == "choice":
        return spec.choices[value]
    if spec.reads == "choices":
        return ", ".join(spec.choices[item] for item in value)
    if spec.reads == "quantities":
        return ", ".join(str(item) for item in value)
    if spec.reads == "flag":
        return "yes" if value else "no"
    return str(value)


def _brief(value: object) -> str:
    if isinstance(value, Quantity):
        return f"{value.value:.6g} {value.unit}".strip()
    return f"“{value[:40]}”" if isinstance(value, str) else "not readable"
