"""The outlines of the fonts' letters, for plates that are engraved or etched.

Reads the glyf table of a TrueType font (OpenType specification, "glyf"): contours of quadratic
curves, and letters composed of others, like É.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from functools import lru_cache

from tagkit.labels.fonts import Weight, face

Point = tuple[float, float, bool]  # x, y, on the curve
_ON, _X_SHORT, _Y_SHORT, _REPEAT, _X_SAME, _Y_SAME = 1, 2, 4, 8, 16, 32
_WORDS, _OFFSETS, _ONE_SCALE, _MORE, _TWO_SCALES, _MATRIX = 1, 2, 8, 32, 64, 128


@lru_cache(maxsize=2048)
def outline(weight: Weight, char: str) -> str:
    """The letter as an SVG path in units of the font size, y downwards from the baseline."""
    font = face(weight)
    steps = []
    for contour in _contours(weight, font.glyph(char)):
        steps.append(_as_path([(x / font.per_em, -y / font.per_em, on) for x, y, on in contour]))
    return " ".join(steps)


def _contours(weight: Weight, glyph: int) -> list[list[Point]]:
    data = face(weight).outline_data(glyph)
    if not data:
        return []
    (count,) = struct.unpack_from(">h", data)
    return _simple(data, count) if count >= 0 else _composed(weight, data)


def _simple(data: bytes, count: int) -> list[list[Point]]:
    ends = struct.unpack_from(f">{count}H", data, 10)
    total = ends[-1] + 1 if ends else 0
    (instructions,) = struct.unpack_from(">H", data, 10 + 2 * count)
    place = 12 + 2 * count + instructions
    flags: list[int] = []
    while len(flags) < total:
        flag = data[place]
        place += 1
        times = 1
        if flag & _REPEAT:
            times += data[place]
            place += 1
        flags += [flag] * times
    across, place = _coordinates(data, place, flags, _X_SHORT, _X_SAME)
    down, _ = _coordinates(data, place, flags, _Y_SHORT, _Y_SAME)
    points = [
        (float(x), float(y), bool(flag & _ON))
        for x, y, flag in zip(across, down, flags, strict=True)
    ]
    starts = [0, *(end + 1 for end in ends[:-1])]
    return [points[start : end + 1] for start, end in zip(starts, ends, strict=True)]


def _coordinates(
    data: bytes, place: int, flags: Sequence[int], short: int, same: int
) -> tuple[list[int], int]:
    value, values = 0, []
    for flag in flags:
        if flag & short:
            value += data[place] if flag & same else -data[place]
            place += 1
        elif not flag & same:
            value += struct.unpack_from(">h", data, place)[0]
            place += 2
        values.append(value)
    return values, place


def _composed(weight: Weight, data: bytes) -> list[list[Point]]:
    contours = []
    place, more = 10, True
    while more:
        flags, glyph = struct.unpack_from(">HH", data, place)
        place += 4
        form = ">hh" if flags & _WORDS else ">bb"
        shift = struct.unpack_from(form, data, place) if flags & _OFFSETS else (0, 0)
        place += struct.calcsize(form)
        matrix = [1.0, 0.0, 0.0, 1.0]
        numbers = 1 if flags & _ONE_SCALE else 2 if flags & _TWO_SCALES else 0
        numbers = 4 if flags & _MATRIX else numbers
        scales = [part / 16384 for part in struct.unpack_from(f">{numbers}h", data, place)]
        place += 2 * numbers
        if numbers == 1:
            matrix = [scales[0], 0.0, 0.0, scales[0]]
        elif numbers == 2:
            matrix = [scales[0], 0.0, 0.0, scales[1]]
        elif numbers == 4:
            matrix = scales
        for contour in _contours(weight, glyph):
            contours.append(
                [
                    (
                        matrix[0] * x + matrix[2] * y + shift[0],
                        matrix[1] * x + matrix[3] * y + shift[1],
                        on,
                    )
                    for x, y, on in contour
                ]
            )
        more = bool(flags & _MORE)
    return contours


def _as_path(points: list[Point]) -> str:
    """One closed contour; between two control points lies an implied point of the curve."""
    whole: list[Point] = []
    for number, (x, y, on) in enumerate(points):
        before = points[number - 1]
        if not on and not before[2]:
            whole.append(((x + before[0]) / 2, (y + before[1]) / 2, True))
        whole.append((x, y, on))
    first = next((number for number, point in enumerate(whole) if point[2]), None)
    if first is None:
        return ""
    ordered = whole[first + 1 :] + whole[: first + 1]
    steps = [f"M{whole[first][0]:.4f} {whole[first][1]:.4f}"]
    control: Point | None = None
    for point in ordered:
        x, y, on = point
        if not on:
            control = point
        elif control is not None:
            steps.append(f"Q{control[0]:.4f} {control[1]:.4f} {x:.4f} {y:.4f}")
            control = None
        else:
            steps.append(f"L{x:.4f} {y:.4f}")
    return "".join(steps) + "Z"
