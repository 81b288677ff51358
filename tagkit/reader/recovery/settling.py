"""A place moved the last half module, flat or round a cable, by all that is the same on labels of
its form: frame, quiet zone, fixed patterns and fixed data; and by the grid of the modules.

Damage is local, so agreement is counted by patches: a patch of which nothing is left counts
nothing instead of pulling the place towards whatever covers it. Nothing here knows a tag.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tagkit.reader.recovery.placing import Placed, standing
from tagkit.reader.recovery.roster import Form
from tagkit.reader.recovery.sampling import (
    MARGIN,
    OUT_OF_SIGHT,
    Field,
    Place,
    Points,
    seen_from_the_front,
)
from tagkit.reader.recovery.structure import Prepared
from tagkit.reader.recovery.turns import Steps

_PATCH = 6  # modules
_RING = 0.5  # weight of frame and quiet zone against modules of the symbol
_GRID = 0.5
_SPREADS = ((13.0, (0.5, 0.25)), (20.0, (0.5, 0.25)), (99.0, (0.5, 0.25, 0.12)))
# modules from the anchor; steps in modules at the frame's edge
_ROUNDS = 5
_CURVES = (0.045, 0.075, 0.11, 0.15, 0.19)  # 1 / modules
_CRESTS = (-12.0, -8.0, -4.0, 0.0, 4.0, 8.0, 12.0)  # modules from the symbol's middle
_CLIMBED = 2
_PROMISING = 0.85  # of what the flat place reaches, before climbing
_BENT_IS_BETTER = 0.6  # standard deviations
_WORTH = 8.0  # standard deviations of a flat place from which bending it is tried
_FLAT = 0.55  # agreement of a place that is flat beyond doubt
_FINER = 2
_LAST = (0.25, 0.12)
_FOLLOWING = (0.5, 0.25, 0.12)
_MOVED = 3.0  # modules from frame to frame


@dataclass(frozen=True, eq=False)
class _Details:
    points: Field  # fixed modules sorted by patch, then middles of the others, then crossings
    expected: Field
    starts: NDArray[np.intp]  # where each patch begins
    known: int
    middles: int
    patch_middles: Points

    def patches(self, values: Field) -> Field:
        """Agreement patch by patch for each row of values."""
        return np.asarray(
            np.add.reduceat(values[:, : self.known] * self.expected, self.starts, axis=1)
        )

    def scores(self, values: Field, near: Field | float = 1.0) -> Field:
        """Agreement for each row of values, about 1 at best; ``near`` weighs the patches."""
        ends = self.known + self.middles
        grid = abs(values[:, self.known : ends]).mean(axis=1) - abs(values[:, ends:]).mean(axis=1)
        return np.asarray((np.maximum(self.patches(values), 0) * near).sum(axis=1) + _GRID * grid)


def settled(prepared: Prepared, place: Place, form: Form) -> Steps[Placed]:
    """The best place near ``place`` for a label of ``form``; stops after each small step."""
    known = _details(form)
    contrast = prepared.contrast(place.module)
    anchor = _anchor(contrast, known, place)
    given = place
    for axis in (0, 1):
        if place.bend[2 * axis]:
            place = _flattened(place, anchor, axis)
    flat, agreed = yield from _spread(contrast, known, place, anchor)
    best = standing(prepared, flat, (form,)) or Placed(flat, form, 0.0)
    others = [given] if given is not place else []
    if best.standing < _WORTH or agreed > _FLAT:
        return best
    least = best.standing + _BENT_IS_BETTER
    yield
    for bent in [*others, *_bent(contrast, known, place, anchor, _PROMISING * agreed)]:
        tried = (yield from _spread(contrast, known, bent, anchor))[0]
        for _ in range(_FINER):
            finer = _finer(contrast, known, tried, anchor)
            yield
            tried = (yield from _climb(contrast, known, finer, 1.0, _LAST))[0]
        stood = standing(prepared, tried, (form,))
        if stood is not None and stood.standing > max(best.standing, least):
            best = stood
    return best


def followed(prepared: Prepared, place: Place, form: Form) -> Steps[Placed]:
    """Where a label that was at ``place`` in the last frame is in this one."""
    known = _details(form)
    contrast = prepared.contrast(place.module)
    span = np.arange(-_MOVED, _MOVED + 0.1, 0.5)
    tried = []
    for right in span:
        for down in span:
            move = np.eye(3)
            move[:2, 2] = right, down
            tried.append(Place(place.size, place.matrix @ move, place.bend))
    points, expected = known.points[: known.known : 3], known.expected[::3]
    scores = np.concatenate([
        _seen(contrast, tried[start : start + 40], points) @ expected
        for start in range(0, len(tried), 40)
    ])  # fmt: skip
    yield
    near = tried[int(scores.argmax())]
    moved, _ = yield from _climb(contrast, known, near, 1.0, _FOLLOWING)
    return standing(prepared, moved, (form,)) or Placed(moved, form, 0.0)


def _spread(
    contrast: Field, known: _Details, place: Place, anchor: Points
) -> Steps[tuple[Place, float]]:
    """Climbs with what lies near the anchor first, then with more and more: what fits at one end
    is not given up for what might fit at the other."""
    top = 0.0
    for radius, steps in _SPREADS:
        near = (np.hypot(*(known.patch_middles - anchor).T) <= radius).astype(np.float32)
        place, top = yield from _climb(contrast, known, place, near, steps)
    return place, top


def _finer(contrast: Field, known: _Details, place: Place, anchor: Points) -> Place:
    """The best of the curves near that of a bent place."""
    axis = 0 if place.bend[0] else 1
    curve, crest = place.bend[2 * axis : 2 * axis + 2]
    tried = [place] + [
        rebent(place, anchor, axis, curve * more, crest + along)
        for more in (0.75, 0.87, 1.0, 1.15, 1.33) for along in (-2.5, -1.2, 0.0, 1.2, 2.5)
        if abs(curve * more * (crest + along - anchor[axis])) < 1.2
    ]  # fmt: skip
    scores = known.scores(_seen(contrast, tried, known.points))
    return tried[int(scores.argmax())]


def _bent(
    contrast: Field, known: _Details, place: Place, anchor: Points, least: float
) -> list[Place]:
    """The most promising ways the place may go round a cable."""
    middle = place.size / 2
    tried = [
        rebent(place, anchor, axis, curve, middle + crest)
        for axis in (0, 1) for curve in _CURVES for crest in _CRESTS
        if abs(curve * (middle + crest - anchor[axis])) < 1.1
    ]  # fmt: skip
    if not tried:
        return []
    scores = known.scores(_seen(contrast, tried, known.points))
    best = np.argsort(-scores)[:_CLIMBED]
    return [tried[index] for index in best if scores[index] >= least]


def _anchor(contrast: Field, known: _Details, place: Place) -> Points:
    """The middle of what agrees, in modules."""
    patches = np.maximum(known.patches(_seen(contrast, [place], known.points))[0], 0)
    inside = np.all((known.patch_middles > 0) & (known.patch_middles < place.size), axis=1)
    weight = patches * inside + 1e-9
    return np.asarray(weight @ known.patch_middles / weight.sum())


def rebent(place: Place, anchor: Points, axis: int, curve: float, crest: float) -> Place:
    """The place with another curve; module and direction at ``anchor`` stay as they are."""
    old = _levelled(place, anchor, axis)
    new = _level(anchor[axis], curve, crest, axis)
    bend = (curve, crest, 0.0, 0.0) if axis == 0 else (0.0, 0.0, curve, crest)
    return Place(place.size, old @ new, bend)


def _flattened(place: Place, anchor: Points, axis: int) -> Place:
    """The flat place that agrees with a bent one at the anchor."""
    back = np.eye(3)
    back[axis, 2] = -anchor[axis]
    return Place(place.size, _levelled(place, anchor, axis) @ back)


def _levelled(place: Place, anchor: Points, axis: int) -> Points:
    curve, crest = place.bend[2 * axis : 2 * axis + 2]
    if not curve:
        move = np.eye(3)
        move[axis, 2] = anchor[axis]
        return place.matrix @ move
    return np.asarray(place.matrix @ np.linalg.inv(_level(anchor[axis], curve, crest, axis)))


def _level(anchor: float, curve: float, crest: float, axis: int) -> Points:
    """Lengths as seen from the front -> lengths from the anchor, as long as the skin is there."""
    angle = curve * (anchor - crest)
    scale = 1 / np.cos(angle)
    level = np.eye(3)
    level[axis, axis] = scale
    level[axis, 2] = -scale * (crest + np.sin(angle) / curve)
    return level


def _climb(
    contrast: Field, known: _Details, place: Place, near: Field | float, steps: tuple[float, ...]
) -> Steps[tuple[Place, float]]:
    top = float(known.scores(_seen(contrast, [place], known.points), near)[0])
    for step in steps:
        moves = _moves(place.size, step)
        for _ in range(_ROUNDS):
            tried = [Place(place.size, place.matrix @ move, place.bend) for move in moves]
            tried += _other_bends(place, step)
            scores = known.scores(_seen(contrast, tried, known.points), near)
            index = int(scores.argmax())
            gains = scores[: len(moves)] - top
            helped = np.flatnonzero(gains > 1e-4)
            yield
            if scores[index] <= top + 1e-4:
                break
            # All that helped, together, is often better still.
            joint = place.matrix
            for other in helped:
                if gains[other] >= gains[other ^ 1]:
                    joint = joint @ moves[other]
            together = Place(place.size, joint, place.bend)
            value = float(known.scores(_seen(contrast, [together], known.points), near)[0])
            if value > scores[index]:
                place, top = together, value
            else:
                place, top = tried[index], float(scores[index])
    return Place(place.size, place.matrix / place.matrix[2, 2], place.bend), top


def _other_bends(place: Place, step: float) -> list[Place]:
    found = []
    for axis in (0, 1):
        curve, crest = place.bend[2 * axis : 2 * axis + 2]
        if curve:
            anchor = np.full(2, place.size / 2)
            for more, along in ((1 + step / 2, 0), (1 / (1 + step / 2), 0), (1, 4 * step),
                                (1, -4 * step)):  # fmt: skip
                if abs(curve * more * (anchor[axis] - crest - along)) < 1.3:
                    found.append(rebent(place, anchor, axis, curve * more, crest + along))
    return found


def _seen(contrast: Field, places: list[Place], points: Field) -> Field:
    """The picture at ``points`` (P, 2) of each place: (places, P); 0 where out of sight."""
    matrices = np.stack([place.matrix for place in places])
    matrices = (matrices / matrices[:, 2:, 2:]).astype(np.float32)
    at = np.broadcast_to(points, (len(places), *points.shape))
    hidden = None
    if any(place.bend[0] or place.bend[2] for place in places):
        at = at.copy()
        hidden = np.zeros(at.shape[:2], bool)
        for index, place in enumerate(places):
            for axis in (0, 1):
                curve, crest = place.bend[2 * axis : 2 * axis + 2]
                if curve:
                    at[index, :, axis] = seen_from_the_front(
                        points[:, axis].astype(np.float64), curve, crest
                    )
                    hidden[index] |= abs(points[:, axis] - crest) * curve > OUT_OF_SIGHT
    seen = at @ matrices[:, :, :2].transpose(0, 2, 1)
    seen += matrices[:, None, :, 2]
    depth = np.maximum(seen[..., 2], np.float32(1e-3))
    x, y = seen[..., 0] / depth, seen[..., 1] / depth
    values: Any = cv2.remap(contrast, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    if hidden is not None:
        values[hidden] = 0
    return np.asarray(values, np.float32)


@lru_cache(maxsize=64)
def _details(form: Form) -> _Details:
    size = form.size
    span = np.arange(-MARGIN, size + MARGIN)
    x, y = (part.ravel() for part in np.meshgrid(span, span))
    ring = np.maximum.reduce([-x, x - size + 1, -y, y - size + 1])
    inside = ring <= 0
    expected = np.where(ring > 4, _RING, -_RING)
    expected[inside] = form.constant
    # Frame and quiet zone are wide: every second module of them tells as much.
    expected[~inside & ((x + y) % 2 == 1)] = 0
    fixed = expected != 0
    patch = (y + MARGIN) // _PATCH * 100 + (x + MARGIN) // _PATCH
    patch = 2 * patch + inside
    order = np.argsort(patch[fixed], kind="stable")
    points = np.stack([x, y], axis=-1)[fixed][order] + 0.5
    names, starts = np.unique(patch[fixed][order], return_index=True)
    middles_of_patches = np.stack([
        np.bincount(np.searchsorted(names, patch[fixed][order]), points[:, axis])
        for axis in (0, 1)
    ], axis=-1) / np.bincount(np.searchsorted(names, patch[fixed][order]))[:, None]  # fmt: skip
    free = inside & ~fixed
    # Middles and crossings all over the symbol: the grid is there whatever is known.
    middle = np.stack([x, y], axis=-1)[free] + 0.5
    crossing = np.stack([x, y], axis=-1)[free & (x > 0) & (y > 0)].astype(np.float64)
    weights = expected[fixed][order]
    return _Details(
        np.concatenate([points, middle, crossing]).astype(np.float32),
        (weights / abs(weights).sum()).astype(np.float32),
        starts, len(points), len(middle), middles_of_patches,
    )  # fmt: skip


@lru_cache(maxsize=32)
def _moves(size: int, step: float) -> Points:
    """Small maps of the label onto itself (16, 3, 3), each followed by its opposite."""
    half = size / 2 + MARGIN
    centre = np.eye(3)
    centre[:2, :2] /= half
    centre[:2, 2] = -size / 2 / half
    back = np.linalg.inv(centre)
    moves = []
    for row, column in ((0, 2), (1, 2), (0, 0), (1, 1), (0, 1), (1, 0), (2, 0), (2, 1)):
        for sign in (step, -step):
            move = np.eye(3)
            move[row, column] += sign / half
            moves.append(back @ move @ centre)
    return np.stack(moves)
