"""What of an asset's figures stands on its label: when one changes, what is stuck there is old."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind

ON_LABEL = {
    Kind.BATTERY.value: (
        "voltage", "weight", "ballast", "capacity", "capacity_rate", "chemistry", "connector",
    ),
    Kind.TRUCK.value: ("fleet_number", "voltage", "weight_min", "weight_max"),
    Kind.CHARGER.value: ("bay", "voltages", "capacity_min", "capacity_max", "capacity_rate"),
    Kind.LIFTING.value: ("gear", "rated_load", "own_weight"),
    Kind.ROOM.value: ("equipment", "check", "check_every"),
}  # fmt: skip
"""Kind's letter -> fields that are read off a label in service; the maker's serial stands on the
liner only."""

UNREMARKED = frozenset(("fleet_number", "bay", "connector", "check", "check_every"))
"""Fields of which a label does not say whether they are to be confirmed."""

_UNSURE = (Source.CATALOGUE.value, Source.ASSUMED.value)

Facts = Mapping[str, Any]
"""Field -> fact as it is stored."""


def to_be_confirmed(name: str, fact: Any) -> bool:
    """Whether a label says so of this stored fact."""
    return name not in UNREMARKED and isinstance(fact, Mapping) and fact.get("source") in _UNSURE


def shown(name: str, fact: Any) -> Any:
    """What of a stored fact is to be seen on a label; equal when two labels say the same."""
    if not isinstance(fact, Mapping):
        return None
    return _value(fact), to_be_confirmed(name, fact)


def behind(kind: str, printed: Facts, now: Facts) -> dict[str, Any]:
    """Field -> fact as it was printed, of those that are another now; None: printed as unknown."""
    return {
        name: printed.get(name)
        for name in ON_LABEL.get(kind, ())
        if shown(name, printed.get(name)) != shown(name, now.get(name))
    }


def _value(fact: Any) -> Any:
    """Figures are the same with more zeros behind; words are as they are."""
    if not isinstance(fact, Mapping):
        return fact
    value = fact.get("value")
    if isinstance(value, (list, tuple)):
        return [_value(one) for one in value]
    if "unit" not in fact:
        return value
    try:
        return Decimal(str(value)).normalize(), fact["unit"]
    except ArithmeticError:
        return value, fact["unit"]
