"""From a picture and the place of a label to one soft value for each module.

Lengths on the label are in modules from the symbol's own top left corner, x to the right, y
down; a module's middle lies at whole number + 0.5. Pixel centres are at whole numbers.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tagkit.reader.symbols import Corners

Field = NDArray[np.float32]
Points = NDArray[np.float64]

MARGIN = 6  # modules from the symbol to the outer edge of its printed frame
OUT_OF_SIGHT = 1.35  # radians from the crest of a cable
_INSIDE = 0.22  # of a module from its middle: where it is sampled besides
_AROUND = 1.5  # modules: width of the surroundings that a module is compared with
_FAINTEST = 0.5  # of the symbol's usual contrast


@dataclass(frozen=True, eq=False)
class Place:
    """Where a label lies: modules -> picture.

    ``matrix`` is the homography of a flat label (3 × 3). ``bend`` says how it curves round a
    cable: (curvature across, its crest; curvature down, its crest), curvature in 1 / modules
    and crest in modules; zero curvature is flat.
    """

    size: int
    matrix: Points
    bend: tuple[float, float, float, float] = (0.0, 0.0, 0.0, 0.0)

    def to_picture(self, points: Points) -> Points:
        """Points in modules (…, 2) -> pixels (…, 2)."""
        points = np.asarray(points, np.float64)
        across, crest_x, down, crest_y = self.bend
        if across or down:
            x = seen_from_the_front(points[..., 0], across, crest_x)
            y = seen_from_the_front(points[..., 1], down, crest_y)
            points = np.stack([x, y], axis=-1)
        seen = points @ self.matrix[:, :2].T + self.matrix[:, 2]
        return np.asarray(seen[..., :2] / seen[..., 2:], np.float64)

    def in_sight(self, points: Points) -> NDArray[np.bool_]:
        """Which points (…, 2) face the camera enough to show anything."""
        points = np.asarray(points, np.float64)
        seen = np.ones(points.shape[:-1], np.bool_)
        for axis in (0, 1):
            curve, crest = self.bend[2 * axis : 2 * axis + 2]
            if curve:
                seen &= abs(points[..., axis] - crest) * curve < OUT_OF_SIGHT
        return seen

    @property
    def corners(self) -> Points:
        """The symbol's corners (4, 2) in the picture, from its own top left, clockwise."""
        n = float(self.size)
        return self.to_picture(np.array([(0, 0), (n, 0), (n, n), (0, n)]))

    @property
    def module(self) -> float:
        """Pixels a module: the square root of its mean area."""
        x, y = self.corners[:, 0], self.corners[:, 1]
        area = 0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))
        return float(np.sqrt(area)) / self.size

    def turned(self, quarters: int) -> Place:
        """The same square with its top left corner ``quarters`` corners further clockwise."""
        matrix, bend = self.matrix, self.bend
        n = float(self.size)
        for _ in range(quarters % 4):
            # New (x, y) lies at old (n - y, x).
            matrix = matrix @ np.array([[0, -1, n], [1, 0, 0], [0, 0, 1.0]])
            bend = (bend[2], bend[3], bend[0], n - bend[1])
        return replace(self, matrix=matrix, bend=bend)


def place_of(corners: Points, size: int) -> Place:
    """The flat place whose symbol has these corners."""
    n = float(size)
    square = np.array([(0, 0), (n, 0), (n, n), (0, n)], np.float32)
    matrix = cv2.getPerspectiveTransform(square, np.asarray(corners, np.float32))
    return Place(size, np.asarray(matrix, np.float64))


def corners_of(place: Place) -> Corners:
    """The symbol's corners as reads have them."""
    first, second, third, fourth = ((float(x), float(y)) for x, y in place.corners)
    return first, second, third, fourth


def grey_modules(picture: Field, place: Place) -> Field:
    """The mean grey value of each module (size, size)."""
    middles = np.arange(place.size) + 0.5
    x, y = np.meshgrid(middles, middles)
    middle = np.stack([x, y], axis=-1)
    offsets = (-_INSIDE, 0.0, _INSIDE)
    points = np.stack([middle + np.array((right, below)) for below in offsets for right in offsets])
    seen = place.to_picture(points).astype(np.float32)
    values: Any = cv2.remap(
        picture, seen[..., 0].reshape(-1, place.size), seen[..., 1].reshape(-1, place.size),
        cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    means: Field = values.reshape(9, place.size, place.size).mean(axis=0)
    return means


def in_sight(place: Place) -> NDArray[np.bool_]:
    """Which modules (size, size) face the camera: all but those round a cable's side."""
    middles = np.arange(place.size) + 0.5
    return place.in_sight(np.stack(np.meshgrid(middles, middles), axis=-1))


def soft(grey: Field) -> Field:
    """Each module against its surroundings: near +1 dark, near -1 light, near 0 nothing known.

    Damage of one tone erases itself (it equals its surroundings); faint print is raised to the
    strength of the rest, but not more than a few times, so that noise stays noise.
    """
    off = _surroundings(grey) - grey
    strength = cv2.sqrt(_surroundings(off * off))
    usual = float(np.quantile(strength, 0.8)) + 1e-3
    scaled: Any = off / np.maximum(strength, np.float32(_FAINTEST * usual))
    known: Field = np.clip(scaled, -1, 1).astype(np.float32)
    return known


def _surroundings(values: Field) -> Field:
    """The mean around each module."""
    around: Any = cv2.GaussianBlur(values, (0, 0), _AROUND, borderType=cv2.BORDER_REFLECT)
    return np.asarray(around, np.float32)


def seen_from_the_front(lengths: Points, curvature: float, crest: float) -> Points:
    """Where lengths along a cylinder's skin appear from the front."""
    if not curvature:
        return lengths
    angle = np.clip((lengths - crest) * curvature, -np.pi / 2, np.pi / 2)
    return np.asarray(np.sin(angle) / curvature + crest)
