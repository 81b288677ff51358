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
_SHARP = 0.50  # steepest step over the range around it; 0.57 and more in good scenes
_WORKING_SIDE = 1280
_FAR = 1.5  # pixels a module
_SMALLEST = 26  # pixels a side below which nothing tells a frame from a letter
_BUSY = 5  # changes from dark to light and back along a row of a symbol; letters have fewer
_MODULES = 41  # of our frames' outer side, about: 33 to 45

TOO_DARK = "Too dark: switch on a light or uncover the lens."
TOO_BRIGHT = "Too bright: turn the camera away from the light, or shade the label."
GLARE = "Glare: a lamp is mirrored. Tilt the label or the camera a little, or shade it."
FOGGED = "Fogged or frosted: wipe the lens and the label."
NOT_SHARP = (
    "Out of focus or shaken: hold still, go a little nearer or further away, and wipe the lens."
)
TOO_FAR = "Too far: a label is in view, but small. Go nearer."


@dataclass(frozen=True)
class Look:
    """What is measured of a picture: grey values (0 to 255), shares and pixels."""

    black: float
    white: float
    full: float
    sharpness: float
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
    if seen.sharpness < _SHARP:
        return NOT_SHARP
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


def _sharpness(grey: Grey) -> float:
    """Of the strongest edges: the steepest step within two pixels over the range around it."""
    import cv2
    import numpy as np

    height, width = grey.shape
    if min(height, width) < 16:
        return 1.0
    # The middle of a large picture, not a smaller picture: shrinking would sharpen it.
    top, left = (max(0, (side - _WORKING_SIDE) // 2) for side in (height, width))
    part = grey[top : top + _WORKING_SIDE, left : left + _WORKING_SIDE].astype(np.float32)
    smooth = cv2.GaussianBlur(part, (0, 0), 0.8)
    window = np.ones((13, 13), np.uint8)
    reach = cv2.subtract(cv2.dilate(smooth, window), cv2.erode(smooth, window))[1:-1, 1:-1]
    across = cv2.absdiff(smooth[1:-1, 2:], smooth[1:-1, :-2])
    down = cv2.absdiff(smooth[2:, 1:-1], smooth[:-2, 1:-1])
    steepest = np.asarray(cv2.dilate(cv2.max(across, down), window), np.float32)
    strong = np.asarray(reach) > max(0.35 * float(np.percentile(reach, 99.5)), 8.0)
    if not strong.any():
        return 1.0
    return float(np.percentile(steepest[strong] / np.asarray(reach)[strong], 75))


def _farthest(grey: Grey) -> float | None:
    """Pixels a module of the smallest thing that looks like a label's frame."""
    import cv2
    import numpy as np

    dark = cv2.adaptiveThreshold(
        grey, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY_INV, 51, 12
    )
    outlines, _ = cv2.findContours(dark, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
    sides = []
    for outline in outlines:
        if len(outline) < 4 or cv2.contourArea(outline) < _SMALLEST**2:
            continue
        square = cv2.approxPolyDP(outline, 0.06 * cv2.arcLength(outline, True), True)
        if len(square) != 4 or not cv2.isContourConvex(square):
            continue
        corners = square.reshape(4, 2).astype(np.float32)
        middle = corners.mean(axis=0)
        # The outline is the outer or the inner edge of the frame's line.
        for larger in (1.0, _MODULES / (_MODULES - 4)):
            outer = (middle + (corners - middle) * larger).astype(np.float32)
            if _is_frame(grey, outer):
                sides.append(float(np.sqrt(cv2.contourArea(outer))))
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
    return contrast > 25 and float(inside.std()) > 0.15 * contrast and changes > _BUSY
