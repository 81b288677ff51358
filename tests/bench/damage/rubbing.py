"""Wear by handling: scratches and abrasion."""

from __future__ import annotations

import cv2
import numpy as np

from .fields import places, rising, smooth
from .wear import GRAIN, Course, Ground, Wear, over


def scratches(ground: Ground, rng: np.random.Generator) -> Course:
    """Hundreds of scratches, most in one or two directions, some deep gouges.

    Light where the film is torn white or the steel shines, dark where dirt has settled. Most are
    a quarter to half a module wide, one of twenty-five is a gouge of up to a module; lengths
    from a few modules to the whole symbol.
    """
    count, bundles = 1400, 260
    order = np.full(ground.shape, count, np.float32)
    column, row, side = ground.symbol
    # What scrapes past has several teeth: scratches come in bundles, side by side.
    bundle = np.sort(rng.integers(0, bundles, count))
    main = rng.uniform(0, np.pi, 2)
    angle = main[rng.integers(0, 2, bundles)] + rng.normal(0, 0.3, bundles)
    angle = angle[bundle] + rng.normal(0, 0.03, count)
    length = (rng.gamma(1.8, 9 * GRAIN, bundles) + 2 * GRAIN)[bundle] * rng.uniform(0.4, 1, count)
    width = np.where(rng.random(count) < 0.04, rng.integers(3, 5, count),
                     rng.choice([1, 1, 2], count))  # fmt: skip
    spread = rng.gamma(1.5, 1.2 * GRAIN, bundles)[bundle]
    x = rng.uniform(column - side / 4, column + side * 1.25, bundles)[bundle]
    y = rng.uniform(row - side / 4, row + side * 1.25, bundles)[bundle]
    x, y = x + rng.normal(0, 1, count) * spread, y + rng.normal(0, 1, count) * spread
    bow = rng.normal(0, 0.1, bundles)[bundle]
    steps = np.linspace(-0.5, 0.5, 5)
    for index in range(count - 1, -1, -1):
        along = steps * length[index]
        off = bow[index] * length[index] * (4 * steps**2 - 1)
        turn, lean = np.cos(angle[index]), np.sin(angle[index])
        path = np.stack([x[index] + along * turn - off * lean,
                         y[index] + along * lean + off * turn], axis=1)  # fmt: skip
        cv2.polylines(
            order, [np.round(path * 8).astype(np.int32)], False, float(index),
            int(width[index]), cv2.LINE_8, 3,
        )  # fmt: skip
    light = rng.random(count + 1) < rng.uniform(0.5, 0.95)
    tones = np.where(light, rng.uniform(165, 240, count + 1), rng.uniform(35, 95, count + 1))
    tone = tones.astype(np.float32)[order.astype(np.intp)]

    def course(level: float) -> Wear:
        # Bundles are numbered in the order in which they were scraped.
        cut = (order < level * count).astype(np.float32)
        alpha = cv2.GaussianBlur(cut, (0, 0), 0.5)
        return over(np.maximum(alpha, cut * np.float32(0.92)), tone)

    return course


def abrasion(ground: Ground, rng: np.random.Generator) -> Course:
    """Rubbed through by a strap, a gate or the next case: streaks in one direction, ink gone."""
    angle = float(rng.uniform(-0.5, 0.5) + rng.choice([0, np.pi / 2]))
    large = int(np.hypot(*ground.shape)) + 4
    streaks = smooth(rng, (large, large), (0.5 * GRAIN, 9 * GRAIN), 2)
    specks = smooth(rng, (large, large), (0.4 * GRAIN, 1.2 * GRAIN))
    turn = cv2.getRotationMatrix2D((large / 2, large / 2), np.degrees(angle), 1)
    turn[:, 2] -= (large - np.array(ground.shape[::-1])) / 2
    size = (ground.shape[1], ground.shape[0])
    fine = cv2.warpAffine(0.7 * streaks + 0.5 * specks, turn, size, borderMode=cv2.BORDER_REFLECT)
    column, row, side = ground.symbol
    down, across = places(ground.shape)
    x0, y0 = column + side * rng.uniform(0.1, 0.9), row + side * rng.uniform(0.1, 0.9)
    off = (across - x0) * np.float32(-np.sin(angle)) + (down - y0) * np.float32(np.cos(angle))
    band = np.abs(off) / side + 0.12 * smooth(rng, ground.shape, 14 * GRAIN, 2)
    order = band + np.float32(rng.uniform(0.12, 0.3)) * fine
    tone = np.float32(rng.uniform(160, 225)) + 12 * fine
    ghost = float(rng.uniform(0, 0.05))

    def course(level: float) -> Wear:
        return over(rising(np.float32(2.6 * level - 0.8) - order, 0.12), tone, ghost)

    return course
