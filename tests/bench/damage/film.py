"""The film itself comes off, tears, folds over, or goes round a cable."""

from __future__ import annotations

import numpy as np

from .fields import Field, places, rising, smooth
from .wear import GRAIN, Bend, Course, Ground, Wear


def _beneath(ground: Ground, rng: np.random.Generator) -> Field:
    """What shows where the film is gone: paint with rests of glue that dirt sticks to."""
    glue = rising(smooth(rng, ground.shape, 9 * GRAIN, 4) + rng.uniform(-1.2, 0.6), 2.0)
    glue *= 1 - 0.35 * rising(smooth(rng, ground.shape, (1.5 * GRAIN, 5 * GRAIN), 2), 1.5)
    paint = ground.beneath + 4 * smooth(rng, ground.shape, 1.2 * GRAIN, 2)
    rest = ground.beneath + rng.uniform(-30, 95) + 9 * smooth(rng, ground.shape, 2 * GRAIN, 3)
    tone: Field = (paint + (rest - paint) * glue).astype(np.float32)
    return tone


def peeled(ground: Ground, rng: np.random.Generator) -> Course:
    """Film that came off from one to three corners of the label, the edge curled up.

    The curl, 2 to 7 % of the symbol's side wide, shows the back of the film with light on it and
    throws a shadow. Peeling begins at the symbol's own corners: what is lost before it gets
    there is no damage to the symbol.
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
    """One to four strips torn out with ragged edges, a white rim of split film along them.

    Strips taper, as film tears towards a corner; the rim is up to a module wide, where the top
    layer went and the white one stayed.
    """
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
    """A part folded over on itself, showing its back, and creases where the print cracked.

    The flap hides as much of the label as it takes away. One to four creases tilt facets of the
    film by a tenth of the light; along them the ink flakes over up to half a module.
    """
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
        fold = last - (last + 0.55) * level * 0.5
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
    """The label goes round a cable or pipe: its sides turn away and out of sight.

    Radius from four sides of the symbol (a drum; nothing is lost) to a tenth of one (4 mm under
    a symbol of 36 mm). Beyond 70° from the line of sight modules are foreshortened to a third
    and the light glances off: that counts as lost.
    """
    along = int(rng.integers(0, 2))
    column, row, side = ground.symbol
    start = row if along else column
    middle = start + side * float(rng.uniform(0.25, 0.75))
    lines = np.arange(ground.shape[0 if along else 1], dtype=np.float32) - np.float32(middle)

    def course(level: float) -> Wear:
        # From a wide drum (radius 4 symbols) to a thin cable: the symbol goes nearly round.
        radius = side * (0.09 + 4.0 * (1 - level) ** 6 + 0.6 * (1 - level))
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
