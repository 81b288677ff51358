"""What every label of ours looks like, whatever its tag, and how well a place agrees with it.

Frame (a dark line two modules thick, its inner edge four modules from the symbol), quiet zone,
finder patterns, separators, timing and alignment patterns. The places of labels are chosen by
this alone: nothing here knows a tag, so the choice can't favour one.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tagkit.reader.recovery.sampling import MARGIN, Field, Place, Points
from tagkit.symbol.patterns import Role, function_patterns

QUIET = 4
_FIXED = (Role.FINDER, Role.SEPARATOR, Role.TIMING, Role.ALIGNMENT, Role.DARK)
_WINDOW = 9  # modules
_EVENED = 41  # pixels
_STEP = 1.35  # between the module sizes for which the picture is prepared


@dataclass(frozen=True, eq=False)
class Structure:
    """Sampled points (P, 2) in modules; what to expect there, weighted: + dark, - light."""

    points: Points
    expected: NDArray[np.float32]
    bare: int  # so many of the points, the first, are frame and quiet zone

    def scores(self, values: NDArray[np.float32]) -> NDArray[np.float32]:
        """Agreement for each row of values (B, P): about 0 by chance, 1 at best."""
        return np.asarray(values @ self.expected, np.float32)


@lru_cache(maxsize=16)
def structure(size: int, inside: bool = True) -> Structure:
    """The structure of a label whose symbol has ``size`` modules along its side.

    ``inside`` False leaves the symbol out (then all four turns look alike).
    """
    span = np.arange(-MARGIN - 1, size + MARGIN + 1)
    column, row = np.meshgrid(span, span)
    ring = np.maximum.reduce([-column, column - size + 1, -row, row - size + 1])
    outer: list[tuple[NDArray[np.bool_], float]] = [
        (ring > QUIET, 1.0), ((ring > 0) & (ring <= QUIET), -1.0),
    ]  # fmt: skip
    points: list[Any] = []
    expected: list[Any] = []
    for chosen, sign in outer:
        chosen = chosen & (ring <= MARGIN)
        points.append(np.stack([column[chosen], row[chosen]], axis=-1) + 0.5)
        expected.append(np.full(int(chosen.sum()), 0.5 * sign / chosen.sum()))
    bare = sum(len(part) for part in expected)
    if inside:
        roles, dark = function_patterns((size - 17) // 4)
        fixed = np.array([role in _FIXED for role in roles])
        values = np.array(dark)
        for sign in (True, False):
            chosen = (fixed & (values == sign)).reshape(size, size)
            rows, columns = np.nonzero(chosen)
            points.append(np.stack([columns, rows], axis=-1) + 0.5)
            weight = 0.5 * (1 if sign else -1) / len(rows)
            expected.append(np.full(len(rows), weight))
        expected = [0.5 * part for part in expected]
    return Structure(
        np.concatenate(points).astype(np.float64), np.concatenate(expected).astype(np.float32), bare
    )


@lru_cache(maxsize=8)
def any_way_up(size: int) -> tuple[Points, NDArray[np.float32]]:
    """Points (P, 2) of the whole label and what to expect there in its four turns (P, 4)."""
    known = structure(size)
    side = size + 2 * MARGIN
    grid = np.zeros((side, side), np.float32)
    places = np.floor(known.points).astype(int) + MARGIN
    grid[places[:, 1], places[:, 0]] = known.expected
    turns = np.stack([np.rot90(grid, -turn) for turn in range(4)], axis=-1)
    used = np.any(turns != 0, axis=-1)
    rows, columns = np.nonzero(used)
    points: Points = np.stack([columns, rows], axis=-1).astype(np.float64) - MARGIN + 0.5
    return points, np.ascontiguousarray(turns[used])


class Prepared:
    """A picture whose every pixel is compared with its surroundings, for modules of any size."""

    def __init__(self, grey: NDArray[np.uint8]) -> None:
        self.grey = grey
        self.picture: Field = grey.astype(np.float32)
        self._made: dict[int, Field] = {}

    def evened(self) -> Field:
        """The picture with its contrast made alike everywhere, for finding edges."""
        smooth = cv2.GaussianBlur(self.picture, (0, 0), 0.9)
        mean = cv2.blur(self.picture, (_EVENED, _EVENED))
        square: Any = cv2.blur(self.picture * self.picture, (_EVENED, _EVENED))
        spread: Any = np.sqrt(np.maximum(square - mean * mean, 0))
        even: Field = ((smooth - mean) / (spread + 6)).astype(np.float32)
        return even

    def contrast(self, module: float) -> Field:
        """+1 darker, -1 lighter than the surroundings of some modules' width."""
        step = round(float(np.log(max(module, 1.0)) / np.log(_STEP)))
        if step not in self._made:
            size = _STEP**step
            window = (2 * round(_WINDOW * size / 2) + 1,) * 2
            smooth = cv2.GaussianBlur(self.picture, (0, 0), max(0.3, 0.22 * size))
            mean = cv2.blur(self.picture, window)
            square: Any = cv2.blur(self.picture * self.picture, window)
            spread: Any = np.sqrt(np.maximum(square - mean * mean, 0))
            self._made[step] = np.clip((mean - smooth) / (spread + 4), -1.2, 1.2).astype(np.float32)
        return self._made[step]


def seen_by(contrast: Field, places: NDArray[np.float64], points: Points) -> NDArray[np.float32]:
    """The picture at ``points`` (P, 2) under each of ``places`` (B, 3, 3): (B, P)."""
    places = (places / places[:, 2:, 2:]).astype(np.float32)
    seen = points.astype(np.float32) @ places[:, :, :2].transpose(0, 2, 1)
    seen += places[:, None, :, 2]
    x, y = seen[..., 0] / seen[..., 2], seen[..., 1] / seen[..., 2]
    values: Any = cv2.remap(contrast, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    return np.asarray(values, np.float32)


def seen_by_place(prepared: Prepared, place: Place, points: Points) -> NDArray[np.float32]:
    """The picture's contrast at ``points`` (P, 2) of a place, bent or not."""
    at = place.to_picture(points).astype(np.float32)
    values: Any = cv2.remap(
        prepared.contrast(place.module), at[None, :, 0], at[None, :, 1], cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_CONSTANT,
    )  # fmt: skip
    values[0, ~place.in_sight(points)] = 0
    return np.asarray(values[0], np.float32)
