"""The damage of a label drawn into its picture, for a person to look at."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tagkit.reader.condition import FRAME, QUIET, Condition
from tagkit.reader.grading import Grading

_WRONG = (60, 60, 230)  # BGR
_COLOURS = {
    "not judged": (120, 120, 120), "good": (70, 150, 0), "reprint soon": (0, 160, 230),
    "reprint now": (60, 60, 230),
}  # fmt: skip
_SHADE = 0.55
_LEAST_MODULE = 10  # pixels; smaller pictures are enlarged for the eye


def marked(
    picture: NDArray[Any], found: Sequence[tuple[Condition, Grading, str]]
) -> NDArray[np.uint8]:
    """A copy (BGR) with each label outlined, its wrong modules red and a line of words over it.

    Nothing is red on a label that could not be judged. ``found`` is for each label its
    condition, what to do, and its number.
    """
    shown = picture if picture.ndim == 3 else cv2.cvtColor(picture, cv2.COLOR_GRAY2BGR)
    module = min((one.pixels_per_module for one, _, _ in found), default=_LEAST_MODULE)
    scale = int(np.clip(np.ceil(_LEAST_MODULE / max(module, 0.5)), 1, 4))
    scale = max(1, min(scale, 4000 // max(shown.shape[:2])))
    canvas: NDArray[np.uint8] = np.ascontiguousarray(
        cv2.resize(shown, None, fx=scale, fy=scale, interpolation=cv2.INTER_CUBIC)
    ).astype(np.uint8)
    for condition, grading, number in found:
        if grading.judged:
            _damage(canvas, condition, scale)
        _outline(canvas, condition, grading, number, scale)
    return canvas


def _damage(canvas: NDArray[np.uint8], condition: Condition, scale: int) -> None:
    """Wrong modules tinted and edged."""
    tint = canvas.copy()
    quads = [
        _quad(condition, column, row, column + 1, row + 1, scale)
        for row, column in np.argwhere(condition.wrong).tolist()
    ]
    for quad in quads:
        cv2.fillPoly(tint, [quad], _WRONG)
    cv2.addWeighted(tint, _SHADE, canvas, 1 - _SHADE, 0, canvas)
    for quad in quads:
        cv2.polylines(canvas, [quad], True, _WRONG, 1, cv2.LINE_AA)


def _outline(
    canvas: NDArray[np.uint8], condition: Condition, grading: Grading, number: str, scale: int
) -> None:
    n, out = condition.symbol.size, QUIET + FRAME
    colour = _COLOURS[grading.verdict]
    frame = _quad(condition, -out, -out, n + out, n + out, scale)
    thick = max(2, scale)
    cv2.polylines(canvas, [frame], True, colour, thick, cv2.LINE_AA)
    words = f"{number}: {grading.verdict}"
    if grading.judged:
        words += f", {condition.unused_error_correction:.0%} correction left"
    size = max(0.5, min(canvas.shape[:2]) / 1000)
    (width, height), below = cv2.getTextSize(words, cv2.FONT_HERSHEY_SIMPLEX, size, thick)
    x = int(np.clip(frame[:, 0].min(), 0, max(0, canvas.shape[1] - width - 8)))
    y = int(frame[:, 1].min()) - 6
    if y - height - 6 < 0:
        y = min(int(frame[:, 1].max()) + height + 10, canvas.shape[0] - below - 2)
    cv2.rectangle(canvas, (x, y - height - 6), (x + width + 8, y + below), colour, -1)
    white = (255, 255, 255)
    cv2.putText(canvas, words, (x + 4, y - 2), cv2.FONT_HERSHEY_SIMPLEX, size, white, thick,
                cv2.LINE_AA)  # fmt: skip


def _quad(
    condition: Condition, left: int, top: int, right: int, bottom: int, scale: int
) -> NDArray[np.int32]:
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    at = np.array([condition.flat.in_picture(x, y) for x, y in corners])
    return np.round((at + 0.5) * scale - 0.5).astype(np.int32)
