"""The reading-distance planner: module, symbol, label, distance or camera, from the others.

Derivation. A pinhole camera straight in front of the label sees f m / d pixels a module, with
f = picture width / (2 tan(angle of view / 2)) in pixels. So a module m is readable up to
d = f m / p when p pixels a module are needed. Near the camera the whole frame must be in the
picture: n + 12 modules across, and the picture's shorter side of h pixels, so d >= f (n + 12) m / h.
Moving at v during an exposure of t smears the picture over v t on the label, v t / m modules
whatever the distance (f v t / d pixels of blur over f m / d pixels a module).

What p and the motion may be is measured (tests/bench/bench_motion.py): at 2.0 pixels a module
and half a module of motion zxing-cpp reads 94 of 100 symbols tilted by up to 20 degrees.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from tagkit.labels.reading import PIXELS_PER_MODULE, Reading
from tagkit.labels.template_model import FRAME_LINE, MM_PER_INCH, QUIET
from tagkit.symbol.tables import size_of

MOST_MOTION = 0.5  # modules


@dataclass(frozen=True)
class Camera:
    """What takes the picture."""

    pixels: int  # width of the picture
    angle: float  # horizontal angle of view, degrees
    height: int = 0  # of the picture, pixels; 0: nine sixteenths of its width

    @property
    def shorter_side(self) -> int:
        """In pixels."""
        return min(self.pixels, self.height or self.pixels * 9 // 16)

    def reading(self, distance: float, needed: float = PIXELS_PER_MODULE) -> Reading:
        """Reading from this distance in mm."""
        return Reading(distance, self.pixels, self.angle, needed)


@dataclass(frozen=True)
class Motion:
    """How a hand or a truck moves while the picture is taken."""

    speed: float  # mm a second, across the view
    exposure: float  # seconds

    @property
    def way(self) -> float:
        """On the label, in mm."""
        return self.speed * self.exposure

    def modules(self, module: float) -> float:
        """The smear in modules."""
        return self.way / module

    def longest_exposure(self, module: float) -> float:
        """Seconds that keep the smear within what decoders stand."""
        return MOST_MOTION * module / self.speed

    def smallest_module(self) -> float:
        """The module in mm that stands this motion."""
        return self.way / MOST_MOTION


@dataclass(frozen=True)
class Plan:
    """An answer of the planner; lengths in mm."""

    camera: Camera
    needed: float  # pixels a module
    version: int
    module: float
    nearest: float
    farthest: float
    distance: float | None  # the one asked about
    motion: Motion | None

    @property
    def symbol(self) -> float:
        """Side of the symbol without its quiet zone."""
        return size_of(self.version) * self.module

    @property
    def frame(self) -> float:
        """Outer side of the frame: the room a template gives the symbol."""
        return modules_across(self.version) * self.module

    @property
    def pixels(self) -> float | None:
        """Pixels a module at the distance asked about."""
        if self.distance is None:
            return None
        return self.camera.reading(self.distance).pixels_at(self.module)

    @property
    def readable(self) -> bool:
        """Whether a general decoder reads it there, and while moving so."""
        there = self.distance is None or (
            self.nearest - 1e-6 <= self.distance <= self.farthest + 1e-6
        )
        return there and self.nearest <= self.farthest and self.still_enough

    @property
    def still_enough(self) -> bool:
        """Whether the motion smears the symbol little enough."""
        return self.motion is None or self.motion.modules(self.module) <= MOST_MOTION + 1e-9


def plan_for_module(
    module: float,
    camera: Camera,
    version: int,
    needed: float = PIXELS_PER_MODULE,
    distance: float | None = None,
    motion: Motion | None = None,
) -> Plan:
    """From where a module of this size, mm, can be read."""
    focal = camera.reading(1.0).focal_length
    nearest = focal * modules_across(version) * module / camera.shorter_side
    farthest = camera.reading(1.0, needed).largest_distance(module)
    return Plan(camera, needed, version, module, nearest, farthest, distance, motion)


def plan_for_distance(
    distance: float,
    camera: Camera,
    version: int,
    needed: float = PIXELS_PER_MODULE,
    motion: Motion | None = None,
    dpi: int | None = None,
) -> Plan:
    """The smallest module for this distance, mm; in whole printer dots where ``dpi`` is given."""
    module = camera.reading(distance, needed).smallest_module()
    if motion is not None:
        module = max(module, motion.smallest_module())
    if dpi is not None:
        dot = MM_PER_INCH / dpi
        module = math.ceil(module / dot - 1e-9) * dot
    return plan_for_module(module, camera, version, needed, distance, motion)


def module_of_label(side: float, version: int, dpi: int | None = None) -> float:
    """The largest module whose frame goes into a square of this side, mm; 0 if none does."""
    module = side / modules_across(version)
    if dpi is None:
        return module
    dot = MM_PER_INCH / dpi
    return math.floor(module / dot + 1e-9) * dot


def modules_across(version: int) -> int:
    """From one outer edge of the frame to the other."""
    return size_of(version) + 2 * (QUIET + FRAME_LINE)
