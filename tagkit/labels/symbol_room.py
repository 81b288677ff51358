"""The room that a template gives its symbols, and what of a symbol goes into it."""

from __future__ import annotations

import math
from functools import lru_cache

from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.labels.drawing import Box
from tagkit.labels.template_model import Template
from tagkit.symbol.encode import Symbol, encode

_WEAK, _STRONGER = (4, "H"), 5


def symbol_for(payload: str, template: Template, mask: int | None = None) -> Symbol:
    """The symbol that stands on such labels, with the mask of least penalty unless given.

    The template's version unless the payload needs a larger one. Where the template names none,
    an asset's label takes 5-H instead of 4-H if that can still be read from the stated distance:
    the symbols of neighbouring tags differ in half as many modules again, so that more may be
    lost before the reader can't tell them apart (tests/bench/bench_code_design.py), for modules
    smaller by a tenth.
    """
    plan = template.symbol
    smallest = encode(payload, plan.level, mask=mask)
    if plan.version is not None:
        larger = plan.version
    elif (smallest.version, plan.level) == _WEAK and _for_assets(template):
        larger = _STRONGER if _is_readable(template, _STRONGER) else smallest.version
    else:
        larger = smallest.version
    if smallest.version >= larger:
        return smallest
    return encode(payload, plan.level, larger, mask)


def _for_assets(template: Template) -> bool:
    return all(isinstance(kind, Kind) for kind in template.kinds)


@lru_cache(maxsize=256)
def _is_readable(template: Template, version: int) -> bool:
    try:
        module_for(template, version)
    except WrongInput:
        return False
    return True


def symbol_boxes(template: Template) -> list[Box]:
    """The room of each symbol with its frame."""
    size = template.symbol.size
    return [Box(x, y, size, size) for x, y in template.symbol.at]


def module_for(template: Template, version: int) -> float:
    """The module in mm: the most printer dots that go into the symbol's room.

    Raises WrongInput, saying what would do, when that is too small for the template's reading
    distance and camera.
    """
    plan, reading = template.symbol, template.reading
    across = plan.modules_across(version)
    dots = math.floor(plan.size / template.dot / across + 1e-9)
    module = dots * template.dot
    needed = reading.smallest_module()
    if dots >= 1 and module >= needed - 1e-9:
        return module
    needed_dots = math.ceil(needed / template.dot - 1e-9)
    remedies = [f"make the symbol {needed_dots * across * template.dot:.1f} mm wide"]
    if dots >= 1:
        remedies += [
            f"read it from {reading.largest_distance(module):.0f} mm",
            f"take a camera of {reading.camera_needed(module)} pixels",
        ]
    raise WrongInput(
        f"a symbol of version {version} has modules of {module:.2f} mm in {plan.size:g} mm, too "
        f"small to read from {reading.distance:g} mm ({needed:.2f} mm needed)",
        f"{remedies[0][0].upper()}{', or '.join(remedies)[1:]}, or print a shorter payload",
        f"{template.where}, [symbol] size",
    )
