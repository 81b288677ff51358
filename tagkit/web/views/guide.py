"""What the guide holds, and the distances that a camera reads the site's labels from."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from pathlib import Path

from tagkit.jobs.distance import Asked, plan_distance
from tagkit.units import Quantity


def _(sentence: str) -> str:
    """Marks a sentence for the catalogue; it is translated when it is shown."""
    return sentence


TOPICS = {
    "station": _("Set up a station"),
    "day-one": _("Day one"),
    "whiteboard": _("Moving over from a whiteboard"),
    "answers": _("What each answer means"),
    "delivery": _("Delivery and marrying"),
    "rounds": _("Rounds and care"),
    "connection": _("When the connection is lost"),
    "people": _("People and badges"),
    "safety": _("Cautions"),
}

PICTURES = (
    "station-show", "station-fit", "station-finish", "station-no-fit", "station-not-confirmed",
    "station-not-ready", "connection-lost", "check", "delivery", "marry", "labels", "round",
    "rotation", "number", "shift", "start",
)  # fmt: skip
"""Each in every language, static/guide/NAME.LANGUAGE.webp, made by the browser tests."""

MM_PER_INCH = 25.4
_EASY = 1.5
"""A module that is this much larger than needed is still read when the light is poor."""


@dataclass(frozen=True)
class Reach:
    """From where a camera reads a template's label; lengths in the visitor's units."""

    template: str
    module: Quantity
    nearest: Quantity
    easy: Quantity
    farthest: Quantity
    distance: Quantity | None
    """The one that was asked about."""
    readable: bool
    pixels: float | None
    needed: float
    camera: int
    angle: float


def reach_of(
    template: str, us: bool, camera: int | None, angle: float | None, distance: str
) -> Reach:
    """The planner's answer for a template; its own camera where none is given. WrongInput names
    what can't be."""
    asked = Asked(template=template, camera=camera, angle=angle, distance=distance.strip() or None)
    plan = plan_distance(asked).plan
    easy = max(plan.nearest, plan.farthest / _EASY)
    return Reach(
        template,
        _length(plan.module, us, 2),
        _length(plan.nearest, us),
        _length(easy, us),
        _length(plan.farthest, us),
        _length(plan.distance, us) if plan.distance is not None and distance.strip() else None,
        plan.readable,
        plan.pixels,
        plan.needed,
        plan.camera.pixels,
        plan.camera.angle,
    )


def _length(mm: float, us: bool, digits: int = 0) -> Quantity:
    if us:
        return Quantity(Decimal(f"{mm / MM_PER_INCH:.{digits + 1}f}"), "in")
    return Quantity(Decimal(f"{mm:.{digits}f}"), "mm")


@cache
def picture_size(name: str) -> tuple[int, int]:
    """Width and height of a picture of the guide, pixels, so that its room is kept for it."""
    from PIL import Image

    with Image.open(Path(__file__).parents[1] / "static" / "guide" / name) as picture:
        return picture.size
