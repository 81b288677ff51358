"""Which column of a sheet states what: headers in plain words, with or without a unit.

A header is split into its words, its unit ("Weight (lb)", "Gewicht [kg]", "Service weight, kg")
and, for capacities, the rate ("Capacity C5 [Ah]"). What the words mean depends on the kind of
asset: "Voltage" is the battery's, the truck's or the charger's.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from tagkit.assets.designation import parse_designation
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.intake.figures import kind_named, rate_in, states_chemistry
from tagkit.intake.meanings import (
    CAPACITIES,
    HINTING_TERMS,
    KIND,
    PASSED_OVER,
    TELLING_TERMS,
    TELLS,
    WINDOW,
    dimension_of,
    label_of,
    meanings_by_terms,
    spec_of,
)
from tagkit.intake.words import plain, terms
from tagkit.units import Ambiguous, Unit, unit_named

_VAGUE = tuple(
    frozenset(words.split())
    for words in ("type", "battery type", "model", "battery model", "type model", "battery")
)

_QUANTITY = frozenset({"count", "pieces"})
_OF_WHAT = _QUANTITY | {"battery", "truck", "charger", "order", "ordered", "delivered"}


@dataclass(frozen=True)
class Column:
    """One column: where it stands, how it is headed, what it states for which kind."""

    index: int
    header: str
    meanings: Mapping[Kind, str] = field(default_factory=dict)
    unit: str | None = None
    rate: int | None = None  # hours, from a header like "Capacity C5"
    terms: frozenset[str] = frozenset()
    left_out: bool = False  # somebody said that it is not to be read
    problem: str = ""  # why it can't be read, where it is shown instead of refusing the sheet

    @property
    def letter(self) -> str:
        """The column's letter in a spreadsheet."""
        return column_letter(self.index)

    @property
    def shown(self) -> str:
        """How a message names it."""
        return self.header or f"column {self.letter}"

    @property
    def known(self) -> bool:
        """Whether it states anything."""
        return bool(self.meanings)

    @property
    def passed_over(self) -> bool:
        """Whether it is a running number, ours, or left out."""
        return self.left_out or PASSED_OVER in self.meanings.values()

    @cached_property
    def quantity(self) -> bool:
        """Whether it says how many of them a line of the supplier's papers stands for."""
        said = terms(self.header)
        return not self.known and not self.left_out and bool(said & _QUANTITY) and said <= _OF_WHAT

    @cached_property
    def tells(self) -> frozenset[Kind]:
        """The kinds of asset that only have such a column."""
        by_field = {kind for kind, name in self.meanings.items() if name in TELLS[kind]}
        return frozenset(by_field | self._by_terms(TELLING_TERMS))

    def hints(self) -> frozenset[Kind]:
        """The kinds of asset that the header's words speak of."""
        return frozenset(self._by_terms(HINTING_TERMS))

    def _by_terms(self, telling: Mapping[Kind, tuple[str, ...]]) -> set[Kind]:
        return {
            kind
            for kind, words in telling.items()
            if kind in self.meanings and not self.terms.isdisjoint(words)
        }


@dataclass(frozen=True)
class Clash:
    """Columns that claim the same field: none of them is read until somebody says which counts."""

    label: str
    columns: tuple[Column, ...]


@dataclass(frozen=True)
class Columns:
    """The columns of a sheet, in order.

    ``asks``: columns that claim the same field are given as clashes instead of being refused.
    """

    all: tuple[Column, ...]
    asks: bool = False
    _by_kind: dict[Kind, dict[str, Column]] = field(default_factory=dict, compare=False, repr=False)
    _doubles: dict[Kind, dict[str, Column]] = field(default_factory=dict, compare=False, repr=False)
    _clashes: dict[Kind, dict[str, Clash]] = field(default_factory=dict, compare=False, repr=False)

    @cached_property
    def known(self) -> tuple[Column, ...]:
        """Columns that state something."""
        return tuple(column for column in self.all if column.known)

    @property
    def ignored(self) -> tuple[Column, ...]:
        """Headed columns that tagkit has no use for."""
        return tuple(
            column for column in self.all
            if column.header and not (column.known or column.left_out or column.quantity)
        )  # fmt: skip

    def for_kind(self, kind: Kind) -> dict[str, Column]:
        """Field -> its column; WrongInput names the columns that claim the same field.

        Two columns may state one figure in two units; the first of them is given here.
        """
        if kind not in self._by_kind:
            self._by_kind[kind] = self._find_for(kind)
        return self._by_kind[kind]

    def in_other_unit(self, kind: Kind) -> dict[str, Column]:
        """Field -> a second column with the same figure in another unit, as in kg and lb."""
        self.for_kind(kind)
        return self._doubles[kind]

    def clashes(self, kind: Kind) -> dict[str, Clash]:
        """Field -> the columns that claim it, where it is to be asked which counts."""
        self.for_kind(kind)
        return self._clashes[kind]

    def _find_for(self, kind: Kind) -> dict[str, Column]:
        found: dict[str, Column] = {}
        doubles = self._doubles[kind] = {}
        clashing: dict[str, list[Column]] = {}
        for column in self.all:
            name = column.meanings.get(kind)
            if name is None or name == PASSED_OVER:
                continue
            if name in found and _is_general(column, name):
                continue
            if name in found and not _is_general(found[name], name):
                if name not in doubles and _in_two_units(kind, name, found[name], column):
                    doubles[name] = column
                    continue
                clashing.setdefault(name, [found[name]]).append(column)
                continue
            found[name] = column
        if clashing and not self.asks:
            raise _both_claimed(kind, clashing)
        self._clashes[kind] = {
            name: Clash(label_of(kind, name), tuple(columns)) for name, columns in clashing.items()
        }
        for name in clashing:
            del found[name]
            doubles.pop(name, None)
        return found

    @property
    def kind_column(self) -> Column | None:
        """The column that says what each row is."""
        return next((c for c in self.all if KIND in c.meanings.values()), None)

    @cached_property
    def kinds(self) -> frozenset[Kind]:
        """The kinds of asset that the columns point to."""
        told = frozenset(kind for column in self.all for kind in column.tells)
        return told or frozenset(kind for column in self.all for kind in column.hints())


def _both_claimed(kind: Kind, clashing: Mapping[str, Sequence[Column]]) -> WrongInput:
    name, columns = next(iter(clashing.items()))
    names = " and ".join(f"“{column.header}” ({column.letter})" for column in columns)
    others = " ".join(f"--leave-out {column.letter}" for column in columns[1:])
    return WrongInput(
        f"the columns {names} state the same, the {kind.noun}'s {label_of(kind, name)}",
        f"Say which is not to be read: with {others}, column {columns[0].letter} counts",
    )


def columns_named(headers: Sequence[str], words: Iterable[str]) -> frozenset[int]:
    """The columns that people name by header or letter, by index from 0.

    WrongInput for a name that none has or several have.
    """
    return frozenset(_column_named(headers, " ".join(word.split())) for word in words)


def _column_named(headers: Sequence[str], word: str) -> int:
    wanted = word.casefold()
    shown = [" ".join(header.split()) for header in headers]
    headed = [index for index, header in enumerate(shown) if header.casefold() == wanted]
    lettered = [index for index in range(len(shown)) if column_letter(index).casefold() == wanted]
    found = headed or lettered
    if wanted and len(found) == 1:
        return found[0]
    if len(found) > 1:
        letters = " or ".join(column_letter(index) for index in found)
        raise WrongInput(
            f"several columns are headed “{word}”", f"Name one by its letter: {letters}",
            "--leave-out",
        )  # fmt: skip
    there = ", ".join(f"{column_letter(at)} “{name}”" for at, name in enumerate(shown) if name)
    raise WrongInput(f"the sheet has no column “{word}”", f"It has {there}", "--leave-out")


def _is_general(column: Column, name: str) -> bool:
    """Whether a column yields to another that states the same more plainly.

    "Weight" and "Capacity" yield to the range, "Charger no." to the bay.
    """
    if name == "bay":
        return "bay" not in column.terms
    return name in (WINDOW, CAPACITIES) and column.terms.isdisjoint(("range", "window", "battery"))


def _in_two_units(kind: Kind, name: str, one: Column, other: Column) -> bool:
    units = {unit_for(one, kind, name), unit_for(other, kind, name)}
    spec = spec_of(kind, name)
    return None not in units and len(units) == 2 and spec is not None and spec.reads == "quantity"


def match_columns(
    headers: Sequence[str],
    below: Iterable[Sequence[str]] = (),
    kind: Kind | None = None,
    without: Collection[int] = (),
    *,
    asks: bool = False,
) -> Columns:
    """What each header states.

    ``below`` are texts of the rows under the header; they settle what a vague header like
    "Type" means. ``kind`` is the kind of all rows when the caller knows it; ``without`` are
    columns that are not to be read, by index from 0. Raises WrongInput for two columns that claim
    the same field and for a unit that can't go with its column; with ``asks`` both are told in
    the columns instead, to be settled by somebody who looks at them.
    """
    columns = [
        Column(index, " ".join(header.split()), left_out=True)
        if index in without
        else read_header(header, index)
        for index, header in enumerate(headers)
    ]
    columns = _settle_vague(columns, [list(row) for row in below])
    columns = [_with_its_unit(column, asks) for column in columns]
    found = Columns(tuple(columns), asks)
    kinds = (
        {kind}
        if kind
        else (found.kinds or ({Kind.BATTERY} if found.kind_column is None else set()))
    )
    for each in kinds:
        found.for_kind(each)
    return found


def read_header(header: str, index: int = 0) -> Column:
    """The column under ``header``; one without meanings if its words say nothing to tagkit."""
    shown = " ".join(header.split())
    plain_column = Column(index, shown)
    if not shown or len(shown) > 120:
        return plain_column
    without_rate, rate = rate_in(shown)
    if rate is not None:
        column = _understood(plain_column, without_rate)
        if any("capacity" in name for name in column.meanings.values()):
            return replace(column, rate=rate)
    return _understood(plain_column, shown)


def _understood(column: Column, text: str) -> Column:
    """The column with what ``text`` states; a unit that fits is preferred to one that doesn't."""
    other: Column | None = None
    for words, unit in _splits(text):
        known = meanings_by_terms().get(terms(words))
        if known is None:
            continue
        meanings = dict(_by_unit(known, unit))
        found = replace(column, meanings=meanings, unit=unit, terms=terms(words))
        if unit is None and words != text and other is not None:
            break
        if unit is None or _unit_fits(found):
            return found
        other = other or found
    return other or column


def _by_unit(meanings: Mapping[Kind, str], unit: str | None) -> Mapping[Kind, str]:
    """ "Capacity (lb)" of a truck is its rated load."""
    if unit in ("kg", "lb", "t", "ton") and "capacity" in meanings.values():
        return {Kind.TRUCK: "rated_load"}
    return meanings


def _splits(text: str) -> list[tuple[str, str | None]]:
    """Ways to part a header into words and unit, those with a unit first."""
    found: list[tuple[str, str | None]] = []
    bracketed = re.findall(r"[(\[{]([^)\]}]*)[)\]}]", text)
    outside = re.sub(r"[(\[{][^)\]}]*[)\]}]", " ", text)
    for inside in bracketed:
        symbol = unit_symbol(inside)
        if symbol is not None:
            rest = text
            for other in bracketed:
                if unit_symbol(other) is not None:
                    rest = re.sub(rf"[(\[{{]{re.escape(other)}[)\]}}]", " ", rest)
            found += [(rest, symbol), (outside, symbol)]
    for bare in (text, outside):
        for unit_words in (2, 1):  # "V DC", "kg"
            match = re.fullmatch(
                rf"(.*[^\s,;:/_-])[\s,;:/_-]+((?:\S+ ){{{unit_words - 1}}}\S+)\s*", bare.strip()
            )
            symbol = unit_symbol(match[2]) if match else None
            if match and symbol is not None:
                found.append((match[1], symbol))
                break
    return [*found, (text, None), (outside, None)]


def unit_symbol(text: str) -> str | None:
    """A unit's symbol, "ton" where it does not say which, or None."""
    word = re.sub(r"^in ", "", plain(text)).strip()
    if word.startswith("min"):  # the minimum; nothing here is headed in minutes
        return None
    try:
        unit = unit_named(word)
    except Ambiguous:
        return "ton"
    return unit.symbol if unit and unit.symbol else None


def _with_its_unit(column: Column, asks: bool) -> Column:
    try:
        _check_unit(column)
    except WrongInput as error:
        if not asks:
            raise
        return Column(column.index, column.header, problem=f"{error.problem}. {error.remedy}")
    return column


def _check_unit(column: Column) -> None:
    if column.unit is None or not column.known:
        return
    if column.unit == "ton":
        raise WrongInput(
            f"the header “{column.header}” can mean short tons or tonnes",
            "Write kg or lb, or “t” for tonnes",
            f"column {column.letter}",
        )
    if not _unit_fits(column):
        raise WrongInput(
            f"the unit {column.unit} in the header “{column.header}” does not go with "
            f"what the column states",
            "Correct the header",
            f"column {column.letter}",
        )


def _unit_fits(column: Column) -> bool:
    if column.unit in (None, "ton"):
        return True
    unit = unit_named(column.unit or "")
    if unit is None or (unit.symbol == "h" and "capacity_rate" in column.meanings.values()):
        return True
    return any(unit.dimension is dimension_of(kind, name) for kind, name in column.meanings.items())


def unit_for(column: Column, kind: Kind, name: str) -> str | None:
    """The column's unit if it goes with the field."""
    unit: Unit | None = unit_named(column.unit) if column.unit not in (None, "ton") else None
    return unit.symbol if unit and unit.dimension is dimension_of(kind, name) else None


def _settle_vague(columns: list[Column], below: list[list[str]]) -> list[Column]:
    claimed = Counter(name for column in columns for name in set(column.meanings.values()))
    settled = []
    for column in columns:
        words = terms(column.header)
        if column.left_out or words not in _VAGUE or KIND in column.meanings.values():
            settled.append(column)
            continue
        cells = [row[column.index].strip() for row in below if column.index < len(row)]
        filled = [cell for cell in cells if cell]
        meanings = dict(column.meanings)
        if filled and KIND not in claimed and _mostly(filled, lambda c: kind_named(c) is not None):
            meanings = dict.fromkeys(Kind, KIND)
        elif "designation" not in claimed and any(parse_designation(cell) for cell in filled):
            meanings[Kind.BATTERY] = "designation"
        elif "chemistry" not in claimed and filled and _mostly(filled, states_chemistry):
            meanings[Kind.BATTERY] = "chemistry"
            if "model" not in words:
                meanings[Kind.TRUCK] = meanings[Kind.CHARGER] = "chemistries"
        for name in set(meanings.values()):
            claimed[name] += 1
        settled.append(replace(column, meanings=meanings, terms=words))
    return settled


def _mostly(cells: Sequence[str], test: object) -> bool:
    assert callable(test)
    return 2 * sum(1 for cell in cells if test(cell)) > len(cells)


def column_letter(index: int) -> str:
    """0 -> A, 25 -> Z, 26 -> AA."""
    letters = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters
