"""Acid: splashes that bleach the print, char the film, or both."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from .fields import Field, places, rising, smooth
from .wear import GRAIN, Course, Ground, Model, Wear, over


@dataclass(frozen=True, eq=False)
class _Splashes:
    order: Field  # the level at which a place is reached
    which: Any  # the splash it belongs to


def _splashes(ground: Ground, rng: np.random.Generator) -> _Splashes:
    """Splashes of unequal size with ragged outlines, drawn out downwards where acid ran.

    4 to 14 of them, sizes lognormal (one splash is as a rule twice the next); a third runs, to
    one and a half or three times its size. Outlines are ragged at 4 to 9 modules and finer.
    """
    down, across = places(ground.shape)
    count = int(rng.integers(4, 15))
    column, row, side = ground.symbol
    # Two of three fall on the symbol and its frame: only those matter here.
    near = rng.random(count) < 0.66
    x = np.where(near, rng.uniform(column - 16, column + side + 16, count),
                 rng.uniform(0, ground.shape[1], count))  # fmt: skip
    y = np.where(near, rng.uniform(row - 16, row + side + 16, count),
                 rng.uniform(0, ground.shape[0], count))  # fmt: skip
    size = rng.lognormal(0, 0.6, count)
    run = rng.choice([1.0, 1.0, 1.6, 3.0], count)
    ragged = 0.32 * smooth(rng, ground.shape, GRAIN * rng.uniform(4, 9), 4)
    order = np.full(ground.shape, np.inf, np.float32)
    which = np.zeros(ground.shape, np.intp)
    for index in range(count):
        below = down - np.float32(y[index])
        fall = np.where(below > 0, below / np.float32(run[index]), below)
        reach = np.sqrt((across - np.float32(x[index])) ** 2 + fall**2) / np.float32(size[index])
        nearer = reach < order
        order[nearer], which[nearer] = reach[nearer], index
    order = order / np.float32(side)
    order = order * (1 + 0.6 * ragged) + 0.05 * ragged
    return _Splashes(order, which)


def acid(tones: Callable[[np.random.Generator, int], Any]) -> Model:
    """Splashes whose tones are drawn by ``tones``, with a brown rim.

    Edges are crisp (a third of a module), soft or very soft (a module and a half: acid that crept under
    the laminate). Up to a twentieth of the print shines through.
    """

    def model(ground: Ground, rng: np.random.Generator) -> Course:
        splashes = _splashes(ground, rng)
        count = int(splashes.which.max()) + 1
        tone = tones(rng, count).astype(np.float32)[splashes.which]
        tone += 7 * smooth(rng, ground.shape, 3 * GRAIN, 3)
        soft = float(rng.choice([0.012, 0.02, 0.05]))  # share of the symbol's side
        ghost = float(rng.uniform(0, 0.05))
        rim_tone, rim_depth = np.float32(rng.uniform(70, 130)), float(rng.uniform(0.1, 0.45))

        def course(level: float) -> Wear:
            ahead = np.float32(1.9 * level - 0.25) - splashes.order
            eaten = over(rising(ahead, soft), tone, ghost)
            rim = np.exp(-((ahead / np.float32(0.01 + soft / 3)) ** 2)) * np.float32(rim_depth)
            return Wear(eaten.kept * (1 - rim), eaten.added * (1 - rim) + rim * rim_tone)

        return course

    return model


def bleach(rng: np.random.Generator, count: int) -> Any:
    """Ink and dye gone: about as light as the film."""
    return rng.uniform(185, 238, count)


def char(rng: np.random.Generator, count: int) -> Any:
    """The film charred or the acid dried with dirt in it: about as dark as the ink."""
    return rng.uniform(24, 84, count)


def either(rng: np.random.Generator, count: int) -> Any:
    """Half the splashes bleach, half char."""
    return np.where(rng.random(count) < 0.5, bleach(rng, count), char(rng, count))
