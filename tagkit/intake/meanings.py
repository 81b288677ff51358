"""What headers mean: which words state which field of which kind of asset."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache

from tagkit.assets.fields import Field, fields_of
from tagkit.assets.kinds import PLATES
from tagkit.assets.tag import Kind
from tagkit.intake.words import terms
from tagkit.units import Dimension

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
     "own truck number|unit|unit number|unit fleet number", {T: "fleet_number"}),
    ("fleet number|own number|battery number|asset number|fleet|own battery number",
     {B: "fleet_number"}),
    ("bay|bay number|charger bay|charger number|own number|asset number", {C: "bay"}),
    ("kind|asset type|asset kind|asset|kind type", dict.fromkeys(Kind, KIND)),
    ("designation|type designation|battery designation|battery type designation",
     {B: "designation"}),
    ("voltage|battery voltage|rated voltage|system voltage",
     {B: "voltage", T: "voltage", C: "voltages"}),
    ("output voltage|charger voltage|charger output voltage", {C: "voltages"}),
    ("cells|number cells|count cells|cells count|battery cells", {B: "cells"}),
    ("capacity|battery capacity|rated capacity|amp hours|current hours", {B: "capacity", C: CAPACITIES}),
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
    ("equalizing|equalizing allowed|allowed equalizing|maker equalizing allowed|equalizing ok|"
     "equalizing maker", {B: "equalizing"}),
    ("made|made date", {B: "made_on", T: "made_on"}),
    ("service|service date", {B: "in_service_on"}),
    ("warranty|warranty until|garantie|garantia", {B: "warranty_until"}),
    ("model|truck model|truck type", {T: "model"}), ("model|charger model", {C: "model"}),
    ("group|truck group", {T: "group"}),
    ("rated load|load", {T: "rated_load", L: "rated_load"}),
    ("output current|current|rated current|charge current|start current", {C: "start_current"}),
    ("characteristic|charge characteristic|profile|charge profile", {C: "characteristic"}),
    ("inspection due|next inspection|inspection date", {L: "inspection_due"}),
    ("hangs from|hung from|hoist", {L: "hung_from"}),
    ("equipment|equipment type", {R: "equipment"}), ("location", {R: "location"}),
    ("problem", dict.fromkeys(Kind, PASSED_OVER)),
    ("number|pos|position|item|line|row|lfd number|zeile|linea", dict.fromkeys(Kind, PASSED_OVER)),
)  # fmt: skip

# Fields that only one kind of asset has and that tell what a row without a kind is.
TELLS: dict[Kind, frozenset[str]] = {
    B: frozenset({"designation", "cells", "weighed", "ballast", "full_gravity", "empty_gravity",
                  "discharged_gravity", "rated_cycles", "cell_layout", "warranty_until", "equalizing"}),
    T: frozenset({"weight_min", "weight_max", "compartment_length", "compartment_width",
                  "compartment_height", "load_centre", "axle_to_fork", "axle_to_battery",
                  "leaves_by", "group", "spacer_length", "spacer_width"}),
    C: frozenset({"capacity_min", "start_current", "finishing_current", "characteristic"}),
    L: frozenset({"gear", "own_weight", "hooks_weight", "hung_from", "insulated",
                  "lug_spacing_min", "lug_spacing_max", "inspection_due"}),
    R: frozenset({"equipment", "check", "check_every"}),
}  # fmt: skip
# Terms that tell it although the field itself is shared.
TELLING_TERMS: dict[Kind, tuple[str, ...]] = {
    T: ("compartment", "window"),
    C: ("output", "charger", "bay"),
}
# Terms that tell it only where nothing else does: a list of batteries may say which truck each
# one is for.
HINTING_TERMS: dict[Kind, tuple[str, ...]] = {T: ("truck",), B: ("battery",)}


@cache
def meanings_by_terms() -> dict[frozenset[str], dict[Kind, str]]:
    """The terms of a header -> what it states for each kind of asset."""
    known: dict[frozenset[str], dict[Kind, str]] = {}
    for kind, plate in PLATES.items():
        for name, spec in fields_of(plate).items():
            for written in (name, spec.label):
                known.setdefault(terms(written), {}).setdefault(kind, name)
    for headers, meanings in _MEANINGS:
        for header in headers.split("|"):
            known.setdefault(frozenset(header.split()), {}).update(meanings)
    return known


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
