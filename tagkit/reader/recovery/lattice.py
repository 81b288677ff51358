"""The grid that the modules themselves make: a label located by its data when all else is gone.

Where neither a corner of the frame nor a finder pattern is left, the edges between modules still
lie on two families of equally spaced lines. A spot with edges in two directions gives pitch and
direction of both (the strongest frequencies of its edges, by Fourier transform), and from there
the grid is followed outwards, step by step, with perspective and with the curve of a cable.
Which line of it is the label's first one is asked of frame, fixed patterns and the modules that
are the same on all labels of a form (``fixed``); no tag is known here.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tagkit.reader.recovery.sampling import Field, Place, Points
from tagkit.reader.recovery.structure import Prepared
from tagkit.reader.recovery.turns import Steps
from tagkit.reader.symbols import Corners, contains

_SPOT = 36  # pixels
_WINDOW = 48  # pixels: what is looked at of a spot
_STRIDE = 12
_SPOTS = 56
_FOLLOWED = 24
_LEAST, _MOST = 1.2, 12.0  # pixels a module
_FOURIER = 128
_COARSEST, _FINEST = 1 / 9.5, 1 / 1.9  # cycles a pixel
_ASKEW = 0.42  # radians: a direction of lines against the spot's main direction
_PATCH = 4  # modules
_RADII = (5, 8, 12)  # modules from the spot
_STEPS = (0.35, 0.18, 0.09)  # modules at the rim
_ROUNDS = 4
_LATTICE_LIKE = 0.15  # how much more is seen in middles than where modules meet
_GROWN_LIKE = 0.04
_NOISE = 0.05
_CURVES = (0.05, 0.09, 0.13, 0.17)  # 1 / modules
_CRESTS = (-9.0, -4.5, 0.0, 4.5, 9.0)  # modules
_CURVED_IS_BETTER = 1.12


@dataclass(frozen=True, eq=False)
class Grid:
    """A grid of modules: whole numbers are lines. ``place`` has no size: its origin is any
    crossing. ``bend`` about the origin as (axis, curvature, crest), None where flat; ``score``
    how grid-like, ``middle`` and ``alive`` (N, 2) where modules are seen, in modules."""

    matrix: Points
    bend: tuple[int, float, float] | None
    score: float
    alive: Points

    @property
    def module(self) -> float:
        """Pixels a module at the origin."""
        return _module(self.matrix)

    @property
    def place(self) -> Place:
        """As a place with one module, at the origin."""
        if self.bend is None:
            return Place(1, self.matrix)
        axis, curve, crest = self.bend
        scale, shift = np.cos(curve * crest), np.sin(curve * crest) / curve
        # x' = (sin(k (x - c)) / k + sin(k c) / k) / cos(k c), as ``_bent`` has it.
        unbend = np.eye(3)
        unbend[axis, axis] = 1 / scale
        unbend[axis, 2] = (shift - crest) / scale
        bend = (curve, crest, 0.0, 0.0) if axis == 0 else (0.0, 0.0, curve, crest)
        return Place(1, self.matrix @ unbend, bend)


def grids(prepared: Prepared, taken: Sequence[Corners] = ()) -> Iterator[Grid | None]:
    """Grids of modules in a picture, the most grid-like spots first; None after each step of work
    without one. What lies in ``taken`` is left out."""
    starts: list[tuple[float, Points, Points]] = []
    gradient, spots = _spots(prepared)
    yield None
    for middle, angle in spots:
        if any(contains(corners, (float(middle[0]), float(middle[1]))) for corners in taken):
            continue
        start = _start(gradient, middle, angle)
        if start is None or not _LEAST < _module(start) < _MOST:
            continue
        score = _one_score(prepared.contrast(_module(start)), start, None, _RADII[0])[0]
        starts.append((score, start, middle))
        yield None
    starts.sort(key=lambda one: -one[0])
    found: list[Grid] = []
    for _, start, middle in starts[:_FOLLOWED]:
        if any(_holds(grid, middle) for grid in found):
            continue
        for grid in _grown(prepared, start):
            if grid is not None:
                found.append(grid)
            yield grid


def _module(matrix: Points) -> float:
    return float(np.sqrt(abs(np.linalg.det(matrix[:2, :2]))))


def _spots(prepared: Prepared) -> tuple[tuple[Field, Field], list[tuple[Points, float]]]:
    """The gradient; middles (x, y) of spots full of edges in two directions at right angles, and
    one of these."""
    even = prepared.evened()
    across: Any = cv2.Scharr(even, cv2.CV_32F, 1, 0)
    down: Any = cv2.Scharr(even, cv2.CV_32F, 0, 1)
    power = across * across + down * down
    twice_re, twice_im = across * across - down * down, 2 * across * down
    full = power + np.float32(1e-6)
    four_re, four_im = (twice_re**2 - twice_im**2) / full, 2 * twice_re * twice_im / full
    window = (_SPOT, _SPOT)
    sums = [
        cv2.boxFilter(part, -1, window, borderType=cv2.BORDER_CONSTANT)[::_STRIDE, ::_STRIDE]
        for part in (power, twice_re, twice_im, four_re, four_im)
    ]
    total, twice_re, twice_im, four_re, four_im = sums
    crossed = np.hypot(four_re, four_im) - np.hypot(twice_re, twice_im)
    score = crossed * np.sqrt(np.maximum(total, 0)) / (total + 1e-3)
    chosen: list[tuple[Points, float]] = []
    angle = np.arctan2(four_im, four_re) / 4
    while len(chosen) < _SPOTS:
        row, column = np.unravel_index(int(score.argmax()), score.shape)
        if score[row, column] <= 0:
            break
        middle = np.array([column * _STRIDE, row * _STRIDE], np.float64)
        chosen.append((middle, float(angle[row, column])))
        near = 2
        score[max(0, row - near) : row + near + 1, max(0, column - near) : column + near + 1] = 0
    return (across, down), chosen


def _start(gradient: tuple[Field, Field], middle: Points, angle: float) -> Points | None:
    """Modules -> pixels (3 × 3, affine) about a spot, from the frequencies of its edges."""
    half = _WINDOW // 2
    column, row = (int(part) for part in middle)
    height, width = gradient[0].shape
    top, left = min(max(row - half, 0), height), min(max(column - half, 0), width)
    cut = np.s_[top : max(top, row + half), left : max(left, column + half)]
    across, down = gradient[0][cut], gradient[1][cut]
    if min(across.shape) < half:
        return None
    fade = np.outer(np.hanning(across.shape[0]), np.hanning(across.shape[1])).astype(np.float32)
    waves, phases = [], []
    for way in (angle, angle + np.pi / 2):
        along, beside = np.float32(np.cos(way)), np.float32(np.sin(way))
        edge = abs(across * along + down * beside)
        other = abs(down * along - across * beside)
        edge = np.where(edge > other, edge, 0)
        edge = (edge - (edge * fade).sum() / fade.sum()) * fade
        found = _wave(edge, way)
        if found is None:
            return None
        wave, phase = found
        waves.append(wave)
        phases.append(phase - 2 * np.pi * float(wave @ np.array([left, top])))
    basis = np.linalg.inv(np.array(waves))
    # Lines where wave · x + phase / 2 pi is whole; the crossing nearest to the spot.
    offset = np.array(phases) / (2 * np.pi)
    at = np.array(waves) @ middle + offset
    origin = basis @ (np.round(at) - offset)
    matrix = np.eye(3)
    matrix[:2, :2] = basis
    matrix[:2, 2] = origin
    if matrix[0, 0] * matrix[1, 1] - matrix[0, 1] * matrix[1, 0] < 0:
        matrix[:2, 1] *= -1
    return matrix


def _wave(edge: Field, way: float) -> tuple[Points, float] | None:
    """The strongest frequency (cycles a pixel: x, y) of edges about ``way`` and its phase."""
    spectrum = np.fft.rfft2(edge, (_FOURIER, _FOURIER))
    along_y, along_x, inside = _frequencies()
    wanted = inside & (abs(_turned(np.arctan2(along_y, along_x) - way)) < _ASKEW)
    size = abs(spectrum) * wanted
    row, column = divmod(int(size.argmax()), size.shape[1])
    if size[row, column] <= 0:
        return None
    wave = np.array([along_x[row, column], along_y[row, column]])
    # The peak of a parabola through the neighbours, in both directions.
    power = abs(spectrum)
    for place, (near, far) in enumerate((
        ((row, max(column - 1, 0)), (row, min(column + 1, power.shape[1] - 1))),
        (((row - 1) % _FOURIER, column), ((row + 1) % _FOURIER, column)),
    )):  # fmt: skip
        low, top, high = (float(power[at]) for at in (near, (row, column), far))
        bow = low - 2 * top + high
        if bow < 0:
            wave[place] += float(np.clip(0.5 * (low - high) / bow, -0.5, 0.5)) / _FOURIER
    if wave @ np.array([np.cos(way), np.sin(way)]) < 0:
        wave = -wave
    y, x = np.indices(edge.shape)
    phase = np.angle(np.sum(edge * np.exp(-2j * np.pi * (wave[0] * x + wave[1] * y))))
    # Edges are where the wave is at its top.
    return wave, float(phase)


@lru_cache(maxsize=1)
def _frequencies() -> tuple[Points, Points, NDArray[np.bool_]]:
    y, x = np.meshgrid(np.fft.fftfreq(_FOURIER), np.fft.rfftfreq(_FOURIER), indexing="ij")
    radius = np.hypot(x, y)
    return y, x, (radius > _COARSEST) & (radius < _FINEST)


def _turned(angle: Points) -> Points:
    """An angle between lines, -pi / 2 to pi / 2."""
    return (angle + np.pi / 2) % np.pi - np.pi / 2


def _grown(prepared: Prepared, start: Points) -> Generator[Grid | None, None, None]:
    """The grid followed outwards from a spot."""
    grid = Grid(start, None, 0.0, np.zeros((0, 2)))
    for stage, radius in enumerate(_RADII):
        contrast = prepared.contrast(_module(grid.matrix))
        before = grid
        grid = _climb(contrast, grid, radius, _STEPS[0 if stage < 1 else 1 :])
        if grid.score < (_LATTICE_LIKE if stage == 0 else _GROWN_LIKE):
            yield None
            return
        if stage in (1, 2) and grid.bend is None:
            yield None
            bent = yield from _curved(contrast, before, radius)
            if bent.score > _CURVED_IS_BETTER * grid.score:
                grid = bent
        yield None
    yield grid


def _curved(contrast: Field, grid: Grid, radius: int) -> Steps[Grid]:
    """The grid as it would go on round a cable."""
    bends = [(axis, curve, crest) for axis in (0, 1) for curve in _CURVES for crest in _CRESTS
             if abs(curve * crest) < 1.2]  # fmt: skip
    matrices = np.broadcast_to(grid.matrix, (len(bends), 3, 3))
    scores = _scores(contrast, matrices, bends, radius)[0]
    best = replace(grid, score=0.0)
    for index in np.argsort(-scores)[:2]:
        yield
        tried = _climb(contrast, replace(grid, bend=bends[index]), radius, _STEPS[1:])
        best = max(best, tried, key=lambda one: one.score)
    return best


def _climb(contrast: Field, grid: Grid, radius: int, steps: tuple[float, ...]) -> Grid:
    """The grid moved to where it agrees best within ``radius`` modules."""
    matrix, bend = grid.matrix, grid.bend
    top = _one_score(contrast, matrix, bend, radius)[0]
    for step in steps:
        moves = _moves(radius, step)
        for _ in range(_ROUNDS):
            matrices = matrix @ moves
            bends: list[tuple[int, float, float] | None] = [bend] * len(moves)
            if bend is not None:
                axis, curve, crest = bend
                bends += [
                    (axis, curve * (1 + 0.5 * step), crest),
                    (axis, curve / (1 + 0.5 * step), crest),
                    (axis, curve, crest + 4 * step),
                    (axis, curve, crest - 4 * step),
                ]
                matrices = np.concatenate([matrices, np.broadcast_to(matrix, (4, 3, 3))])
            scores, _ = _scores(contrast, matrices, bends, radius)
            index = int(scores.argmax())
            if scores[index] <= top + 1e-4:
                break
            gains = scores - top
            joint = matrix
            for other in np.flatnonzero(gains[: len(moves)] > 1e-4):
                if gains[other] >= gains[other ^ 1]:
                    joint = joint @ moves[other]
            joined = _one_score(contrast, joint, bend, radius)[0]
            if joined > scores[index]:
                matrix, top = joint, joined
            else:
                matrix, bend, top = matrices[index], bends[index], float(scores[index])
    top, alive = _one_score(contrast, matrix, bend, radius)
    return Grid(matrix / matrix[2, 2], bend, top, alive)


def _one_score(
    contrast: Field, matrix: Points, bend: tuple[int, float, float] | None, radius: int
) -> tuple[float, Points]:
    scores, patches = _scores(contrast, matrix[None], [bend], radius)
    middles = _points(radius)[2]
    return float(scores[0]), middles[patches[0] > 0.1]


def _scores(
    contrast: Field,
    matrices: Points,
    bends: Any,
    radius: int,
) -> tuple[Field, Field]:
    """How much more is seen in middles of modules than where four meet, patch by patch; patches
    of which nothing is left count nothing."""
    points, which, _ = _points(radius)
    half = len(points) // 2
    values = abs(sampled(contrast, matrices, bends, points))
    seen = values[:, :half] - values[:, half:]
    patches: Field = (seen @ which).astype(np.float32)
    scores: Field = np.maximum(patches - _NOISE, 0).mean(axis=1)
    return scores, patches


def sampled(contrast: Field, matrices: Points, bends: Any, points: Points) -> NDArray[np.float32]:
    """The picture at points (P, 2) under each of several grids: (B, P); 0 where out of sight."""
    count = len(matrices)
    matrices = (matrices / matrices[:, 2:, 2:]).astype(np.float32)
    at = np.broadcast_to(points, (count, *points.shape))
    hidden = None
    if any(bend is not None for bend in bends):
        at = at.copy()
        hidden = np.zeros((count, len(points)), bool)
        for index, bend in enumerate(bends):
            if bend is not None:
                along = points[:, bend[0]]
                at[index, :, bend[0]], hidden[index] = _bent(along, bend[1], bend[2])
    seen = at.astype(np.float32) @ matrices[:, :, :2].transpose(0, 2, 1)
    seen += matrices[:, None, :, 2]
    depth = seen[..., 2]
    behind = depth < 0.2
    depth = np.where(behind, np.float32(1.0), depth)
    x, y = seen[..., 0] / depth, seen[..., 1] / depth
    values: Any = cv2.remap(contrast, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    values[behind] = 0
    if hidden is not None:
        values[hidden] = 0
    return np.asarray(values, np.float32)


def _bent(lengths: Points, curve: float, crest: float) -> tuple[Points, NDArray[np.bool_]]:
    """Where lengths along a cylinder's skin appear, as at the origin: same place, same pitch."""
    angle = (lengths - crest) * curve
    hidden = abs(angle) > 1.35
    seen = (np.sin(np.clip(angle, -1.5, 1.5)) + np.sin(curve * crest)) / (
        curve * np.cos(curve * crest)
    )
    return np.asarray(seen, np.float64), hidden


@lru_cache(maxsize=16)
def _points(radius: int) -> tuple[Points, Field, Points]:
    """Middles of modules, then as many crossings (2 N, 2); to which patch each belongs, as
    weights (N, patches); the patches' middles."""
    span = np.arange(-radius, radius)
    x, y = (part.ravel() for part in np.meshgrid(span, span))
    step = 1 if radius <= 12 else 2
    keep = (x + y) % step == 0
    x, y = x[keep], y[keep]
    middle = np.stack([x, y], axis=-1) + 0.5
    crossing = np.stack([x, y], axis=-1).astype(np.float64)
    across = -(-2 * radius // _PATCH)
    names = (y + radius) // _PATCH * across + (x + radius) // _PATCH
    which = np.zeros((len(x), across * across), np.float32)
    which[np.arange(len(x)), names] = 1
    which /= np.maximum(which.sum(axis=0), 1)
    rows, columns = np.divmod(np.arange(across * across), across)
    middles = np.stack([columns, rows], axis=-1) * _PATCH - radius + _PATCH / 2
    return np.concatenate([middle, crossing]), which, middles


@lru_cache(maxsize=32)
def _moves(radius: int, step: float) -> Points:
    """Small maps of the grid onto itself (16, 3, 3), each followed by its opposite."""
    shrink = np.diag([1 / radius, 1 / radius, 1.0])
    back = np.diag([radius, radius, 1.0])
    moves = []
    for row, column in ((0, 2), (1, 2), (0, 0), (1, 1), (0, 1), (1, 0), (2, 0), (2, 1)):
        for sign in (step, -step):
            move = np.eye(3)
            move[row, column] += sign / radius
            moves.append(back @ move @ shrink)
    return np.stack(moves)


def _holds(grid: Grid, pixel: Points) -> bool:
    """Whether a spot lies within what the grid has covered."""
    if not len(grid.alive):
        return False
    seen = grid.place.to_picture(grid.alive)
    module = float(np.sqrt(abs(np.linalg.det(grid.matrix[:2, :2]))))
    return bool(np.hypot(*(seen - pixel).T).min() < 3 * module)
