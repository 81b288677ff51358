"""Which column of a sheet states what: headers in plain words, with or without a unit.

A header is split into its words, its unit ("Weight (lb)", "Gewicht [kg]", "Service weight, kg")
and, for capacities, the rate ("Capacity C5 [Ah]"). What the words mean depends on the kind of
asset: "Voltage" is the battery's, the truck's or the charger's.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache

from tagkit.assets.designation import parse_designation
from tagkit.assets.fields import Field, fields_of
from tagkit.assets.kinds import PLATES
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.intake.figures import kind_named, rate_in, states_chemistry
from tagkit.intake.words import plain, terms
from tagkit.units import Ambiguous, Dimension, Unit, unit_named

B, T, C, L, R = Kind.BATTERY, Kind.TRUCK, Kind.CHARGER, Kind.LIFTING, Kind.ROOM

# Columns that are no field of a nameplate but are taken apart into fields.
KIND = "kind of asset"
WINDOW = "weight window"  # minimum and maximum in one cell
CAPACITIES = "capacity range"
DIMENSIONS = "dimensions"
# Columns passed over without a word: ours, and the running number.
PASSED_OVER = "passed over"

# Headers in terms (see words.py), several separated by "|", and what they state for which kind.
# Every field's own name and label are added to these.
_MEANINGS: tuple[tuple[str, Mapping[Kind, str]], ...] = (
    ("serial|serial number|maker serial|maker serial number|battery serial|battery serial number|"
     "maker number", dict.fromkeys(Kind, "maker_serial")),
    ("fleet number|own number|truck number|asset number|truck fleet number|fleet|"
     "own truck number", {T: "fleet_number"}),
    ("fleet number|own number|battery number|asset number|fleet|own battery number",
     {B: "fleet_number"}),
    ("bay|bay number|charger bay|charger number|own number|asset number|charger", {C: "bay"}),
    ("kind|asset type|asset kind|asset|kind type", dict.fromkeys(Kind, KIND)),
    ("designation|type designation|battery designation|battery type designation",
     {B: "designation"}),
    ("voltage|battery voltage|rated voltage|system voltage",
     {B: "voltage", T: "voltage", C: "voltages"}),
    ("output voltage|charger voltage|charger output voltage", {C: "voltages"}),
    ("cells|number cells|count cells|cells count|battery cells", {B: "cells"}),
    ("capacity|battery capacity|rated capacity", {B: "capacity", C: CAPACITIES}),
    ("battery capacity|capacity max|battery capacity max", {T: "capacity_max"}),
    ("battery capacity min|capacity min", {C: "capacity_min"}),
    ("battery capacity max|capacity max", {C: "capacity_max"}),
    ("capacity range|battery capacity range|capacity from to", {C: CAPACITIES}),
    ("rate|hours rate|capacity rate|capacity hours|capacity hours rate|rate hours",
     {B: "capacity_rate", T: "capacity_rate", C: "capacity_rate"}),
    ("weight|service weight|weight with acid|weight service", {B: "weight", T: WINDOW}),
    ("battery weight|battery service weight|battery weight with acid|weight window|"
     "battery weight window|allowed battery weight|battery weight range|weight range|"
     "battery weight min max|weight min max", {B: "weight", T: WINDOW}),
    ("weight min|battery weight min|allowed battery weight min", {T: "weight_min"}),
    ("weight max|battery weight max|allowed battery weight max", {T: "weight_max"}),
    ("scale weight|scale|weight scale|weight on scale", {B: "weighed"}),
    ("ballast|allowed ballast|ballast weight", {B: "ballast"}),
    ("length|battery length", {B: "length"}), ("width|battery width", {B: "width"}),
    ("height|battery height", {B: "height"}),
    ("compartment length|battery compartment length", {T: "compartment_length"}),
    ("compartment width|battery compartment width", {T: "compartment_width"}),
    ("compartment height|battery compartment height", {T: "compartment_height"}),
    ("dimensions|battery dimensions|length width height|"
     "dimensions length width height", {B: DIMENSIONS}),
    ("compartment dimensions|compartment|"
     "compartment length width height|battery compartment", {T: DIMENSIONS}),
    ("chemistry|battery chemistry", {B: "chemistry", T: "chemistries", C: "chemistries"}),
    ("allowed chemistry|chemistries|allowed chemistries", {T: "chemistries", C: "chemistries"}),
    ("connector|battery connector|connector type", {B: "connector", T: "connector",
                                                    C: "connector"}),
    ("cable side|side cable", {B: "cable_side", T: "cable_side"}),
    ("cable length", {B: "cable_length", T: "cable_length"}),
    ("hazard type|hazardous location type|ex type", {B: "hazard_type", T: "hazard_type"}),
    ("atex|atex kind", {B: "atex_category", T: "atex_category"}),
    ("made|made date", {B: "made_on", T: "made_on"}),
    ("service|service date", {B: "in_service_on"}),
    ("warranty|warranty until|garantie|garantia", {B: "warranty_until"}),
    ("model|truck model|truck type", {T: "model"}), ("model|charger model", {C: "model"}),
    ("group|truck group", {T: "group"}),
    ("rated load|load", {T: "rated_load", L: "rated_load"}),
    ("output current|current|rated current|charge current|start current", {C: "start_current"}),
    ("characteristic|charge characteristic|profile|charge profile", {C: "characteristic"}),
    ("inspection due|next inspection|inspection date", {L: "inspection_due"}),
    ("equipment|equipment type", {R: "equipment"}), ("location", {R: "location"}),
    ("problem", dict.fromkeys(Kind, PASSED_OVER)),
    ("number|pos|position|item|line|row|lfd number|zeile|linea", dict.fromkeys(Kind, PASSED_OVER)),
)  # fmt: skip

# Fields that only one kind of asset has and that tell what a row without a kind is.
_TELLS: dict[Kind, frozenset[str]] = {
    B: frozenset({"designation", "cells", "weighed", "ballast", "full_gravity", "empty_gravity",
                  "discharged_gravity", "rated_cycles", "cell_layout", "warranty_until"}),
    T: frozenset({"weight_min", "weight_max", "compartment_length", "compartment_width",
                  "compartment_height", "load_centre", "axle_to_fork", "axle_to_battery",
                  "leaves_by", "group", "spacer_length", "spacer_width"}),
    C: frozenset({"capacity_min", "start_current", "finishing_current", "characteristic"}),
    L: frozenset({"gear", "own_weight", "hooks_weight", "hung_from", "insulated",
                  "lug_spacing_min", "lug_spacing_max", "inspection_due"}),
    R: frozenset({"equipment", "check", "check_every"}),
}  # fmt: skip
# Terms that tell it although the field itself is shared.
_TELLING_TERMS: dict[Kind, tuple[str, ...]] = {
    T: ("compartment", "window"),
    C: ("output", "charger", "bay"),
}
# Terms that tell it only where nothing else does: a list of batteries may say which truck each
# one is for.
_HINTING_TERMS: dict[Kind, tuple[str, ...]] = {T: ("truck",), B: ("battery",)}
_VAGUE = tuple(
    frozenset(words.split())
    for words in ("type", "battery type", "model", "battery model", "type model", "battery")
)


@dataclass(frozen=True)
class Column:
    """One column: where it stands, how it is headed, what it states for which kind."""

    index: int
    header: str
    meanings: Mapping[Kind, str] = field(default_factory=dict)
    unit: str | None = None
    rate: int | None = None  # hours, from a header like "Capacity C5"
    terms: frozenset[str] = frozenset()

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
        """Whether it is a running number, or ours."""
        return PASSED_OVER in self.meanings.values()

    def tells(self) -> frozenset[Kind]:
        """The kinds of asset that only have such a column."""
        by_field = {kind for kind, name in self.meanings.items() if name in _TELLS[kind]}
        return frozenset(by_field | self._by_terms(_TELLING_TERMS))

    def hints(self) -> frozenset[Kind]:
        """The kinds of asset that the header's words speak of."""
        return frozenset(self._by_terms(_HINTING_TERMS))

    def _by_terms(self, telling: Mapping[Kind, tuple[str, ...]]) -> set[Kind]:
        return {
            kind
            for kind, words in telling.items()
            if kind in self.meanings and not self.terms.isdisjoint(words)
        }


@dataclass(frozen=True)
class Columns:
    """The columns of a sheet, in order."""

    all: tuple[Column, ...]

    @property
    def known(self) -> tuple[Column, ...]:
        """Columns that state something."""
        return tuple(column for column in self.all if column.known)

    @property
    def ignored(self) -> tuple[Column, ...]:
        """Headed columns that tagkit has no use for."""
        return tuple(column for column in self.all if not column.known and column.header)

    def for_kind(self, kind: Kind) -> dict[str, Column]:
        """Field -> its column; WrongInput names two columns that claim the same field."""
        found: dict[str, Column] = {}
        for column in self.all:
            name = column.meanings.get(kind)
            if name is None or name == PASSED_OVER:
                continue
            if name in found and _is_general(column, name):
                continue
            if name in found and not _is_general(found[name], name):
                raise WrongInput(
                    f"the columns “{found[name].header}” ({found[name].letter}) and "
                    f"“{column.header}” ({column.letter}) both state the {kind.noun}'s "
                    f"{label_of(kind, name)}",
                    "Keep one of them or rename the other",
                )
            found[name] = column
        return found

    @property
    def kind_column(self) -> Column | None:
        """The column that says what each row is."""
        return next((c for c in self.all if KIND in c.meanings.values()), None)

    def kinds(self) -> frozenset[Kind]:
        """The kinds of asset that the columns point to."""
        told = frozenset(kind for column in self.all for kind in column.tells())
        return told or frozenset(kind for column in self.all for kind in column.hints())


def _is_general(column: Column, name: str) -> bool:
    """Whether a plain "Weight" or "Capacity" column yields to one that means the range."""
    return name in (WINDOW, CAPACITIES) and column.terms.isdisjoint(("range", "window", "battery"))


def match_columns(
    headers: Sequence[str], below: Iterable[Sequence[str]] = (), kind: Kind | None = None
) -> Columns:
    """What each header states.

    ``below`` are texts of the rows under the header; they settle what a vague header like
    "Type" means. ``kind`` is the kind of all rows when the caller knows it. Raises WrongInput
    for two columns that claim the same field and for a unit that can't go with its column.
    """
    columns = [read_header(header, index) for index, header in enumerate(headers)]
    columns = _settle_vague(columns, [list(row) for row in below])
    for column in columns:
        _check_unit(column)
    found = Columns(tuple(columns))
    kinds = {kind} if kind else (found.kinds() or ({B} if found.kind_column is None else set()))
    for each in kinds:
        found.for_kind(each)
    return found


@cache
def _known() -> dict[frozenset[str], dict[Kind, str]]:
    known: dict[frozenset[str], dict[Kind, str]] = {}
    for kind, plate in PLATES.items():
        for name, spec in fields_of(plate).items():
            for written in (name, spec.label):
                known.setdefault(terms(written), {}).setdefault(kind, name)
    for headers, meanings in _MEANINGS:
        for header in headers.split("|"):
            known.setdefault(frozenset(header.split()), {}).update(meanings)
    return known


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
        known = _known().get(terms(words))
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
        return {T: "rated_load"}
    return meanings


def _splits(text: str) -> list[tuple[str, str | None]]:
    """Ways to part a header into words and unit, those with a unit first."""
    found: list[tuple[str, str | None]] = []
    bracketed = re.findall(r"[(\[{]([^)\]}]*)[)\]}]", text)
    outside = re.sub(r"[(\[{][^)\]}]*[)\]}]", " ", text)
    for inside in bracketed:
        symbol = _unit_symbol(inside)
        if symbol is not None:
            rest = text
            for other in bracketed:
                if _unit_symbol(other) is not None:
                    rest = re.sub(rf"[(\[{{]{re.escape(other)}[)\]}}]", " ", rest)
            found += [(rest, symbol), (outside, symbol)]
    for bare in (text, outside):
        for unit_words in (2, 1):  # "V DC", "kg"
            match = re.fullmatch(
                rf"(.*[^\s,;:/_-])[\s,;:/_-]+((?:\S+ ){{{unit_words - 1}}}\S+)\s*", bare.strip()
            )
            symbol = _unit_symbol(match[2]) if match else None
            if match and symbol is not None:
                found.append((match[1], symbol))
                break
    return [*found, (text, None), (outside, None)]


def _unit_symbol(text: str) -> str | None:
    """The unit's symbol, "ton" where it does not say which, or None."""
    word = re.sub(r"^in ", "", plain(text)).strip()
    if word.startswith("min"):  # the minimum; nothing here is headed in minutes
        return None
    try:
        unit = unit_named(word)
    except Ambiguous:
        return "ton"
    return unit.symbol if unit and unit.symbol else None


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


def dimension_of(kind: Kind, name: str) -> Dimension | None:
    """The dimension of what a column states; None for words and whole numbers."""
    taken_apart = {
        WINDOW: Dimension.MASS,
        CAPACITIES: Dimension.CAPACITY,
        DIMENSIONS: Dimension.LENGTH,
    }
    if name in taken_apart:
        return taken_apart[name]
    spec = spec_of(kind, name)
    return spec.dimension if spec and spec.reads in ("quantity", "quantities") else None


def spec_of(kind: Kind, name: str) -> Field | None:
    """The specification of a field, or None for the columns that are taken apart."""
    return fields_of(PLATES[kind]).get(name)


def label_of(kind: Kind, name: str) -> str:
    """The words for a field."""
    spec = spec_of(kind, name)
    return spec.label if spec else name


def unit_for(column: Column, kind: Kind, name: str) -> str | None:
    """The column's unit if it goes with the field."""
    unit: Unit | None = unit_named(column.unit) if column.unit not in (None, "ton") else None
    return unit.symbol if unit and unit.dimension is dimension_of(kind, name) else None


def _settle_vague(columns: list[Column], below: list[list[str]]) -> list[Column]:
    claimed = Counter(name for column in columns for name in set(column.meanings.values()))
    settled = []
    for column in columns:
        words = terms(column.header)
        if words not in _VAGUE or KIND in column.meanings.values():
            settled.append(column)
            continue
        cells = [row[column.index].strip() for row in below if column.index < len(row)]
        filled = [cell for cell in cells if cell]
        meanings = dict(column.meanings)
        if filled and KIND not in claimed and _mostly(filled, lambda c: kind_named(c) is not None):
            meanings = dict.fromkeys(Kind, KIND)
        elif "designation" not in claimed and any(parse_designation(cell) for cell in filled):
            meanings[B] = "designation"
        elif "chemistry" not in claimed and filled and _mostly(filled, states_chemistry):
            meanings[B] = "chemistry"
            if "model" not in words:
                meanings[T] = meanings[C] = "chemistries"
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
