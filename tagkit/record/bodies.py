"""What the body of each kind of event holds, and how older bodies become present ones.

A body carries the version it was written in. Older versions are brought up to date on reading
by the functions in UPCASTERS, one step at a time; the stored bytes never change. A kind or
version from a newer program is kept as it is and not understood.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from types import UnionType
from typing import Any

from tagkit.record.care_bodies import CARE_SHAPES, care_problem, charge_problem

Body = dict[str, Any]
Upcasters = Mapping[tuple[str, int], Callable[[Body], Body]]


@dataclass(frozen=True)
class BodyShape:
    """Present version of a kind's body: what must be there, what is filled in when absent, and
    which of its entries name assets."""

    required: tuple[str, ...] = ()
    defaults: tuple[tuple[str, Any], ...] = ()
    tags: tuple[str, ...] = ()
    version: int = 1


SHAPES: dict[str, BodyShape] = {
    "epoch_started": BodyShape(("public_key", "reason", "cites")),
    "registered": BodyShape(
        ("nameplate",),
        (("delivery", None), ("unloading", None), ("as_stamped", False), ("row", None)),
    ),
    "married": BodyShape(("facts",), (("differences", ()), ("settled", None))),
    "amended": BodyShape(("changes", "reason"), (("second", None), ("before", None))),
    "retired": BodyShape(("reason",), (("receipt", None), ("papers", None))),
    "label_printed": BodyShape(("labels",)),
    "label_inspected": BodyShape(
        ("asset", "verdict", "unused_error_correction"),
        (
            ("contrast", None),
            ("frame", None),
            ("fixed_pattern_damage", None),
            ("reasons", ()),
            ("label", None),
            ("method", "decoded"),
        ),
        ("asset",),
    ),
    "changed": BodyShape(
        ("truck", "battery_in"),
        (
            ("battery_out", None),
            ("out_to", None),
            ("verdict", None),
            ("nameplates", None),
            ("discharged_percent", None),
            ("hours", None),
            ("answers", ()),
            ("release", None),
            ("confirmed_by_hand", ()),
        ),
        ("truck", "battery_in", "battery_out", "out_to"),
    ),
    "seen_at": BodyShape(("battery", "place"), (("verdict", None),), ("battery", "place")),
    "moved": BodyShape(("battery", "place"), (), ("battery", "place")),
    "charge_started": BodyShape(
        ("battery", "charge_kind"),
        (
            ("charger", None),
            ("temperature", None),
            ("sg", None),
            ("verdict", None),
            ("discharge", None),  # of the use before: percent, ah, by
            ("gauge_percent", None),
            ("flags", ()),
            ("imported_from", None),
        ),
        ("battery", "charger"),
    ),
    "charge_ended": BodyShape(
        ("battery",),
        (
            ("temperature", None),
            ("sg", None),
            ("ah", None),
            ("highest_temperature", None),
            ("current", None),  # [[hours since the start, A], ...]
            ("charge_kind", None),  # where no start says it
            ("started_at", None),
            ("discharge", None),
            ("flags", ()),
            ("counts", True),  # False: too short to count as charged
            ("imported_from", None),
            ("replaces", None),  # the id of a scanned end that a log knows more of
        ),
        ("battery",),
    ),
    "held": BodyShape(("asset", "reason"), (("safety", False),), ("asset",)),
    "released": BodyShape(("asset", "reason"), (("hold", None),), ("asset",)),
    "voided": BodyShape(("event", "reason")),
    "authorised": BodyShape(("person", "initials", "role"), (("until", None), ("reference", None))),
    **{
        kind: BodyShape(required, defaults, tags)
        for kind, (required, defaults, tags) in CARE_SHAPES.items()
    },
}

UPCASTERS: dict[tuple[str, int], Callable[[Body], Body]] = {}
"""(kind, version) -> the body one version newer. Every body is still at version 1."""

CHARGE_KINDS = ("conventional", "opportunity", "equalize", "freshening")
ROLES = ("attendant", "technician", "supervisor")
LABEL_VERDICTS = ("good", "reprint soon", "reprint now")
TEXTS = frozenset(
    ("reason", "note", "what", "receipt", "papers", "delivery", "circumstances", "quality", "hold",
     "second", "settled", "procedure")
)  # fmt: skip
"""Entries that are words wherever they stand."""

FACTS = frozenset(("nameplate", "facts", "changes"))
"""Entries that hold what stands on a nameplate."""

PLACES = ("place", "out_to")
"""Entries that say where a battery is."""
PLACE_KINDS = ("truck", "charger", "stand", "elsewhere")


def completed(kind: str, body: Mapping[str, Any]) -> Body:
    """The body with absent optional entries filled in.

    Raises ValueError for a kind that does not exist or a body without a required entry: that
    is a mistake of the caller, not of a person.
    """
    shape = SHAPES.get(kind)
    if shape is None:
        raise ValueError(f"there is no event of kind “{kind}”")
    missing = [name for name in shape.required if name not in body]
    if missing:
        raise ValueError(f"the body of “{kind}” lacks {', '.join(missing)}")
    filled = {
        name: list(value) if isinstance(value, tuple) else value for name, value in shape.defaults
    }
    filled.update(body)
    if problem := _problem(kind, filled):
        raise ValueError(problem)
    return filled


def _problem(kind: str, body: Body) -> str | None:
    for name in SHAPES[kind].tags:
        if name not in PLACES and not isinstance(body.get(name), str | None):
            return f"“{name}” must be the number of an asset"
    for name in TEXTS & body.keys():
        if not isinstance(body[name], str | None):
            return f"“{name}” is a text"
    for name in FACTS & body.keys():
        if body[name] is not None and not _are_facts(body[name]):
            return f"“{name}” names fields with their facts"
    for name in PLACES:
        place = body.get(name)
        if place is not None and name in SHAPES[kind].tags:
            if not isinstance(place, dict) or place.get("kind") not in PLACE_KINDS:
                return f"“{name}” must be a place with one of the kinds {', '.join(PLACE_KINDS)}"
            if not isinstance(place.get("name"), str):
                return f"“{name}” must have a name"
    if kind == "charge_started" and body["charge_kind"] not in CHARGE_KINDS:
        return f"a charge is one of {', '.join(CHARGE_KINDS)}"
    if kind == "label_inspected":
        return _label_problem(body)
    if kind == "changed" and not _all_are(body["answers"], dict):
        return "“answers” is a list of what was asked and given"
    if kind == "married" and not _all_are(body["differences"], str | dict):
        return "“differences” is a list of what differs"
    if kind == "authorised" and body["role"] not in ROLES:
        return f"a role is one of {', '.join(ROLES)}"
    if kind in ("charge_started", "charge_ended"):
        if not (
            _all_are(body["flags"], dict) and all(flag.keys() >= _FLAG for flag in body["flags"])
        ):
            return "“flags” is a list of what was noticed"
        return charge_problem(body)
    return care_problem(kind, body)


_FLAG = {"code", "severity", "sentence"}


def _label_problem(body: Body) -> str | None:
    if body["verdict"] not in LABEL_VERDICTS:
        return f"a label is one of {', '.join(LABEL_VERDICTS)}"
    if not _all_are(body["reasons"], str):
        return "“reasons” is a list of texts"
    for name in ("unused_error_correction", "contrast", "fixed_pattern_damage"):
        value = body[name]
        if value is None and name != "unused_error_correction":
            continue
        if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) <= 100:
            return f"“{name}” is a share of the whole"
    return None


def _are_facts(value: Any) -> bool:
    return isinstance(value, dict) and all(
        fact is None or (isinstance(fact, dict) and _is_measured(fact)) for fact in value.values()
    )


def _is_measured(fact: dict[str, Any]) -> bool:
    """Whether what has a unit is a figure."""
    if "unit" not in fact:
        return True
    try:
        return isinstance(fact["unit"], str) and Decimal(str(fact.get("value"))).is_finite()
    except ArithmeticError:
        return False


def _all_are(value: Any, kind: type | UnionType) -> bool:
    return isinstance(value, list) and all(isinstance(one, kind) for one in value)


def present_body(
    kind: str, version: int, body: Body, upcasters: Upcasters = UPCASTERS
) -> Body | None:
    """The body in the present version, or None when this program does not understand it."""
    shape = SHAPES.get(kind)
    if shape is None or version > shape.version:
        return None
    for step in range(version, shape.version):
        raise_it = upcasters.get((kind, step))
        if raise_it is None:
            return None
        body = raise_it(body)
    try:
        return completed(kind, body)
    except (ValueError, TypeError, KeyError, AttributeError, ArithmeticError):
        return None


def tags_in(kind: str, body: Mapping[str, Any]) -> Iterable[str]:
    """The assets that the body names."""
    for name in SHAPES[kind].tags:
        value = body.get(name)
        if isinstance(value, dict):
            value = value.get("name") if value.get("kind") in ("truck", "charger") else None
        if isinstance(value, str):
            yield value
