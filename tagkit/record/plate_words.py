"""Stated figures in words, with where they come from; for messages, histories and reports."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tagkit.assets.fields import Field, fields_of
from tagkit.assets.kinds import PLATES
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.units import Quantity

UNKNOWN = "unknown"


def fact_words(tag: str, name: str, fact: Mapping[str, Any] | None) -> str:
    """A stored fact with its source: "1180 kg (stamped)"; "unknown" where there is none."""
    if not fact:
        return UNKNOWN
    value = value_words(tag, name, fact)
    sourced = {
        "stamped": f"{value} (stamped)",
        "weighed": f"{value} (weighed)",
        "nameplate": f"{value} (nameplate)",
        "catalogue": f"{value} (catalogue)",
        "assumed": f"{value} (assumed)",
    }
    return sourced.get(str(fact.get("source")), value)


def value_words(tag: str, name: str, fact: Mapping[str, Any]) -> str:
    """A stored fact without its source, in the unit it was written in."""
    spec = _fields(tag).get(name)
    try:
        if "unit" in fact:
            return str(Quantity.from_stored(dict(fact)))
        value = fact["value"]
        if isinstance(value, (list, tuple)):
            return " / ".join(_item(spec, one) for one in value)
        return _item(spec, value)
    except (KeyError, TypeError, ValueError, ArithmeticError, WrongInput):
        return "can't be read"


def label_of(tag: str, name: str) -> str:
    """What people call this figure."""
    spec = _fields(tag).get(name)
    return spec.label if spec else name.replace("_", " ")


def changed_words(
    tag: str, changes: Mapping[str, Any], before: Mapping[str, Any] | None
) -> list[str]:
    """Each figure that was changed, old and new.

    ``before`` is None where the old figures were not kept beside the new ones: only the new ones
    are told then.
    """
    said = []
    for name, fact in changes.items():
        told = fact_words(tag, name, fact)
        if before is not None:
            told = f"{fact_words(tag, name, before.get(name))} → {told}"
        said.append(f"{label_of(tag, name)}: {told}")
    return said


def _item(spec: Field | None, value: Any) -> str:
    if isinstance(value, Mapping):
        return str(Quantity.from_stored(dict(value)))
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(spec.choices.get(value, value) if spec else value)


def _fields(tag: str) -> Mapping[str, Field]:
    try:
        return fields_of(PLATES[Kind(tag[:1])])
    except ValueError:
        return {}
