"""First guesses of where a label lies, from a corner of its frame or one finder pattern.

Either gives a corner, two directions and about the size of a module along both: everything but
the perspective, which is small over one label and found by refining.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tagkit.reader.recovery.lines import Bars
from tagkit.reader.recovery.sampling import MARGIN, Points
from tagkit.reader.recovery.turns import Steps

_NEAR = 7.0  # thicknesses between a bar's end and the corner it belongs to
_SLIMMEST = np.cos(np.radians(48))
_MOST_CORNERS = 150
_PARALLEL = np.cos(np.radians(9))
_ALIKE = 0.5  # logarithm of the ratio of thicknesses
_MOST_PAIRS = 40
_AT_ONCE = 100  # pairs looked at in one step


@dataclass(frozen=True, eq=False)
class Seeds:
    """Corners (N, 2) of the outer edge of symbols in pixels; steps of one module (N, 2) along
    the two sides that meet there; how much was seen, in modules."""

    corner: NDArray[np.float64]
    right: NDArray[np.float64]
    down: NDArray[np.float64]
    weight: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.weight)


def from_bars(bars: Bars) -> Seeds:
    """A seed for every two bars that meet like two sides of a frame, for each way they may go."""
    if len(bars) < 2:
        return _none()
    unit, width = bars.direction, bars.thickness
    one, two = np.triu_indices(len(bars), 1)
    cosine = np.sum(unit[one] * unit[two], axis=1)
    cross = unit[one, 0] * unit[two, 1] - unit[one, 1] * unit[two, 0]
    alike = width[one] / width[two]
    keep = (abs(cosine) < _SLIMMEST) & (alike > 0.5) & (alike < 2.0)
    one, two, cross = one[keep], two[keep], cross[keep]
    gap = bars.start[two] - bars.start[one]
    at_one = (gap[:, 0] * unit[two, 1] - gap[:, 1] * unit[two, 0]) / cross
    at_two = (gap[:, 0] * unit[one, 1] - gap[:, 1] * unit[one, 0]) / cross
    meeting = bars.start[one] + at_one[:, None] * unit[one]
    long_one = np.hypot(*(bars.end[one] - bars.start[one]).T)
    long_two = np.hypot(*(bars.end[two] - bars.start[two]).T)
    off_one = np.maximum(np.maximum(-at_one, at_one - long_one), 0)
    off_two = np.maximum(np.maximum(-at_two, at_two - long_two), 0)
    # A module along one side is half the thickness of the other, seen along the first.
    module_one = width[two] / abs(cross) / 2
    module_two = width[one] / abs(cross) / 2
    near = (off_one < _NEAR * width[one]) & (off_two < _NEAR * width[two])
    parts = []
    for way_one in (1, -1):
        for way_two in (1, -1):
            # How much of each bar lies ahead of the corner, in modules.
            ahead_one = (long_one - at_one if way_one > 0 else at_one) / module_one
            ahead_two = (long_two - at_two if way_two > 0 else at_two) / module_two
            good = near & (ahead_one > 6) & (ahead_two > 6)
            good &= np.maximum(ahead_one, ahead_two) < 75
            right = way_one * unit[one] * module_one[:, None]
            down = way_two * unit[two] * module_two[:, None]
            corner = meeting + (MARGIN - 1) * (right + down)
            weight = np.minimum(ahead_one, 45) + np.minimum(ahead_two, 45)
            weight -= (off_one / module_one + off_two / module_two) * 0.5
            parts.append((corner[good], right[good], down[good], weight[good]))
    return _best(*(np.concatenate(part) for part in zip(*parts, strict=True)))


def from_finders(grey: NDArray[np.uint8]) -> Seeds:
    """Seeds for every square with a square in a square: a finder pattern at any corner."""
    corners, rights, downs = [], [], []
    for quad in _finders(grey):
        right = (quad[1] - quad[0] + quad[2] - quad[3]) / 14
        down = (quad[3] - quad[0] + quad[2] - quad[1]) / 14
        centre = quad.mean(axis=0)
        for across, below in ((right, down), (down, -right), (-right, -down), (-down, right)):
            corners.append(centre - 3.5 * (across + below))
            rights.append(across)
            downs.append(below)
    if not corners:
        return _none()
    return Seeds(np.array(corners), np.array(rights), np.array(downs), np.full(len(corners), 60.0))


@dataclass(frozen=True, eq=False)
class Facing:
    """Two opposite sides of a frame, or what is left of them: a point on the outer edge of the
    symbol midway along what is left, the step of one module along the sides (its length a
    guess) and across to the other side (its length known), for a symbol of ``size``."""

    size: int
    middle: NDArray[np.float64]
    along: NDArray[np.float64]
    across: NDArray[np.float64]
    length: float  # modules left of the sides
    weight: float


def facing(bars: Bars, sizes: Sequence[int]) -> Steps[list[Facing]]:
    """Every two parallel bars as far apart, for their thickness, as two sides of a frame."""
    if len(bars) < 2:
        return []
    unit, width = bars.direction, bars.thickness
    one, two = np.triu_indices(len(bars), 1)
    cosine = np.sum(unit[one] * unit[two], axis=1)
    keep = (abs(cosine) > _PARALLEL) & (abs(np.log(width[one] / width[two])) < _ALIKE)
    # As far apart as some symbol's frame would be, for their thickness; looked at closely below.
    middle = (bars.start + bars.end) / 2
    apart_about = abs(np.sum((middle[two] - middle[one]) * np.stack(
        [-unit[one, 1], unit[one, 0]], axis=-1), axis=1))  # fmt: skip
    spans = (width[one] + width[two]) / 4
    least, most = min(sizes) + 2 * MARGIN - 2, max(sizes) + 2 * MARGIN - 2
    keep &= (apart_about > 0.5 * least * spans / 1.4) & (apart_about < 1.5 * most * spans / 0.72)
    found = []
    for number, (first, second, cosine_here) in enumerate(
        zip(one[keep], two[keep], cosine[keep], strict=True)
    ):
        if number % _AT_ONCE == _AT_ONCE - 1:
            yield
        along = unit[first] + np.sign(cosine_here) * unit[second]
        along /= np.hypot(*along)
        normal = np.array([-along[1], along[0]])
        centres = (bars.start[[first, second]] + bars.end[[first, second]]) / 2
        apart = float((centres[1] - centres[0]) @ normal)
        if apart < 0:
            normal, apart = -normal, -apart
        ends = np.stack([bars.start[[first, second]], bars.end[[first, second]]])
        at = (ends - centres[0]) @ along
        low, high = at.min(axis=0), at.max(axis=0)
        for size in sizes:
            module = apart / (size + 2 * MARGIN - 2)
            thick = float(width[first] + width[second]) / 4 / module
            reach = float(max(high) - min(low)) / module
            if not (0.72 < thick < 1.4) or reach > 1.5 * (size + 2 * MARGIN):
                continue
            middle = centres[0] + along * float(max(high) + min(low)) / 2
            middle = middle + normal * module * (MARGIN - 1)
            weight = min(float((high - low).sum()) / module, 2.0 * size) - 20 * abs(np.log(thick))
            found.append(Facing(size, middle, along * module, normal * module, reach, weight))
    found.sort(key=lambda pair: -pair.weight)
    return found[:_MOST_PAIRS]


def together(*several: Seeds) -> Seeds:
    """All of them."""
    return Seeds(*(
        np.concatenate([getattr(seeds, name) for seeds in several])
        for name in ("corner", "right", "down", "weight")
    ))  # fmt: skip


def _finders(grey: NDArray[np.uint8]) -> list[Points]:
    """Corners (4, 2) of dark rings with a dark blob in them, on their outer edge."""
    smooth = cv2.GaussianBlur(grey, (0, 0), 0.8)
    found: list[Points] = []
    for window in (25, 61):
        dark = cv2.adaptiveThreshold(
            smooth, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, window, 3
        )
        contours, nested = cv2.findContours(dark, cv2.RETR_TREE, cv2.CHAIN_APPROX_NONE)
        tree: Any = nested
        if tree is None:
            continue
        for index, (_, _, child, _) in enumerate(tree[0]):
            if child < 0 or tree[0][child][2] < 0:
                continue
            blob = contours[tree[0][child][2]]
            ring, hole = contours[index], contours[child]
            if len(blob) < 6 or len(ring) < 20 or len(ring) > 500:
                continue
            quad = _ring_corners(ring, hole, blob)
            if quad is not None and not any(
                np.hypot(*(quad.mean(axis=0) - other.mean(axis=0))) < 3 for other in found
            ):
                found.append(quad)
    return found[:40]


def _ring_corners(ring: object, hole: object, blob: object) -> Points | None:
    """The ring's outer corners when ring, hole and blob measure 7 : 5 : 3 about one middle."""
    boxes = [cv2.minAreaRect(part) for part in (ring, hole, blob)]  # type: ignore[call-overload]
    (x, y), (wide, high), _ = boxes[0]
    (u, v), (blob_wide, blob_high), _ = boxes[2]
    if min(blob_wide, blob_high) < 2 or min(wide, high) / max(wide, high) < 0.45:
        return None
    if np.hypot(u - x, v - y) > 0.15 * max(wide, high):
        return None
    share = (blob_wide * blob_high) / (wide * high)
    if not 0.06 < share < 0.4:
        return None
    # Tilt makes the square a parallelogram: its corners are where the outline is farthest out.
    outline = np.asarray(ring).reshape(-1, 2).astype(np.float64)
    hull = cv2.convexHull(outline.astype(np.float32))
    quad = cv2.approxPolyDP(hull, 0.08 * cv2.arcLength(hull, True), True).reshape(-1, 2)
    if len(quad) != 4:
        quad = cv2.boxPoints(boxes[0])
    quad = quad.astype(np.float64)
    if abs(cv2.contourArea(quad.astype(np.float32))) < 0.7 * wide * high:
        return None
    # Contours run through the outermost pixels; the edge is half a pixel further out.
    centre = quad.mean(axis=0)
    side = np.sqrt(wide * high)
    quad = centre + (quad - centre) * (1 + 1 / max(side, 1))
    (x, y), (u, v) = quad[1] - quad[0], quad[2] - quad[1]
    if x * v - y * u < 0:
        quad = quad[::-1]
    return np.asarray(quad, np.float64)


def _best(
    corner: NDArray[np.float64], right: NDArray[np.float64], down: NDArray[np.float64],
    weight: NDArray[np.float64],
) -> Seeds:  # fmt: skip
    # Always clockwise: "down" lies to the right of "right" when y points down.
    turned = right[:, 0] * down[:, 1] - right[:, 1] * down[:, 0] < 0
    right[turned], down[turned] = down[turned].copy(), right[turned].copy()
    order = np.argsort(-weight)[:_MOST_CORNERS]
    return Seeds(corner[order], right[order], down[order], weight[order])


def _none() -> Seeds:
    return Seeds(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0))
