"""Lines of a printed frame: pairs of edges with dark between them.

Line segments come from OpenCV's detector (von Gioi et al., LSD). A frame line shows as two
segments side by side, running opposite ways when each is turned so that dark lies on its left.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tagkit.reader.recovery.turns import Steps

_SHORTEST = 7.0  # pixels
_MOST_SEGMENTS = 1500
_THINNEST, _THICKEST = 2.2, 22.0  # pixels across a frame line
_TWIST = 0.14  # radians between the two edges
_MOST_BARS = 120
_GAP = 14.0  # thicknesses that damage may take out of a line
_ALIKE = 0.28  # logarithm of the ratio of thicknesses


@dataclass(frozen=True, eq=False)
class Bars:
    """Straight dark lines: start and end of the middle line (N, 2) and thickness (N), pixels."""

    start: NDArray[np.float64]
    end: NDArray[np.float64]
    thickness: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.thickness)

    @property
    def direction(self) -> NDArray[np.float64]:
        """Unit vectors along the lines."""
        along = self.end - self.start
        return np.asarray(along / np.hypot(*along.T)[:, None], np.float64)


def bars(grey: NDArray[np.uint8]) -> Steps[Bars]:
    """Dark lines in a grey picture, longest first, broken ones put together."""
    segments = _edges(grey)
    yield
    pairs = _pairs(segments)
    yield
    return _joined(pairs)


def _edges(grey: NDArray[np.uint8]) -> NDArray[np.float64]:
    """Segments (N, 4) turned so that the dark side is on the left as one walks along (y down)."""
    low, high = np.percentile(grey[::4, ::4], (1, 99))
    stretched = cv2.convertScaleAbs(
        np.clip(grey, low, high), alpha=255 / max(high - low, 8.0), beta=-low * 255 / max(
            high - low, 8.0)
    )  # fmt: skip
    found: Any = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD).detect(stretched)[0]
    if found is None:
        return np.zeros((0, 4))
    segments: NDArray[np.float64] = found.reshape(-1, 4).astype(np.float64)
    length = np.hypot(segments[:, 2] - segments[:, 0], segments[:, 3] - segments[:, 1])
    order = np.argsort(-length)[:_MOST_SEGMENTS]
    segments = segments[order[length[order] >= _SHORTEST]]
    if not len(segments):
        return segments
    along = segments[:, 2:] - segments[:, :2]
    unit = along / np.hypot(*along.T)[:, None]
    left = np.stack([unit[:, 1], -unit[:, 0]], axis=-1)
    steps = np.array([0.2, 0.35, 0.5, 0.65, 0.8])[None, :, None]
    middle = segments[:, None, :2] + steps * along[:, None]

    def tone(offset: float) -> NDArray[np.float64]:
        at = (middle + offset * left[:, None]).astype(np.float32)
        seen = cv2.remap(grey, at[..., 0], at[..., 1], cv2.INTER_LINEAR)
        return np.asarray(seen.astype(np.float64).mean(axis=1), np.float64)

    wrong = tone(1.5) > tone(-1.5)
    segments[wrong] = segments[wrong][:, [2, 3, 0, 1]]
    return segments


def _pairs(segments: NDArray[np.float64]) -> Bars:
    """Two edges that face each other over dark, and what they have in common."""
    count = len(segments)
    if count < 2:
        return Bars(np.zeros((0, 2)), np.zeros((0, 2)), np.zeros(0))
    start, end = segments[:, :2], segments[:, 2:]
    along = end - start
    length = np.hypot(*along.T)
    unit = along / length[:, None]
    left = np.stack([unit[:, 1], -unit[:, 0]], axis=-1)
    middle = (start + end) / 2
    opposite = unit @ unit.T < -np.cos(_TWIST)
    # Distance of the other's middle to the left of this one: dark between both ways.
    off = left @ middle.T - np.sum(left * middle, axis=1)[:, None]
    good = opposite & (off > _THINNEST) & (off < _THICKEST) & (off.T > 0)
    one, two = np.nonzero(np.triu(good, 1) | np.tril(good, -1))
    keep = one < two
    one, two = one[keep], two[keep]
    # Places along the first edge.
    ends = np.stack([
        np.sum((start[two] - start[one]) * unit[one], axis=1),
        np.sum((end[two] - start[one]) * unit[one], axis=1),
    ])  # fmt: skip
    low, high = np.maximum(ends.min(axis=0), 0), np.minimum(ends.max(axis=0), length[one])
    thickness = (off[one, two] + off[two, one]) / 2
    keep = high - low > np.maximum(_SHORTEST * 0.7, 0.6 * thickness)
    one, two, thickness = one[keep], two[keep], thickness[keep]
    low = np.minimum(ends.min(axis=0), 0)[keep]
    high = np.maximum(ends.max(axis=0)[keep], length[one])
    shift = left[one] * thickness[:, None] / 2
    # The middle line halves the angle between its edges.
    mean = unit[one] - unit[two]
    mean /= np.hypot(*mean.T)[:, None]
    centre = (start[one] + unit[one] * ((low + high) / 2)[:, None]) + shift
    half = ((high - low) / 2)[:, None]
    order = np.argsort(-(high - low))[: 2 * _MOST_BARS]
    return Bars((centre - half * mean)[order], (centre + half * mean)[order], thickness[order])


def _joined(parts: Bars) -> Bars:
    """Bars in one line and of one thickness made one (damage breaks a frame's side)."""
    count = len(parts)
    first, last = np.zeros((count, 2)), np.zeros((count, 2))
    width, weight = np.zeros(count), np.zeros(count)
    kept = 0
    for start, end, own_width in zip(parts.start, parts.end, parts.thickness, strict=True):
        own = float(np.hypot(*(end - start)))
        along = last[:kept] - first[:kept]
        length = np.hypot(*along.T)
        unit = along / length[:, None]
        left = np.stack([unit[:, 1], -unit[:, 0]], axis=-1)
        from_first = np.stack([start - first[:kept], end - first[:kept]])
        off = abs(np.sum(from_first * left, axis=2)).max(axis=0)
        ahead = np.sum(from_first * unit, axis=2)
        gap = np.maximum(np.maximum(ahead.min(axis=0) - length, -ahead.max(axis=0)), 0)
        alike = abs(np.log(own_width / width[:kept])) < _ALIKE
        fits = (off < 0.45 * width[:kept]) & (gap < _GAP * width[:kept]) & alike
        found = np.flatnonzero(fits)
        if not len(found):
            first[kept], last[kept], width[kept], weight[kept] = start, end, own_width, own
            kept += 1
            continue
        index = found[0]
        points = np.stack([first[index], last[index], start, end])
        centre = points.mean(axis=0)
        axis = np.linalg.svd(points - centre)[2][0]
        reach = (points - centre) @ axis
        first[index], last[index] = centre + axis * reach.min(), centre + axis * reach.max()
        total = weight[index] + own
        width[index] = (width[index] * weight[index] + own_width * own) / total
        weight[index] = total
    order = np.argsort(-weight[:kept])[:_MOST_BARS]
    return Bars(first[order], last[order], width[order])
