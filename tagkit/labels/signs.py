"""Safety signs of ISO 7010, drawn as vectors.

Shapes and proportions follow ISO 3864-1: the warning triangle is yellow with a black rim, the
prohibition circle has a band of 0.1 and a bar of 0.08 of its diameter from top left to bottom
right, the mandatory action sign is a solid disc. Colours are the signal colours RAL 1003, 3001
and 5005. Each sign is drawn in a square of 100 × 100, the origin at the top left.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

BLACK, WHITE = "#000000", "#FFFFFF"
YELLOW, RED, BLUE = "#F9A800", "#9B2423", "#005387"

Step = tuple[str, tuple[float, ...]]  # M x y, L x y, C x y x y x y, Z
SIDE = 100.0


@dataclass(frozen=True)
class Shape:
    """A path that is filled, stroked with round joins, or both."""

    path: tuple[Step, ...]
    fill: str | None = None
    stroke: str | None = None
    width: float = 0.0
    round_ends: bool = True


@dataclass(frozen=True)
class Sign:
    """One safety sign; shapes are drawn in order."""

    code: str
    meaning: str
    shapes: tuple[Shape, ...]


def _path(text: str, turn: float = 0.0, shift: tuple[float, float] = (0.0, 0.0),
          mirror: bool = False) -> tuple[Step, ...]:  # fmt: skip
    """The steps written like “M 1 2 L 3 4 C … Z”, turned in degrees about the origin first."""
    cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    steps: list[Step] = []
    for letter, numbers in re.findall(r"([MLCZ])([^MLCZ]*)", text):
        values = [float(number) for number in numbers.split()]
        points: list[float] = []
        for x, y in zip(values[::2], values[1::2], strict=True):
            across = -x if mirror else x
            points += [
                round(across * cos - y * sin + shift[0], 3),
                round(across * sin + y * cos + shift[1], 3),
            ]
        steps.append((letter, tuple(points)))
    return tuple(steps)


def _circle(x: float, y: float, radius: float) -> tuple[Step, ...]:
    handle = radius * 0.5522847498
    return _path(
        f"M {x + radius} {y} "
        f"C {x + radius} {y + handle} {x + handle} {y + radius} {x} {y + radius} "
        f"C {x - handle} {y + radius} {x - radius} {y + handle} {x - radius} {y} "
        f"C {x - radius} {y - handle} {x - handle} {y - radius} {x} {y - radius} "
        f"C {x + handle} {y - radius} {x + radius} {y - handle} {x + radius} {y} Z"
    )


def _box(x: float, y: float, width: float, height: float) -> tuple[Step, ...]:
    return _path(f"M {x} {y} L {x + width} {y} L {x + width} {y + height} L {x} {y + height} Z")


def _drop(x: float, y: float, size: float) -> tuple[Step, ...]:
    return _path(
        f"M {x} {y} C {x + 0.2 * size} {y + 0.5 * size} {x + 0.5 * size} {y + 0.7 * size} "
        f"{x + 0.5 * size} {y + 1.1 * size} C {x + 0.5 * size} {y + 1.75 * size} "
        f"{x - 0.5 * size} {y + 1.75 * size} {x - 0.5 * size} {y + 1.1 * size} "
        f"C {x - 0.5 * size} {y + 0.7 * size} {x - 0.2 * size} {y + 0.5 * size} {x} {y} Z"
    )


_TRIANGLE = Shape(_path("M 50 10.5 L 95 88.5 L 5 88.5 Z"), YELLOW, BLACK, 7.0)


def _warning(code: str, meaning: str, *pictogram: Shape) -> Sign:
    return Sign(code, meaning, (_TRIANGLE, *pictogram))


def _prohibition(code: str, meaning: str, *pictogram: Shape) -> Sign:
    ring, reach = 44.0, 44.0 * math.sqrt(0.5)
    bar = _path(f"M {50 - reach} {50 - reach} L {50 + reach} {50 + reach}")
    return Sign(
        code,
        meaning,
        (
            Shape(_circle(50, 50, ring), WHITE),
            *pictogram,
            Shape(bar, stroke=RED, width=8.0, round_ends=False),
            Shape(_circle(50, 50, ring), stroke=RED, width=10.0),
        ),
    )


def _mandatory(code: str, meaning: str, *pictogram: Shape) -> Sign:
    return Sign(code, meaning, (Shape(_circle(50, 50, 49), BLUE), *pictogram))


def _flame() -> tuple[Shape, ...]:
    outer = (
        "M 50 76 C 39 76 32.5 69.5 33 61 C 33.4 54 38 50.5 38.5 44 C 41.5 46.5 43 49.5 43 53 "
        "C 46.5 48 47.5 40 44.5 32 C 53 36 57.5 43.5 57.5 52 C 59.5 50 60.3 47.5 60 44.5 "
        "C 64.5 49.5 67.5 55.5 67 61.5 C 66.5 70 60.5 76 50 76 Z"
    )
    inner = (
        "M 50 75 C 44.5 75 41.5 71.5 42 67 C 42.5 63 46 61.5 47 56.5 C 50.5 59 51.5 62 51.2 65.5 "
        "C 53 64 53.8 62.3 54 60.5 C 57 63.5 58.5 66.5 58 69.5 C 57.5 73 54.5 75 50 75 Z"
    )
    return Shape(_path(outer), BLACK), Shape(_path(inner), YELLOW)


def _test_tube(mouth: tuple[float, float], turn: float) -> tuple[Shape, ...]:
    """A glass that pours: an outline, half full; its mouth is at ``mouth``."""
    glass = _path("M -3.6 0 L -3.6 -12.5 C -3.6 -17.5 3.6 -17.5 3.6 -12.5 L 3.6 0", turn, mouth)
    filling = _path("M -3 0 L -3 -9 L 3 -5 L 3 0 Z", turn, mouth)
    rim = _path("M -5.2 0 L 5.2 0", turn, mouth)
    return (
        Shape(glass, YELLOW, BLACK, 2.0),
        Shape(filling, BLACK),
        Shape(rim, stroke=BLACK, width=2.2),
    )


def _corrosion() -> tuple[Shape, ...]:
    plate = "M 20 73 L 29.5 73 L 31.5 76.5 L 35 74.5 L 37 77.5 L 39.5 73 L 46 73 L 46 82 L 20 82 Z"
    hand = (
        "M 81 82 L 81 74 C 76 73.5 71.5 71 66.8 70.6 L 64.2 74 L 62 71.8 L 59.6 75.2 L 57 72.6 "
        "C 54 71.8 51 74 53 76.2 L 59 77.4 C 54 77 50.2 77.4 50.2 79.6 "
        "C 50.2 82.4 55 82 61 82 Z"
    )
    return (
        *_test_tube((37.2, 53.5), 48),
        *_test_tube((62.8, 53.5), -48),
        Shape(_drop(34, 56.6, 3.8), BLACK),
        Shape(_drop(34.2, 64.6, 3.8), BLACK),
        Shape(_drop(66, 56.2, 3.8), BLACK),
        Shape(_drop(64.6, 63.8, 3.8), BLACK),
        Shape(_path(plate), BLACK),
        Shape(_path(hand), BLACK),
    )


def _accumulator() -> tuple[Shape, ...]:
    return (
        Shape(_box(32.5, 57.5, 35, 22.5), BLACK, BLACK, 1.5),
        Shape(_box(36.5, 51.5, 8, 6), BLACK),
        Shape(_box(55.5, 51.5, 8, 6), BLACK),
        Shape(_box(36, 67.1, 9.5, 3.2), YELLOW),
        Shape(_box(54.5, 67.1, 9.5, 3.2), YELLOW),
        Shape(_box(57.65, 63.95, 3.2, 9.5), YELLOW),
    )


def _match() -> tuple[Shape, ...]:
    flame = (
        "M 50 57 C 42 57 37 51.5 37.5 44.5 C 38 37 45 31.5 48.5 19 C 53 25 54.5 29.5 54.5 34.5 "
        "C 56.5 33 57.3 31 57.5 28.5 C 62 34 63.5 40 63 45 C 62.5 52 57.5 57 50 57 Z"
    )
    heart = (
        "M 50 53.5 C 46 53.5 44 50.5 44.5 47 C 45 43.5 48.5 41.5 49.5 37 "
        "C 54 41 56 44 55.7 47.5 C 55.4 51 53.5 53.5 50 53.5 Z"
    )
    return (
        Shape(_box(47, 55, 6, 28), BLACK),
        Shape(_path(flame), BLACK),
        Shape(_path(heart), WHITE),
        Shape(_path("M 50 57 C 47.2 57 46 54 46.3 51 C 46.6 48 53.4 48 53.7 51 "
                    "C 54 54 52.8 57 50 57 Z"), BLACK),
    )  # fmt: skip


def _goggles() -> tuple[Shape, ...]:
    head = (
        "M 50 12 C 65 12 74 24 73.5 41 C 75.5 42 76 46 74.5 51 C 73.6 54 72.5 54.5 71.8 54.5 "
        "C 70 63 66.5 69 62.5 72.5 L 62.5 77 C 68 79 74 80 79.5 82.5 C 72 89.8 61.5 94 50 94 "
        "C 38.5 94 28 89.8 20.5 82.5 C 26 80 32 79 37.5 77 L 37.5 72.5 C 33.5 69 30 63 28.2 54.5 "
        "C 27.5 54.5 26.4 54 25.5 51 C 24 46 24.5 42 26.5 41 C 26 24 35 12 50 12 Z"
    )
    lens = (
        "M -22 -7 L -4 -7 C -2.2 -7 -1.5 -6 -1.8 -4.5 C -2.6 2 -5 7.5 -9.5 7.5 L -16 7.5 "
        "C -21 7.5 -23.5 1 -23.8 -4.5 C -23.9 -6.2 -23.4 -7 -22 -7 Z"
    )
    return (
        Shape(_path(head), WHITE),
        Shape(_path("M 26 42 L 74 42"), stroke=BLUE, width=4.0, round_ends=False),
        Shape(_path(lens, shift=(50, 46)), BLUE),
        Shape(_path(lens, shift=(50, 46), mirror=True), BLUE),
    )


def _glove(turn: float, shift: tuple[float, float], mirror: bool) -> tuple[Shape, ...]:
    """One glove, fingers up, with a blue outline that parts it from what lies behind."""
    outline = (
        "M -12.5 25.4 L -13.5 10 C -17.5 5.5 -21 -1 -24.5 -6 C -27.5 -10.5 -21.5 -14.5 -18.5 -10.8 "
        "L -13.4 -4 L -13.9 -22 C -13.9 -27 -7.2 -27 -7.1 -22 L -6.7 -8 L -6.4 -28 "
        "C -6.3 -33 0.5 -33 0.5 -28 L 0.6 -8 L 1.6 -25.5 C 1.9 -30.5 8.7 -30 8.4 -25 L 7.4 -7 "
        "L 9.4 -17.5 C 10.4 -22.3 16.8 -21 16 -16.2 L 13.4 8 L 13.4 25.4 Z"
    )
    cuff = "M -14.6 26 L 15.6 26 L 16.4 35 L -15.4 35 Z"
    return (
        Shape(_path(outline, turn, shift, mirror), WHITE, BLUE, 1.8),
        Shape(_path(cuff, turn, shift, mirror), WHITE, BLUE, 1.8),
    )


SIGNS: dict[str, Sign] = {
    sign.code: sign
    for sign in (
        _warning("W021", "flammable material", *_flame(),
                 Shape(_box(31, 78.3, 38, 3.6), BLACK)),
        _warning("W023", "corrosive substance", *_corrosion()),
        _warning("W026", "battery charging", *_accumulator()),
        _prohibition("P003", "no open flame: fire, open ignition source and smoking prohibited",
                     *_match()),
        _mandatory("M004", "wear eye protection", *_goggles()),
        _mandatory("M009", "wear protective gloves",
                   *_glove(14, (64, 48), False), *_glove(-4, (38.5, 52), True)),
    )
}  # fmt: skip


def svg_path(path: tuple[Step, ...]) -> str:
    """The path in the notation of SVG."""
    return " ".join(
        letter + " ".join(f"{number:g}" for number in numbers) for letter, numbers in path
    )
