"""A label seen in a picture, laid flat: where its modules lie, found by the symbol it must be.

A decoder gives four corners, off by up to a module. They are moved until picture and expected
symbol agree best (ECC, Evangelidis and Psarakis 2008, for a plane seen in perspective), then
bent a little where the label is: round a cable, lifted at a corner.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tagkit.reader.symbols import Corners
from tagkit.symbol.encode import Symbol

Grey = NDArray[np.uint8]
Field = NDArray[np.float32]
Points = NDArray[np.float64]

PER_MODULE = 8  # pixels a module in the flat picture
AROUND = 7  # modules shown around the symbol: quiet zone 4, frame 2, and one of label
_INNER = (slice(AROUND * PER_MODULE, -AROUND * PER_MODULE),) * 2
_COMPARED = 2  # modules of quiet zone that are compared too
_BLOCK = 7  # modules along the side of what is moved by itself
_REACH = 1.2  # modules by which a block may lie off the plane, each time it is looked for
_PLANE = 0.88  # correlation from which a label is plane enough
_CLEARLY = 0.03
_ANGLES = (0.5, 0.7, 0.9, 1.1, 1.3, 1.5)  # half the side over the radius, radian
_CRESTS = (-0.5, -0.3, -0.1, 0.1, 0.3, 0.5)  # of half the side, from the middle
_DULL = 0.35  # correlation below which a block says nothing
_ROUNDS = 4
_STRIP = 3  # modules across: narrow enough to match where the side of a cable turns away
_ASIDE = 2.5  # modules to either side
_CERTAIN, _BETTER = 0.6, 0.15  # correlation of a strip in another place, and how much it gains


@dataclass(frozen=True, eq=False)
class Flat:
    """A label laid flat.

    ``picture`` has PER_MODULE pixels a module, ``inside`` says which of them the camera saw.
    ``bend`` is how far the label lies off a plane, at most, in modules. ``agreement`` is the
    correlation with the expected symbol, 1 at best. ``misplaced`` is the share of narrow strips
    that show what belongs beside them: there the label was not laid flat, and what looks like
    damage may be none.
    """

    picture: Field
    inside: NDArray[np.bool_]
    size: int
    map_x: Field
    map_y: Field
    bend: float
    agreement: float
    misplaced: float

    def modules(self, share: float = 0.6) -> Field:
        """Mean grey value within the middle ``share`` of each module, margins included."""
        edge = round(PER_MODULE * (1 - share) / 2)
        count = self.size + 2 * AROUND
        blocks = self.picture.reshape(count, PER_MODULE, count, PER_MODULE)
        middle = blocks[:, edge : PER_MODULE - edge, :, edge : PER_MODULE - edge]
        return np.asarray(middle.mean(axis=(1, 3)), np.float32)

    def seen(self) -> NDArray[np.bool_]:
        """Which modules, margins included, lie within the picture."""
        count = self.size + 2 * AROUND
        blocks = self.inside.reshape(count, PER_MODULE, count, PER_MODULE)
        return np.asarray(blocks.all(axis=(1, 3)), np.bool_)

    def in_picture(self, x: float, y: float) -> tuple[float, float]:
        """Where a point of the label (modules from the symbol's top left) lies in the picture."""
        at = np.array([(x + AROUND) * PER_MODULE - 0.5, (y + AROUND) * PER_MODULE - 0.5])
        column, row = np.clip(at, 0, self.picture.shape[0] - 1).astype(np.float32)
        found = (
            cv2.remap(part, column.reshape(1, 1), row.reshape(1, 1), cv2.INTER_LINEAR)[0, 0]
            for part in (self.map_x, self.map_y)
        )
        return float(next(found)), float(next(found))


def flatten(grey: Grey, symbol: Symbol, corners: Corners) -> Flat:
    """The label whose symbol lies about at ``corners`` (from its own top left, clockwise)."""
    matrix = _plane(symbol.size, corners)
    ideal, compared = _ideal(symbol)
    wide = grey.astype(np.float32)
    matrix = _aligned(wide, ideal, compared, matrix)
    plain_x, plain_y = _maps(ideal.shape, matrix)
    map_x, map_y = plain_x, plain_y
    if _correlation(_taken(wide, map_x, map_y)[_INNER], ideal[_INNER]) < _PLANE:
        map_x, map_y = _round_something(wide, ideal, symbol.size, corners, (map_x, map_y))
    for _ in range(_ROUNDS):
        picture = _taken(wide, map_x, map_y)
        bent = _bent(picture, ideal, symbol.size)
        if bent is None:
            break
        # What lies there in the flat picture belongs here.
        map_x, map_y = _taken(map_x, *bent), _taken(map_y, *bent)
    picture = _taken(wide, map_x, map_y)
    height, width = grey.shape
    inside = (map_x >= 0) & (map_y >= 0) & (map_x <= width - 1) & (map_y <= height - 1)
    off = np.hypot(map_x[_INNER] - plain_x[_INNER], map_y[_INNER] - plain_y[_INNER])
    x, y = zip(*corners, strict=True)
    area = 0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))))
    module = np.sqrt(area) / symbol.size
    return Flat(
        picture, inside, symbol.size, map_x, map_y, float(np.quantile(off, 0.98) / module),
        _correlation(picture[_INNER], ideal[_INNER]), _misplaced(picture, ideal, symbol.size),
    )  # fmt: skip


def agreements(grey: Grey, symbols: Sequence[Symbol], corners: Corners) -> list[float]:
    """How well the picture agrees with each symbol at corners taken as they are (-1 to 1)."""
    wide = grey.astype(np.float32)
    values: dict[int, Field] = {}
    found = []
    for symbol in symbols:
        n = symbol.size
        if n not in values:
            side = n * PER_MODULE
            maps = _maps((side + 2 * AROUND * PER_MODULE,) * 2, _plane(n, corners))
            inner = _taken(wide, *maps)[_INNER]
            blocks = inner.reshape(n, PER_MODULE, n, PER_MODULE)[:, 2:-2, :, 2:-2]
            values[n] = np.asarray(blocks.mean(axis=(1, 3)), np.float32)
        light = np.asarray(~np.array(symbol.matrix, bool), np.float32)
        found.append(_correlation(values[n], light))
    return found


def _plane(size: int, corners: Corners) -> Points:
    """Flat picture -> picture, for the plane with these corners."""
    low, high = AROUND * PER_MODULE - 0.5, (AROUND + size) * PER_MODULE - 0.5
    square = np.array([(low, low), (high, low), (high, high), (low, high)], np.float32)
    return np.asarray(
        cv2.getPerspectiveTransform(square, np.asarray(corners, np.float32)), np.float64
    )


def _ideal(symbol: Symbol) -> tuple[Field, NDArray[np.uint8]]:
    """What the flat label should look like, 0 dark to 1 light, and what of it is compared."""
    light = np.pad(~np.array(symbol.matrix, bool), AROUND, constant_values=True)
    count = len(light)
    picture = np.kron(light, np.ones((PER_MODULE, PER_MODULE))).astype(np.float32)
    compared = np.zeros((count, count), np.uint8)
    inner = AROUND - _COMPARED
    compared[inner:-inner, inner:-inner] = 255
    mask = np.kron(compared, np.ones((PER_MODULE, PER_MODULE), np.uint8)).astype(np.uint8)
    return cv2.GaussianBlur(picture, (0, 0), PER_MODULE * 0.2), mask  # type: ignore[return-value]


def _aligned(wide: Field, ideal: Field, compared: NDArray[np.uint8], matrix: Points) -> Points:
    """The plane moved to where picture and ideal agree best; as it was where they do not."""
    # The picture is brought to the flat one's resolution first: then the search is for a small
    # move near the identity, at the same scale whatever the distance of the camera.
    near = _taken(wide, *_maps(ideal.shape, matrix))
    start = np.eye(3, dtype=np.float32)
    ends = (cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 60, 1e-5)
    moves: Points = np.eye(3)
    try:
        _, coarse = cv2.findTransformECC(
            ideal, near, start, cv2.MOTION_HOMOGRAPHY, ends, compared, 2 * PER_MODULE + 1
        )
        moves = np.asarray(coarse, np.float64)
        _, fine = cv2.findTransformECC(
            ideal, near, coarse, cv2.MOTION_HOMOGRAPHY, ends, compared, PER_MODULE // 2 + 1
        )
        moves = np.asarray(fine, np.float64)
    except cv2.error:  # it did not converge
        pass
    side = ideal.shape[0] - AROUND * PER_MODULE
    ends_at = np.array([[[AROUND * PER_MODULE] * 2], [[side] * 2]], np.float64)
    moved = cv2.perspectiveTransform(ends_at, moves)
    if np.abs(moved - ends_at).max() > 4 * PER_MODULE:
        return matrix
    before = _correlation(near, ideal)
    after = _correlation(_taken(wide, *_maps(ideal.shape, matrix @ moves)), ideal)
    return matrix @ moves if after > before else matrix


def _maps(shape: tuple[int, ...], matrix: Points) -> tuple[Field, Field]:
    column, row = np.meshgrid(np.arange(shape[1]), np.arange(shape[0]))
    seen = np.stack([column, row, np.ones_like(row)], axis=-1) @ matrix.T
    return (
        np.asarray(seen[..., 0] / seen[..., 2], np.float32),
        np.asarray(seen[..., 1] / seen[..., 2], np.float32),
    )


def _taken(wide: Field, map_x: Field, map_y: Field) -> Field:
    taken = cv2.remap(wide, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(taken, np.float32)


def _round_something(
    wide: Field, ideal: Field, size: int, corners: Corners, flat: tuple[Field, Field]
) -> tuple[Field, Field]:
    """The maps of a label round a cable or pipe between these corners, if any agrees better.

    Along a cylinder's skin lengths appear from the front as sines; half the symbol's side over
    the radius, and where along it the skin faces the camera, are tried.
    """
    maps = _maps(ideal.shape, _plane(size, corners))
    best, found = _correlation(_taken(wide, *flat)[_INNER], ideal[_INNER]) + _CLEARLY, flat
    low, high = (AROUND * PER_MODULE - 0.5, (AROUND + size) * PER_MODULE - 0.5)
    along = np.linspace(-1, 1, ideal.shape[0]) * ideal.shape[0] / (high - low)
    plain = np.arange(ideal.shape[0])
    for angle in _ANGLES:
        for crest in _CRESTS:
            seen, (start, end) = (
                np.sin(np.clip((at - crest) * angle, -np.pi / 2, np.pi / 2))
                for at in (along, np.array([-1.0, 1.0]))
            )
            moved = low + (seen - start) / (end - start) * (high - low)
            for across, down in ((moved, plain), (plain, moved)):
                where = (np.asarray(part, np.float32) for part in np.meshgrid(across, down))
                bend_x, bend_y = where
                tried = _taken(maps[0], bend_x, bend_y), _taken(maps[1], bend_x, bend_y)
                score = _correlation(_taken(wide, *tried)[_INNER], ideal[_INNER])
                if score > best:
                    best, found = score, tried
    return found


def _bent(picture: Field, ideal: Field, size: int) -> tuple[Field, Field] | None:
    """Where each place of the flat picture really lies in it: a smooth bend, or None."""
    places, moves, weights = [], [], []
    reach = round(_REACH * PER_MODULE)
    side = _BLOCK * PER_MODULE
    starts = np.linspace(0, size - _BLOCK, max(3, round(size / 4))).round().astype(int)
    for down in starts:
        for across in starts:
            top, left = (int(AROUND + at) * PER_MODULE for at in (down, across))
            wanted = ideal[top : top + side, left : left + side]
            around = picture[top - reach : top + side + reach, left - reach : left + side + reach]
            scores = np.asarray(cv2.matchTemplate(around, wanted, cv2.TM_CCOEFF_NORMED), np.float32)
            _, best, _, (x, y) = cv2.minMaxLoc(scores)
            on_edge = x in (0, 2 * reach) or y in (0, 2 * reach)
            if best < _DULL or on_edge:
                continue
            places.append((left + side / 2, top + side / 2))
            moves.append((_peak(scores[y], x) - reach, _peak(scores[:, x], y) - reach))
            weights.append(best)
    if len(places) < 12:
        return None
    shape = picture.shape
    column, row = np.meshgrid(np.arange(shape[1]), np.arange(shape[0]))
    middle, half = shape[0] / 2, size * PER_MODULE / 2
    known = _terms((np.array(places) - middle) / half)
    factors = _fitted(known, np.array(moves), np.array(weights))
    # Beyond the symbol the bend of its edge goes on.
    at = np.clip((np.stack([column, row], axis=-1) - middle) / half, -1.1, 1.1)
    off = _terms(at.reshape(-1, 2)) @ factors
    return (
        (column + off[:, 0].reshape(shape)).astype(np.float32),
        (row + off[:, 1].reshape(shape)).astype(np.float32),
    )


def _misplaced(picture: Field, ideal: Field, size: int) -> float:
    """The share of strips, half a symbol long, that agree clearly better some way to the side."""
    length, strips, elsewhere = size // 2, 0, 0
    aside, ahead = round(_ASIDE * PER_MODULE), round(0.75 * PER_MODULE)
    for seen, wanted in ((picture, ideal), (picture.T, ideal.T)):
        for across in range(0, size - _STRIP + 1, 2):
            for down in (0, (size - length) // 2, size - length):
                top, left = (AROUND + down) * PER_MODULE, (AROUND + across) * PER_MODULE
                bottom, right = top + length * PER_MODULE, left + _STRIP * PER_MODULE
                scores = cv2.matchTemplate(
                    np.ascontiguousarray(
                        seen[top - ahead : bottom + ahead, left - aside : right + aside]
                    ),
                    np.ascontiguousarray(wanted[top:bottom, left:right]),
                    cv2.TM_CCOEFF_NORMED,
                )
                _, best, _, (x, _) = cv2.minMaxLoc(scores)
                better = best - float(scores[ahead, aside]) > _BETTER
                strips += 1
                elsewhere += best > _CERTAIN and better and abs(x - aside) > 0.3 * PER_MODULE
    return elsewhere / strips


def _terms(at: Points) -> Points:
    x, y = at[:, 0], at[:, 1]
    return np.stack(
        [np.ones_like(x), x, y, x * x, x * y, y * y, x**3, x * x * y, x * y * y, y**3], axis=-1
    )


def _fitted(known: Points, moves: Points, weights: Points) -> Points:
    """Least squares that gives less to what lies off (Cauchy); a little pull towards no bend."""
    trust: Points = weights.copy()
    pull = 0.02 * len(known) * np.eye(known.shape[1])
    pull[:3, :3] = 0
    factors: NDArray[Any] = np.zeros((known.shape[1], 2))
    for _ in range(6):
        weighted = known * trust[:, None]
        factors = np.linalg.solve(
            known.T @ weighted + pull + 1e-6 * np.eye(len(pull)), weighted.T @ moves
        )
        off = np.hypot(*(moves - known @ factors).T)
        trust = weights / (1 + (off / 0.8) ** 2)
    return factors


def _peak(scores: NDArray[np.float32], at: int) -> float:
    """The place of a peak between samples, by a parabola through three of them."""
    before, here, after = (float(scores[at + step]) for step in (-1, 0, 1))
    curve = before - 2 * here + after
    return at if curve >= 0 else at + 0.5 * (before - after) / curve


def _correlation(one: Field, other: Field) -> float:
    first, second = one - one.mean(), other - other.mean()
    norm = float(np.sqrt((first * first).sum() * (second * second).sum()))
    return float((first * second).sum()) / norm if norm else 0.0
