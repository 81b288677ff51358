"""What keeps a camera from reading, in words that say what to do.

Asked when nothing was read. The limits lie between what the damage laboratory's good scenes and
its spoilt ones show (python -m tests.bench.bench_trouble prints both).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from tagkit.reader.engines import Grey

_DARK = 60  # the picture's brightest places (98 %) are darker
_LIT = 250  # grey value at which a sensor is full
_FLOODED, _GLARE = 0.10, 0.008  # share of the picture that is full
_FOG_BLACK, _FOG_RANGE = 70, 75  # darkest places, and their distance from the brightest
# Steepest step over the range around it along the direction in which edges are least sharp, and
# in which they are sharpest: 0.48 and 0.55 at least in good scenes.
_STEADY, _SHARP = 0.44, 0.50
_DIRECTIONS = 8
_LINE = 15  # pixels along which a step is compared with the range
_FEWEST = 400  # strong edges that say something about a direction
_WORKING_SIDE = 720
_FAR = 1.5  # pixels a module
_SMALLEST = 18  # pixels a side below which nothing tells a frame from a letter
_BUSY = 4  # changes from dark to light and back along a row of a symbol; letters have fewer
_LEAST_CONTRAST = 25  # grey values between a frame's line and the light inside it
# Enlargement of the picture, and the pixels around each that its threshold is taken from: small
# frames fall apart at the first, frames on dark ground at the second.
_SCALES = ((1, 31), (2, 101))
_MODULES = 41  # of our frames' outer side, about: 33 to 45

TOO_DARK = "Too dark: switch on a light or uncover the lens."
TOO_BRIGHT = "Too bright: turn the camera away from the light, or shade the label."
GLARE = "Glare: a lamp is mirrored. Tilt the label or the camera a little, or shade it."
FOGGED = "Fogged or frosted: wipe the lens and the label."
NOT_SHARP = "Out of focus: go a little nearer or further away, and wipe the lens."
SHAKEN = "Shaken: hold still, or rest the camera or the label on something."
TOO_FAR = "Too far: a label is in view, but small. Go nearer."


@dataclass(frozen=True)
class Look:
    """What is measured of a picture: grey values (0 to 255), shares and pixels."""

    black: float
    white: float
    full: float
    sharpness: tuple[float, float]
    """Of strong edges, the steepest step over the range around it: along the direction in which
    they are least sharp, and in which they are sharpest."""
    farthest: float | None
    """Pixels a module of the smallest frame of ours in view; None without one."""


def camera_trouble(picture: NDArray[Any]) -> str | None:
    """The trouble with a picture (grey or BGR, uint8) as a sentence with its remedy, or None.

    It is meant for pictures in which nothing was read: a lamp in view is no trouble as long as
    the label is read.
    """
    from tagkit.reader.read import to_grey

    seen = measured(to_grey(picture))
    if seen.white < _DARK:
        return TOO_DARK
    if seen.full > _FLOODED:
        return TOO_BRIGHT
    if seen.black > _FOG_BLACK and seen.white - seen.black < _FOG_RANGE:
        return FOGGED
    least, most = seen.sharpness
    if least < _STEADY:
        return SHAKEN if most >= _SHARP else NOT_SHARP
    if seen.full > _GLARE:
        return GLARE
    if seen.farthest is not None and seen.farthest < _FAR:
        return TOO_FAR
    return None


def measured(grey: Grey) -> Look:
    """The measures of a grey picture (H × W, uint8)."""
    import cv2
    import numpy as np

    black, white = (float(value) for value in np.percentile(grey, (2, 98)))
    full = float((cv2.blur(grey, (5, 5)) >= _LIT).mean())
    return Look(black, white, full, _sharpness(grey), _farthest(grey))


def _sharpness(grey: Grey) -> tuple[float, float]:
    """The least and the most sharpness of strong edges over all directions.

    A lens out of focus takes it from all of them; a shaking hand only from edges across its way.
    """
    import cv2
    import numpy as np

    height, width = grey.shape
    if min(height, width) < 2 * _LINE:
        return 1.0, 1.0
    # The middle of a large picture, not a smaller picture: shrinking would sharpen it.
    top, left = (max(0, (side - _WORKING_SIDE) // 2) for side in (height, width))
    part = grey[top : top + _WORKING_SIDE, left : left + _WORKING_SIDE].astype(np.float32)
    coarse = cv2.GaussianBlur(part, (0, 0), 2.5)
    part = np.asarray(cv2.GaussianBlur(part, (0, 0), 0.8), np.float32)
    down, across = (cv2.Sobel(coarse, cv2.CV_32F, *axis, ksize=3) for axis in ((0, 1), (1, 0)))
    across_edges = np.arctan2(np.asarray(down), np.asarray(across))
    found = []
    for angle in np.arange(_DIRECTIONS) * np.pi / _DIRECTIONS:
        line = _line(float(angle))
        reach = np.asarray(cv2.subtract(cv2.dilate(part, line), cv2.erode(part, line)))
        ahead, behind = (_moved(part, float(angle), way) for way in (1, -1))
        steepest = np.asarray(cv2.dilate(cv2.absdiff(ahead, behind), line))
        off = np.abs(np.mod(across_edges - angle + np.pi / 2, np.pi) - np.pi / 2)
        strong = reach > max(0.35 * float(np.percentile(reach[::3, ::3], 99.5)), 8.0)
        strong &= off < np.pi / _DIRECTIONS
        if np.count_nonzero(strong) > _FEWEST:
            found.append(float(np.percentile(steepest[strong] / reach[strong], 75)))
    return (min(found), max(found)) if found else (1.0, 1.0)


def _line(angle: float) -> NDArray[np.uint8]:
    """A line of _LINE pixels through the middle of a square, as a structuring element."""
    import cv2
    import numpy as np

    half = _LINE // 2
    x, y = half * float(np.cos(angle)), half * float(np.sin(angle))
    first, last = ((round(half + way * x), round(half + way * y)) for way in (-1, 1))
    line = np.zeros((_LINE, _LINE), np.uint8)
    cv2.line(line, first, last, 1)
    return line


def _moved(part: NDArray[np.float32], angle: float, way: int) -> NDArray[np.float32]:
    """The picture one pixel further along a direction."""
    import cv2
    import numpy as np

    matrix = np.array([(1, 0, way * np.cos(angle)), (0, 1, way * np.sin(angle))], np.float64)
    size = (part.shape[1], part.shape[0])
    moved = cv2.warpAffine(part, matrix, size, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(moved, np.float32)


def _farthest(grey: Grey) -> float | None:
    """Pixels a module of the smallest thing that looks like a label's frame."""
    import cv2
    import numpy as np

    sides = []
    for scale, around in _SCALES:
        seen = grey
        if scale > 1:
            seen = np.asarray(
                cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC), np.uint8
            )
        dark = cv2.adaptiveThreshold(
            seen, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, around, 8
        )
        outlines, _ = cv2.findContours(dark, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
        for outline in outlines:
            if len(outline) < 4 or cv2.contourArea(outline) < (scale * _SMALLEST) ** 2:
                continue
            square = cv2.approxPolyDP(outline, 0.06 * cv2.arcLength(outline, True), True)
            if len(square) != 4 or not cv2.isContourConvex(square):
                continue
            corners = square.reshape(4, 2).astype(np.float32)
            middle = corners.mean(axis=0)
            # The outline is the outer or the inner edge of the frame's line.
            for larger in (1.0, _MODULES / (_MODULES - 4)):
                outer = (middle + (corners - middle) * larger).astype(np.float32)
                if _is_frame(seen, outer):
                    sides.append(float(np.sqrt(cv2.contourArea(outer))) / scale)
                    break
    return min(sides) / _MODULES if sides else None


def _is_frame(grey: Grey, corners: NDArray[np.float32]) -> bool:
    """Whether a dark line, light inside it and busy modules inside that are there."""
    import cv2
    import numpy as np

    side = _MODULES
    flat = np.array([(0, 0), (0, side), (side, side), (side, 0)], np.float32)
    lengths = np.hypot(*(corners - np.roll(corners, 1, axis=0)).T)
    if lengths.min() < 0.5 * lengths.max():
        return False
    seen = cv2.warpPerspective(
        grey, cv2.getPerspectiveTransform(corners, flat), (side, side)
    ).astype(np.float32)
    ring = np.minimum.reduce(
        [np.indices((side, side))[axis] for axis in (0, 1)]
        + [side - 1 - np.indices((side, side))[axis] for axis in (0, 1)]
    )
    line, light, inside = seen[ring == 1], seen[(ring == 3) | (ring == 4)], seen[ring > 6]
    contrast = float(light.mean() - line.mean())
    middle = seen[7:-7, 7:-7] > inside.mean()
    changes = min(float(np.diff(middle, axis=axis).sum(axis=axis).mean()) for axis in (0, 1))
    return (
        contrast > _LEAST_CONTRAST
        and float(inside.std()) > 0.15 * contrast
        and changes > _BUSY
        # An even line, even light inside it, and modules that are no lighter than half way.
        and float(line.std()) < 0.7 * contrast
        and float(light.std()) < 0.45 * contrast
        and float(inside.mean() - line.mean()) < 0.6 * contrast
    )
