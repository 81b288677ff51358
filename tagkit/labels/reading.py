"""How far away a camera can read a symbol.

Pixels per module = f m / d, with f = image width / (2 tan(angle of view / 2)) in pixels, module
m and distance d in the same unit: the pinhole camera, straight in front.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

# General decoders read 95 of 100 symbols from here on (blur 0.6 px, tilt up to 20 degrees).
PIXELS_PER_MODULE = 2.0


@dataclass(frozen=True)
class Reading:
    """Where a label is meant to be read from, and by which camera."""

    distance: float  # mm
    camera_pixels: int  # width of the picture
    camera_angle: float  # horizontal angle of view, degrees
    pixels_per_module: float = PIXELS_PER_MODULE

    @property
    def focal_length(self) -> float:
        """In pixels."""
        return self.camera_pixels / (2 * math.tan(math.radians(self.camera_angle) / 2))

    def pixels_at(self, module: float) -> float:
        """Pixels per module for a module of this size in mm."""
        return self.focal_length * module / self.distance

    def smallest_module(self) -> float:
        """The smallest module in mm that can be read."""
        return self.pixels_per_module * self.distance / self.focal_length

    def largest_distance(self, module: float) -> float:
        """The largest distance in mm at which a module of this size can be read."""
        return self.focal_length * module / self.pixels_per_module

    def camera_needed(self, module: float) -> int:
        """The picture width in pixels that reads a module of this size at the distance."""
        return math.ceil(self.camera_pixels * self.pixels_per_module / self.pixels_at(module))
