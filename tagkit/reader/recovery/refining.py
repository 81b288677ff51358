"""A guess drawn onto the frame near it, before more is asked of it.

Climbs along eight ways to move a square seen in perspective (two shifts, two stretches, two
shears, two leans), by steps that get smaller; then the way up is chosen that agrees best.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tagkit.reader.recovery.sampling import MARGIN, Place
from tagkit.reader.recovery.structure import Prepared, any_way_up, seen_by, structure

_STEPS = (1.2, 0.7)  # modules at the frame's edge
_ROUNDS = 5


def drawn_to_frame(prepared: Prepared, place: Place) -> tuple[Place, float]:
    """A guess moved onto the frame near it, the right way up; its agreement with all there is."""
    place = _climb(prepared, place, _STEPS)[0]
    points, expected = any_way_up(place.size)
    values = seen_by(prepared.contrast(place.module), place.matrix[None], points)
    scores = (values @ expected)[0]
    turn = int(scores.argmax())
    return place.turned(turn), float(scores[turn])


def _climb(prepared: Prepared, place: Place, steps: tuple[float, ...]) -> tuple[Place, float]:
    known = structure(place.size, inside=False)
    contrast = prepared.contrast(place.module)
    matrix = place.matrix

    def score(matrices: NDArray[np.float64]) -> NDArray[np.float32]:
        return known.scores(seen_by(contrast, matrices, known.points))

    top = float(score(matrix[None])[0])
    for step in steps:
        moves = _moves(place.size, step)
        for _ in range(_ROUNDS):
            tried = matrix @ moves
            scores = score(tried)
            gains = scores - top
            better = np.flatnonzero(gains > 1e-4)
            if not len(better):
                break
            index = int(np.argmax(scores))
            matrix, top = tried[index], float(scores[index])
            # All that helped, together, is often better still.
            joint = matrix
            for other in better:
                if other != index and other != index ^ 1 and gains[other] >= gains[other ^ 1]:
                    joint = joint @ moves[other]
            value = float(score(joint[None])[0])
            if value > top:
                matrix, top = joint, value
    return Place(place.size, matrix / matrix[2, 2], place.bend), top


def _moves(size: int, step: float) -> NDArray[np.float64]:
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
