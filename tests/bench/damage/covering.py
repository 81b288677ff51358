"""What lies on the label or takes its contrast: dirt, drops, frost, glare, fading."""

from __future__ import annotations

import cv2
import numpy as np

from .fields import places, rising, smooth
from .wear import GRAIN, Course, Ground, Wear, over


def dirt(ground: Ground, rng: np.random.Generator) -> Course:
    """Grease and mud: smears and splashes that hide, dust over all of it."""
    shape = ground.shape
    wide = smooth(rng, shape, (14 * GRAIN, 20 * GRAIN), 5)
    grit = smooth(rng, shape, 0.5 * GRAIN, 2)
    order = -(0.8 * wide + 0.25 * grit)
    spatter = np.zeros(shape, np.float32)
    for _ in range(60):
        at = (int(rng.integers(0, shape[1])), int(rng.integers(0, shape[0])))
        cv2.circle(spatter, at, int(rng.gamma(1.5, 0.5 * GRAIN)) + 1,
                   float(rng.uniform(0.3, 1)), -1)  # fmt: skip
    order = order - 1.2 * cv2.GaussianBlur(spatter, (0, 0), 0.8)
    tone = np.float32(rng.uniform(40, 100)) + 9 * grit + 6 * wide
    ghost, dust = float(rng.uniform(0, 0.06)), float(rng.uniform(0.05, 0.25))
    edge = float(rng.choice([0.15, 0.5]))

    def course(level: float) -> Wear:
        hidden = over(rising(np.float32(7 * level - 3.5) - order, edge), tone, ghost)
        film = np.float32(dust * min(1, 4 * level))
        return Wear(hidden.kept * (1 - film), hidden.added * (1 - film) + film * 120)

    return course


def drops(ground: Ground, rng: np.random.Generator) -> Course:
    """Standing drops of water or acid: each bends what is under it into a blur.

    A drop has a dark lower edge and a bright spot towards the lamp.
    """
    count, rings = 500, 4
    shape = ground.shape
    column, row, side = ground.symbol
    order = np.full(shape, count, np.float32)
    radius = np.clip(rng.lognormal(0.35, 0.55, count), 0.5, 5) * GRAIN
    x = rng.uniform(column - side / 3, column + side * 1.33, count)
    y = rng.uniform(row - side / 3, row + side * 1.33, count)
    long = rng.uniform(1, 1.35, count)
    for index in range(count - 1, -1, -1):
        # Drops grow: each covers the middle of its place first.
        for ring in range(rings - 1, -1, -1):
            reach = 8 * radius[index] * np.sqrt((ring + 1) / rings)
            cv2.ellipse(
                order, (round(8 * x[index]), round(8 * y[index])),
                (round(reach), round(reach * long[index])),
                0, 0, 360, index + ring / rings, -1, cv2.LINE_8, 3,
            )  # fmt: skip
    lamp = rng.uniform(-1, 1)
    reach = GRAIN * 0.5
    bright = np.float32(rng.uniform(60, 130))
    ghost, veil = np.float32(rng.uniform(0, 0.06)), np.float32(rng.uniform(0.1, 0.3))

    def course(level: float) -> Wear:
        inside = cv2.GaussianBlur((order < level * count).astype(np.float32), (0, 0), 0.6)
        move = np.array([[1, 0, reach * lamp], [0, 1, reach]], np.float32)
        lower = cv2.warpAffine(inside, move, shape[::-1])
        move[:, 2] *= -1
        upper = cv2.warpAffine(inside, move, shape[::-1])
        dark = inside * (1 - upper)
        shine = inside * np.clip(1 - lower, 0, 1)
        smear = inside * (1 - ghost - veil)
        added = inside * veil * 170 + shine * bright
        smear = smear * (1 - 0.55 * dark)
        return Wear(1 - inside * (1 - ghost), added.astype(np.float32), smear.astype(np.float32))

    return course


def frost(ground: Ground, rng: np.random.Generator) -> Course:
    """Rime from one side: a thin veil first, then white crystals that scatter what is below."""
    shape = ground.shape
    down, across = places(shape)
    column, row, side = ground.symbol
    angle = rng.uniform(0, 2 * np.pi)
    slope = ((across - column - side / 2) * np.float32(np.cos(angle))
             + (down - row - side / 2) * np.float32(np.sin(angle))) / side  # fmt: skip
    needles = -np.abs(smooth(rng, shape, 3 * GRAIN, 3)) + 0.8
    patches = smooth(rng, shape, 12 * GRAIN, 3)
    order = 0.9 * slope + 0.45 * patches + 0.25 * needles
    white = np.float32(rng.uniform(170, 225)) + 14 * smooth(rng, shape, 1.0 * GRAIN, 2)
    edge = float(rng.uniform(0.4, 1.0))
    thin = float(rng.uniform(0.15, 0.4))

    def course(level: float) -> Wear:
        ahead = np.float32(5 * level - 2.5) - order
        rime = rising(ahead, edge) * np.float32(0.96)
        veil = np.float32(min(1, 5 * level) * thin) * rising(ahead + np.float32(0.8), 2.0)
        kept = (1 - rime) * (1 - veil)
        smear = 0.25 * (1 - kept)
        return Wear(kept, (1 - kept - smear) * white, smear)

    return course


def glare(ground: Ground, rng: np.random.Generator) -> Course:
    """A lamp mirrored in the laminate: light added until the sensor clips at 255."""
    shape = ground.shape
    down, across = places(shape)
    column, row, side = ground.symbol
    x0, y0 = column + side * rng.uniform(0.1, 0.9), row + side * rng.uniform(0.1, 0.9)
    angle = rng.uniform(0, np.pi)
    turn, lean = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    along = ((across - x0) * turn + (down - y0) * lean) / side
    off = ((down - y0) * turn - (across - x0) * lean) / side
    # A tube shows as a long band, a bulb as a spot; the film is never quite flat.
    length = np.float32(rng.choice([1.0, 2.0, 5.0]))
    order = np.sqrt((along / length) ** 2 + off**2) + 0.07 * smooth(rng, shape, 14 * GRAIN, 3)
    edge = float(rng.uniform(0.15, 0.5))
    halo = np.float32(rng.uniform(10, 45))

    def course(level: float) -> Wear:
        ahead = np.float32(1.6 * level - 0.15) - order
        light = 300 * rising(ahead, edge) + halo * np.exp(-np.maximum(-ahead, 0) * 2)
        dark = np.minimum(255, ground.ink + light)
        pale = np.minimum(255, ground.film + light)
        kept = (pale - dark) / np.float32(ground.film - ground.ink)
        return Wear(kept, dark - kept * np.float32(ground.ink))

    return course


def fading(ground: Ground, rng: np.random.Generator) -> Course:
    """Sun and washing: the ink goes grey and then pale, from one side, in patches."""
    shape = ground.shape
    down, across = places(shape)
    column, row, side = ground.symbol
    angle = rng.uniform(0, 2 * np.pi)
    slope = ((across - column - side / 2) * np.float32(np.cos(angle))
             + (down - row - side / 2) * np.float32(np.sin(angle))) / side  # fmt: skip
    order = slope + 0.3 * smooth(rng, shape, 10 * GRAIN, 4)
    order += 0.08 * smooth(rng, shape, 0.5 * GRAIN, 2)
    pale = np.float32(ground.film * rng.uniform(0.82, 1.0))
    edge = float(rng.uniform(0.5, 1.3))
    least = np.float32(rng.uniform(0.0, 0.05))

    def course(level: float) -> Wear:
        gone = rising(np.float32(4 * level - 2) - order, edge) * (1 - least)
        return Wear(1 - gone, gone * pale)

    return course
