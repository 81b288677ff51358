"""What an asset is: in one line, and field by field with where each figure comes from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tagkit.assets.fields import fields_of
from tagkit.assets.kinds import PLATES
from tagkit.assets.tag import Kind
from tagkit.language.figures import shown_fact

Nameplate = Mapping[str, Any]


@dataclass(frozen=True)
class PlateLine:
    """One stated thing."""

    name: str
    label: str
    value: str
    source: str
    dated: bool = False
    """Whether the value is a day, a month or a year."""
    as_written: bool = False
    """Whether people wrote it in words of their own, which nothing translates."""


def plate_lines(kind: Kind, nameplate: Nameplate, units: str) -> list[PlateLine]:
    """Everything that is stated, in the order of the plate."""
    return [
        PlateLine(
            name,
            spec.label,
            shown_fact(spec, fact, units),
            str(fact.get("source", "")),
            spec.reads == "date",
            spec.reads == "text" and name != "cell_layout",
        )
        for name, spec in fields_of(PLATES[kind]).items()
        if (fact := nameplate.get(name))
    ]


def in_one_line(kind: Kind, nameplate: Nameplate, units: str) -> list[str]:
    """The few figures by which people know such an asset."""
    said = {line.name: line.value for line in plate_lines(kind, nameplate, units)}
    if kind is Kind.BATTERY:
        return _battery(said)
    if kind is Kind.TRUCK:
        return _truck(said)
    if kind is Kind.CHARGER:
        ends = [said[name] for name in ("capacity_min", "capacity_max") if name in said]
        return [*_there(said, "voltages"), *([" – ".join(ends)] if ends else []),
                *_there(said, "chemistries")]  # fmt: skip
    return _there(said, "gear", "equipment", "rated_load")


def _battery(said: Mapping[str, str]) -> list[str]:
    capacity = said.get("capacity")
    if capacity and "capacity_rate" in said:
        capacity = f"{capacity} ({said['capacity_rate']} h)"
    return [
        *_there(said, "voltage"),
        *([capacity] if capacity else []),
        *_there(said, "weight", "chemistry", "designation"),
    ]


def _truck(said: Mapping[str, str]) -> list[str]:
    window = [said[name] for name in ("weight_min", "weight_max") if name in said]
    return [
        *_there(said, "model", "voltage"),
        *([" – ".join(window)] if window else []),
        *_there(said, "chemistries"),
    ]


def _there(said: Mapping[str, str], *names: str) -> list[str]:
    return [said[name] for name in names if name in said]
