"""What a battery room does to a label: each model says in which order the label is lost.

A model is drawn once (where the acid fell, which way the strap rubbed) and gives its wear at
any level from 0 to 1, so that one seed grows from a speck to ruin and can be steered. Wear is
linear in the print: ``kept * print + smear * blurred print + added``; ``kept`` is therefore the
contrast that is left, which is what severity is counted in. Models work on the label at
``GRAIN`` pixels a module; lengths below are in modules (about 1 mm on our stock) unless said.

The sizes come from what the causes look like: acid falls in splashes of a few millimetres to
some centimetres, runs downwards and leaves brown rims; straps and gloves rub in one direction;
film peels from its corners, tears in strips; resin ink goes grey in the sun from one side.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from .fields import Field, Shape, places, rising, smooth

GRAIN = 4


@dataclass(frozen=True, eq=False)
class Ground:
    """The label that is aged: ``shape`` and ``symbol`` (column, row, side) at GRAIN pixels."""

    shape: Shape
    symbol: tuple[int, int, int]
    ink: float  # grey of the dark modules
    film: float  # grey of the light ones
    beneath: float  # grey of what is under the label


@dataclass(frozen=True)
class Bend:
    """The label lies on a cylinder: a cable, a pipe. Lengths at GRAIN pixels."""

    radius: float
    along: int  # 0: the cable runs down the label, 1: across it
    middle: float  # column (row) that faces the camera


@dataclass(frozen=True, eq=False)
class Wear:
    """What is left: ``kept * print + smear * blurred print + added``."""

    kept: Field
    added: Field
    smear: Field | None = None
    bend: Bend | None = None


Course = Callable[[float], Wear]
Model = Callable[[Ground, np.random.Generator], Course]


def _over(alpha: Field, tone: Field | float, ghost: float = 0.0) -> Wear:
    """Something opaque over the print; ``ghost`` is the contrast that still shines through."""
    cover = alpha * np.float32(1 - ghost)
    return Wear(1 - cover, (cover * tone).astype(np.float32))


# Acid


@dataclass(frozen=True, eq=False)
class _Splashes:
    order: Field  # the level at which a place is reached
    which: Any  # the splash it belongs to


def _splashes(ground: Ground, rng: np.random.Generator) -> _Splashes:
    """Splashes of unequal size with ragged outlines, drawn out downwards where acid ran."""
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


def _acid(tones: Callable[[np.random.Generator, int], Any]) -> Model:
    def model(ground: Ground, rng: np.random.Generator) -> Course:
        splashes = _splashes(ground, rng)
        count = int(splashes.which.max()) + 1
        tone = tones(rng, count).astype(np.float32)[splashes.which]
        tone += 7 * smooth(rng, ground.shape, 3 * GRAIN, 3)
        soft = float(rng.choice([0.012, 0.03, 0.09]))  # share of the symbol's side
        ghost = float(rng.uniform(0, 0.12))
        rim_tone, rim_depth = np.float32(rng.uniform(70, 130)), float(rng.uniform(0.1, 0.6))

        def course(level: float) -> Wear:
            ahead = np.float32(1.5 * level) - splashes.order
            over = _over(rising(ahead, soft), tone, ghost)
            rim = np.exp(-((ahead / np.float32(0.025 + soft / 2)) ** 2)) * np.float32(rim_depth)
            return Wear(over.kept * (1 - rim), over.added * (1 - rim) + rim * rim_tone)

        return course

    return model


def _bleach(rng: np.random.Generator, count: int) -> Any:
    return rng.uniform(185, 238, count)


def _char(rng: np.random.Generator, count: int) -> Any:
    return rng.uniform(24, 84, count)


def _either(rng: np.random.Generator, count: int) -> Any:
    return np.where(rng.random(count) < 0.5, _bleach(rng, count), _char(rng, count))


# Wear by handling


def scratches(ground: Ground, rng: np.random.Generator) -> Course:
    """Hundreds of scratches, most in one or two directions, some deep gouges.

    Light where the film is torn white or the steel shines, dark where dirt has settled.
    """
    count = 1400
    order = np.full(ground.shape, count, np.float32)
    column, row, side = ground.symbol
    main = rng.uniform(0, np.pi, 2)
    angle = main[rng.integers(0, 2, count)] + rng.normal(0, 0.28, count)
    length = rng.gamma(1.8, 9 * GRAIN, count) + 2 * GRAIN
    width = np.where(rng.random(count) < 0.12, rng.integers(3, 6, count),
                     rng.integers(1, 3, count))  # fmt: skip
    x = rng.uniform(column - side / 4, column + side * 1.25, count)
    y = rng.uniform(row - side / 4, row + side * 1.25, count)
    bow = rng.normal(0, 0.12, count)
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
    light = rng.random(count + 1) < rng.uniform(0.4, 0.9)
    tones = np.where(light, rng.uniform(165, 240, count + 1), rng.uniform(35, 95, count + 1))
    tone = tones.astype(np.float32)[order.astype(np.intp)]

    def course(level: float) -> Wear:
        cut = (order < level * count).astype(np.float32)
        alpha = cv2.GaussianBlur(cut, (0, 0), 0.5)
        return _over(np.maximum(alpha, cut * np.float32(0.92)), tone)

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
    fine = cv2.warpAffine(
        0.7 * streaks + 0.5 * specks, turn, size, borderMode=cv2.BORDER_REFLECT
    )
    column, row, side = ground.symbol
    down, across = places(ground.shape)
    middle = rng.uniform(0.1, 0.9, 2)
    off = (across - column - side * middle[0]) * np.float32(-np.sin(angle))
    off = off + (down - row - side * middle[1]) * np.float32(np.cos(angle))
    band = np.abs(off) / side + 0.12 * smooth(rng, ground.shape, 14 * GRAIN, 2)
    order = band + np.float32(rng.uniform(0.12, 0.3)) * fine
    tone = np.float32(rng.uniform(160, 225)) + 12 * fine
    ghost = float(rng.uniform(0, 0.15))

    def course(level: float) -> Wear:
        return _over(rising(np.float32(2.6 * level - 0.8) - order, 0.12), tone, ghost)

    return course


# The film itself


def _beneath(ground: Ground, rng: np.random.Generator) -> Field:
    """What shows where the film is gone: paint with rests of glue that dirt sticks to."""
    glue = rising(smooth(rng, ground.shape, 6 * GRAIN, 4) + rng.uniform(-1.2, 0.6), 0.5)
    paint = ground.beneath + 5 * smooth(rng, ground.shape, 1.2 * GRAIN, 2)
    rest = rng.uniform(110, 205) + 16 * smooth(rng, ground.shape, 2 * GRAIN, 3)
    tone: Field = (paint + (rest - paint) * glue).astype(np.float32)
    return tone


def peeled(ground: Ground, rng: np.random.Generator) -> Course:
    """Film that came off from one to three corners of the label, the edge curled up.

    The curl shows the back of the film, with light on it, and throws a shadow.
    """
    down, across = places(ground.shape)
    column, row, side = ground.symbol
    corners = [(0, 0), (1, 0), (1, 1), (0, 1)]
    order = np.full(ground.shape, np.inf, np.float32)
    wavy = 0.05 * smooth(rng, ground.shape, 10 * GRAIN, 3)
    for pick in rng.permutation(4)[: int(rng.integers(1, 4))]:
        right, low = corners[int(pick)]
        # From the symbol's own corner with its frame: peeling that stops short shows nothing.
        x, y = column + right * side, row + low * side
        angle = rng.uniform(0.2, np.pi / 2 - 0.2)
        inward = np.array([(1 - 2 * right) * np.cos(angle), (1 - 2 * low) * np.sin(angle)])
        reach = ((across - x) * np.float32(inward[0]) + (down - y) * np.float32(inward[1])) / side
        order = np.minimum(order, reach + np.float32(rng.uniform(0, 0.25)))
    order = order + wavy
    tone = _beneath(ground, rng)
    back = np.float32(rng.uniform(165, 225))
    curl = float(rng.uniform(0.02, 0.07))
    crisp = 0.01

    def course(level: float) -> Wear:
        ahead = np.float32(1.9 * level - 0.1) - order
        gone = rising(ahead, crisp)
        lifted = rising(ahead + np.float32(curl), crisp) * (1 - gone)
        shine = back * (0.62 + 0.38 * np.clip(1 + ahead / np.float32(curl), 0, 1))
        shadow = 1 - 0.45 * np.exp(-np.maximum(-ahead - np.float32(curl), 0) / np.float32(0.03))
        shadow = np.where(ahead < -curl, shadow, 1).astype(np.float32)
        kept = (1 - gone) * (1 - lifted)
        return Wear(kept * shadow, (gone * tone + lifted * shine).astype(np.float32))

    return course


def torn(ground: Ground, rng: np.random.Generator) -> Course:
    """Strips torn out with ragged edges, a white rim of split film along them."""
    down, across = places(ground.shape)
    column, row, side = ground.symbol
    angle = float(rng.choice([0.0, np.pi / 2]) + rng.normal(0, 0.35))
    lean, turn = np.float32(np.sin(angle)), np.float32(np.cos(angle))
    off = ((down - row - side / 2) * turn - (across - column - side / 2) * lean) / side
    along = ((across - column - side / 2) * turn + (down - row - side / 2) * lean) / side
    ragged = 0.035 * smooth(rng, ground.shape, (1.5 * GRAIN, 3 * GRAIN), 4)
    order = np.full(ground.shape, np.inf, np.float32)
    count = int(rng.integers(1, 5))
    spots = (np.arange(count) + rng.uniform(0.15, 0.85, count)) / count - 0.5
    for spot in spots:
        taper = np.float32(rng.uniform(-0.5, 0.5))
        width = np.float32(rng.uniform(0.6, 1.4)) * np.maximum(0.25, 1 + taper * along)
        order = np.minimum(order, np.abs(off - np.float32(spot)) / width * np.float32(2))
    order = order + ragged
    tone = _beneath(ground, rng)
    rim = float(rng.uniform(0.008, 0.03))
    white = np.float32(rng.uniform(205, 248))

    def course(level: float) -> Wear:
        ahead = np.float32(1.7 * level - 0.1) - order
        gone = rising(ahead, 0.008)
        split = rising(ahead + np.float32(rim), 0.008) * (1 - gone)
        return Wear((1 - gone) * (1 - split), (gone * tone + split * white).astype(np.float32))

    return course


def folds(ground: Ground, rng: np.random.Generator) -> Course:
    """A part folded over on itself, showing its back, and creases where the print cracked."""
    down, across = places(ground.shape)
    column, row, side = ground.symbol
    angle = float(rng.uniform(0, 2 * np.pi))
    turn, lean = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    x, y = (across - column - side / 2) / side, (down - row - side / 2) / side
    reach = x * turn + y * lean
    last = float(np.max([reach[0, 0], reach[0, -1], reach[-1, 0], reach[-1, -1]]))
    wavy = 0.01 * smooth(rng, ground.shape, 12 * GRAIN, 2)
    back = np.float32(rng.uniform(160, 215)) + 5 * smooth(rng, ground.shape, 8 * GRAIN, 3)
    tone = _beneath(ground, rng)
    cracks = np.full(ground.shape, np.inf, np.float32)
    facets = np.zeros(ground.shape, np.float32)
    flakes = 0.012 * smooth(rng, ground.shape, 1.2 * GRAIN, 3)
    for _ in range(int(rng.integers(1, 5))):
        lie = rng.uniform(0, np.pi)
        off = x * np.float32(np.cos(lie)) + y * np.float32(np.sin(lie))
        off = off - np.float32(rng.uniform(-0.5, 0.5))
        cracks = np.minimum(cracks, np.abs(off + wavy) + flakes)
        facets += np.float32(rng.uniform(-0.1, 0.1)) * np.sign(off)
    white = np.float32(rng.uniform(190, 240))

    def course(level: float) -> Wear:
        # The fold moves in from the far end; the flap covers as much again before it.
        fold = last - (last + 0.55) * level * 0.5 - last * level * 0.0
        edge = 2 * fold - last
        hidden = rising(reach + wavy - np.float32(edge), 0.008)
        outside = rising(reach - np.float32(fold), 0.008)
        shade = 1 - 0.4 * np.exp(-np.abs(reach - np.float32(edge)) / np.float32(0.025))
        cracked = rising(np.float32(min(0.014, 0.1 * level)) - cracks, 0.012)
        kept = (1 - hidden) * (1 - cracked) * np.where(reach < edge, shade, 1) * (1 + facets)
        flap = back * (0.8 + 0.2 * np.clip((reach - edge) / 0.15, 0, 1))
        cover = outside * tone + (1 - outside) * flap
        added = hidden * cover + (1 - hidden) * cracked * white
        return Wear(np.clip(kept, 0, 1.1).astype(np.float32), added.astype(np.float32))

    return course


def cable(ground: Ground, rng: np.random.Generator) -> Course:
    """The label goes round a cable or pipe: its sides turn away and out of sight."""
    along = int(rng.integers(0, 2))
    column, row, side = ground.symbol
    start = row if along else column
    middle = start + side * float(rng.uniform(0.25, 0.75))
    lines = np.arange(ground.shape[0 if along else 1], dtype=np.float32) - np.float32(middle)

    def course(level: float) -> Wear:
        # From a wide drum (radius 4 symbols) to a thin cable: the symbol goes nearly round.
        radius = side * (0.14 + 4.0 * (1 - level) ** 6 + 0.55 * (1 - level))
        faces = np.cos(np.clip(lines / np.float32(radius), -np.pi / 2, np.pi / 2))
        # Foreshortened to a third, modules run together and the light glances off.
        seen = rising(faces - np.float32(0.34), 0.12).astype(np.float32)
        light = 0.35 + 0.65 * faces
        line = (seen * light)[:, None] if along else (seen * light)[None, :]
        kept = np.broadcast_to(line, ground.shape).astype(np.float32)
        veil = ((1 - seen) * light * 120)[:, None] if along else ((1 - seen) * light * 120)[None]
        added = np.broadcast_to(veil, ground.shape).astype(np.float32)
        return Wear(kept, added, None, Bend(radius, along, middle))

    return course


# What lies on it


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
    ghost, dust = float(rng.uniform(0, 0.18)), float(rng.uniform(0.05, 0.25))
    edge = float(rng.choice([0.15, 0.5]))

    def course(level: float) -> Wear:
        over = _over(rising(np.float32(7 * level - 3.5) - order, edge), tone, ghost)
        film = np.float32(dust * min(1, 4 * level))
        return Wear(over.kept * (1 - film), over.added * (1 - film) + film * 120)

    return course


def drops(ground: Ground, rng: np.random.Generator) -> Course:
    """Standing drops of water or acid: each bends what is under it into a blur.

    A drop has a dark lower edge and a bright spot towards the lamp.
    """
    count = 500
    shape = ground.shape
    column, row, side = ground.symbol
    order = np.full(shape, count, np.float32)
    radius = np.clip(rng.lognormal(0.35, 0.55, count), 0.5, 6) * GRAIN
    x = rng.uniform(column - side / 3, column + side * 1.33, count)
    y = rng.uniform(row - side / 3, row + side * 1.33, count)
    long = rng.uniform(1, 1.35, count)
    for index in range(count - 1, -1, -1):
        cv2.ellipse(
            order, (round(8 * x[index]), round(8 * y[index])),
            (round(8 * radius[index]), round(8 * radius[index] * long[index])),
            0, 0, 360, float(index), -1, cv2.LINE_8, 3,
        )  # fmt: skip
    lamp = rng.uniform(-1, 1)
    reach = GRAIN * 0.5
    bright = np.float32(rng.uniform(60, 130))
    ghost, veil = np.float32(rng.uniform(0, 0.2)), np.float32(rng.uniform(0.1, 0.3))

    def course(level: float) -> Wear:
        inside = cv2.GaussianBlur((order < level * count).astype(np.float32), (0, 0), 0.6)
        move = np.array([[1, 0, reach * lamp], [0, 1, reach]], np.float32)
        lower = cv2.warpAffine(inside, move, shape[::-1])
        move[:, 2] *= -1
        upper = cv2.warpAffine(inside, move, shape[::-1])
        dark = inside * (1 - upper)
        shine = inside * np.clip(1 - lower, 0, 1)
        smear = inside * (1 - ghost - veil)
        added = inside * veil * 170 + shine * bright - 0.0 * dark
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
        rime = rising(ahead, edge) * np.float32(0.93)
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
    least = np.float32(rng.uniform(0.02, 0.1))

    def course(level: float) -> Wear:
        gone = rising(np.float32(4 * level - 2) - order, edge) * (1 - least)
        return Wear(1 - gone, gone * pale)

    return course


MODELS: dict[str, Model] = {
    "bleached": _acid(_bleach),
    "darkened": _acid(_char),
    "mixed": _acid(_either),
    "scratches": scratches,
    "abrasion": abrasion,
    "peeled": peeled,
    "torn": torn,
    "dirt": dirt,
    "drops": drops,
    "frost": frost,
    "glare": glare,
    "fading": fading,
    "folds": folds,
    "cable": cable,
}
"""Every model by name; the first three are the acid blotches."""
