"""Where in a picture something label-like is: the places worth a second opinion.

A QR symbol is dense with edges in both directions. Edge density is summed over small cells, and
the weaker of the two directions counts, so that grilles, shelves and cables (edges in one
direction only) stay out. Lettering and woven mesh come through: this is a cheap sieve, the
decoders decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tagkit.reader.engines import Grey

_CELL = 16
# Mean step between pixels two apart, in grey values, below which no decoder succeeds.
_FAINTEST = 9.0
# How far above the picture's usual edge density a label stands.
_STANDS_OUT = 1.8
_SMALLEST = 32
# Regions up to this side are enlarged as far as any second opinion asks for.
_FULL_DETAIL = 333


@dataclass(frozen=True)
class Region:
    """A part of a picture in pixels, right and bottom not included."""

    left: int
    top: int
    right: int
    bottom: int

    def cut(self, grey: Grey) -> Grey:
        """This part of the picture (a view)."""
        return grey[self.top : self.bottom, self.left : self.right]

    @property
    def area(self) -> int:
        """Square pixels."""
        return (self.right - self.left) * (self.bottom - self.top)

    def holds(self, x: float, y: float) -> bool:
        """Whether a point lies in it."""
        return self.left <= x < self.right and self.top <= y < self.bottom


def whole(grey: Grey) -> Region:
    """The whole picture."""
    return Region(0, 0, grey.shape[1], grey.shape[0])


def label_like(grey: Grey, most: int = 12) -> list[Region]:
    """Up to ``most`` regions of a grey picture that may hold a symbol, strongest first.

    Each has a margin round it for the quiet zone. Looked for at full and at half size: the one
    finds small symbols, the other keeps large or blurred ones in one piece.
    """
    import cv2

    if min(grey.shape) < _SMALLEST:
        return []
    size = (grey.shape[1] // 2, grey.shape[0] // 2)
    half: Any = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    found = _dense(grey, 1) + _dense(half, 2)
    found.sort(key=lambda entry: -entry[0])
    kept: list[Region] = []
    for _, region in found:
        if len(kept) < most and not any(_adds_nothing(region, other) for other in kept):
            kept.append(region)
    return kept


def _dense(grey: Grey, shrunk: int) -> list[tuple[float, Region]]:
    """Strength and place of what is dense with edges; places in the picture before shrinking."""
    import cv2
    import numpy as np

    height, width = grey.shape
    if min(height, width) < _SMALLEST:
        return []
    # A whole number of cells, so that averaging over them takes the fast path.
    columns, rows = (width - 2) // _CELL, (height - 2) // _CELL
    right, bottom = columns * _CELL, rows * _CELL
    inside = grey[:bottom, :right]
    across = cv2.absdiff(inside, grey[:bottom, 2 : right + 2])
    down = cv2.absdiff(inside, grey[2 : bottom + 2, :right])
    across = cv2.resize(across, (columns, rows), interpolation=cv2.INTER_AREA)
    down = cv2.resize(down, (columns, rows), interpolation=cv2.INTER_AREA)
    density = cv2.blur(np.minimum(across, down).astype(np.float32), (3, 3))
    usual = float(np.median(density))
    dense = (density > max(_FAINTEST, _STANDS_OUT * usual)).astype(np.uint8)
    count, _, stats, _ = cv2.connectedComponentsWithStats(dense, connectivity=8)
    cell = _CELL * shrunk
    found = []
    for left, top, wide, high, area in stats[1:count].tolist():
        squareness = min(wide, high) / max(wide, high)
        density_here = float(density[top : top + high, left : left + wide].mean())
        margin_x, margin_y = (wide * 0.15 + 1) * cell, (high * 0.15 + 1) * cell
        region = Region(
            max(0, int(left * cell - margin_x)),
            max(0, int(top * cell - margin_y)),
            min(width * shrunk, int((left + wide) * cell + margin_x)),
            min(height * shrunk, int((top + high) * cell + margin_y)),
        )
        found.append((area * shrunk**2 * density_here * squareness, region))
    return found


def _adds_nothing(region: Region, kept: Region) -> bool:
    """Whether looking at ``kept`` is enough: the same place, or a part of one that is small
    enough to be looked at in full detail."""
    wide = min(region.right, kept.right) - max(region.left, kept.left)
    high = min(region.bottom, kept.bottom) - max(region.top, kept.top)
    common = max(0, wide) * max(0, high)
    if max(kept.right - kept.left, kept.bottom - kept.top) <= _FULL_DETAIL:
        return common > 0.8 * region.area
    return common > 0.7 * max(region.area, kept.area)
