"""Where in a picture something label-like is: the places worth a second opinion.

A QR symbol is dense with edges in both directions. Edge density is summed over small cells, and
the weaker of the two directions counts, so that grilles, shelves and cables (edges in one
direction only) stay out. Lettering and woven mesh come through: this is a cheap sieve, the
decoders decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tagkit.reader.engines import Grey

_CELL = 16
# Mean step between pixels two apart, in grey values, below which no decoder succeeds.
_FAINTEST = 9.0
# How far above the picture's usual edge density a label stands.
_STANDS_OUT = 1.8
_SMALLEST = 32


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

    def holds(self, x: float, y: float) -> bool:
        """Whether a point lies in it."""
        return self.left <= x < self.right and self.top <= y < self.bottom


def whole(grey: Grey) -> Region:
    """The whole picture."""
    return Region(0, 0, grey.shape[1], grey.shape[0])


def label_like(grey: Grey, most: int = 12) -> list[Region]:
    """Up to ``most`` regions of a grey picture that may hold a symbol, strongest first.

    Each has a margin round it for the quiet zone.
    """
    import cv2
    import numpy as np

    height, width = grey.shape
    if min(height, width) < _SMALLEST:
        return []
    # A whole number of cells, so that averaging over them takes the fast path.
    columns, rows = (width - 2) // _CELL, (height - 2) // _CELL
    across_end, down_end = columns * _CELL, rows * _CELL
    inside = grey[:down_end, :across_end]
    across = cv2.absdiff(inside, grey[:down_end, 2 : across_end + 2])
    down = cv2.absdiff(inside, grey[2 : down_end + 2, :across_end])
    across = cv2.resize(across, (columns, rows), interpolation=cv2.INTER_AREA)
    down = cv2.resize(down, (columns, rows), interpolation=cv2.INTER_AREA)
    density = cv2.blur(np.minimum(across, down).astype(np.float32), (3, 3))
    usual = float(np.median(density))
    dense = (density > max(_FAINTEST, _STANDS_OUT * usual)).astype(np.uint8)
    count, _, stats, _ = cv2.connectedComponentsWithStats(dense, connectivity=8)
    found = []
    for left, top, wide, high, area in stats[1:count].tolist():
        squareness = min(wide, high) / max(wide, high)
        density_here = float(density[top : top + high, left : left + wide].mean())
        strength = area * density_here * squareness
        margin_x, margin_y = (wide * 0.15 + 1) * _CELL, (high * 0.15 + 1) * _CELL
        region = Region(
            max(0, int(left * _CELL - margin_x)),
            max(0, int(top * _CELL - margin_y)),
            min(width, int((left + wide) * _CELL + margin_x)),
            min(height, int((top + high) * _CELL + margin_y)),
        )
        found.append((strength, region))
    found.sort(key=lambda entry: -entry[0])
    return [region for _, region in found[:most]]
