"""The room that a template gives its symbols, and what of a symbol goes into it."""

from __future__ import annotations

import math

from tagkit.errors import WrongInput
from tagkit.labels.drawing import Box
from tagkit.labels.template_model import SymbolPlan, Template
from tagkit.symbol.encode import Symbol, encode


def symbol_for(payload: str, plan: SymbolPlan, mask: int | None = None) -> Symbol:
    """The symbol that stands on such labels: the template's version unless the payload needs a
    larger one, the mask of least penalty unless given."""
    smallest = encode(payload, plan.level, mask=mask)
    if plan.version is None or smallest.version >= plan.version:
        return smallest
    return encode(payload, plan.level, plan.version, mask)


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
