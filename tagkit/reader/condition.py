"""How much of a label is left: what a picture shows, held against the symbol it must be.

Terms are those of ISO/IEC 15415 where they mean the same. What differs, because a picture from
the floor is no verifier's: the light is evened out before anything is measured, so "print
contrast" is (light - dark) / light of the picture and no reflectance; the lens and the distance
take part in modulation; axial non-uniformity, which a slanting camera also makes, is not
measured.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tagkit.reader.flattening import AROUND, Flat, Grey, Points, agreements, flatten
from tagkit.reader.symbols import Corners
from tagkit.symbol.blocks import BlockMap, block_map
from tagkit.symbol.encode import Symbol, encode, smallest_version
from tagkit.symbol.patterns import Role
from tagkit.symbol.tables import LEVELS, Level

Modules = NDArray[np.bool_]

QUIET, FRAME = 4, 2  # modules: the quiet zone, and the line of the frame around it
_CLIPPED = 250  # grey value from which a place is too bright to say anything
_FILM = 235  # grey value of the light modules up to which brighter ones mirror a lamp
_SOME_GLARE = 0.02
_LARGER = 3  # versions above the smallest that are tried for a label not in the record
_PLAIN, _LIKELY = 0.75, 6  # agreement that needs no second look; forms that get one otherwise
_CLEARLY = 0.1  # by how much another form has to agree better


@dataclass(frozen=True)
class Block:
    """One error-correction block: codewords in all, how many the code can mend, how many are
    wrong."""

    codewords: int
    mendable: int
    wrong: int

    @property
    def unused(self) -> float:
        """Share of the correction left, 1 to 0 (15415: unused error correction)."""
        return max(0.0, 1 - self.wrong / self.mendable) if self.mendable else 0.0


@dataclass(frozen=True, eq=False)
class Condition:
    """What was measured on one label.

    ``wrong`` marks the modules that look like the other tone, ``reflectance`` is each module
    between the label's dark (0) and light (1); both n × n. ``fixed_patterns`` is for each part of
    the fixed pattern the share of its modules that look wrong. ``frame`` and ``quiet_zone`` are
    the shares left of the printed frame and of the light around the symbol; None when not
    (enough) in view. ``glare`` is the share of the symbol in
    which a lamp is mirrored; from 2 % those modules are not judged.
    ``grid_nonuniformity`` is how far modules lie off a plane grid at most, in modules.
    """

    symbol: Symbol
    flat: Flat
    wrong: Modules
    reflectance: Points
    blocks: tuple[Block, ...]
    contrast: float
    modulation: int
    fixed_patterns: tuple[tuple[str, float], ...]
    frame: float | None
    frame_sides: tuple[float | None, ...]
    quiet_zone: float | None
    glare: float
    pixels_per_module: float
    agreement: float

    @property
    def unused_error_correction(self) -> float:
        """Of the block that has least left: the symbol reads only when all blocks do."""
        return min(block.unused for block in self.blocks)

    @property
    def fixed_pattern_damage(self) -> float:
        """Of the part of the fixed pattern that is worst off."""
        return max(share for _, share in self.fixed_patterns)

    @property
    def grid_nonuniformity(self) -> float:
        """How far modules lie off a plane, in modules."""
        return self.flat.bend


def measure(grey: Grey, symbol: Symbol, corners: Corners) -> Condition:
    """The condition of the label that carries ``symbol``, found about at ``corners``.

    ``corners`` are pixels from the symbol's own top left, clockwise, and may be off by a module:
    a decoder's are as good as those of a recovered label.
    """
    flat = flatten(grey, symbol, corners)
    values = flat.modules().astype(np.float64)
    n = symbol.size
    inner = (slice(AROUND, AROUND + n),) * 2
    dark = np.array(symbol.matrix, bool)
    light_level, ratio = _tones(values[inner], dark)
    whole_light = _spread(light_level, n)
    scaled = (values / np.maximum(whole_light, 1) - ratio) / max(1 - ratio, 1e-3)
    reflectance = scaled[inner]
    wrong = (reflectance < 0.5) != dark
    # Where the film itself fills the sensor, white says nothing about a lamp.
    glare = (values[inner] >= _CLIPPED) & (whole_light[inner] < _FILM)
    if glare.mean() > _SOME_GLARE:
        # A lamp mirrored in the film is no damage; these modules can't be judged here.
        wrong &= ~cv2.dilate(glare.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    # What lies outside the picture is not there to be read.
    wrong |= ~flat.seen()[inner]
    known = block_map(symbol.version, symbol.level)
    frame_sides = _frame(scaled, flat.seen(), n)
    in_view = [side for side in frame_sides if side is not None]
    return Condition(
        symbol,
        flat,
        wrong,
        reflectance,
        blocks_with(wrong, known),
        float(1 - ratio),
        _modulation(reflectance, dark, known),
        _fixed_patterns(wrong, known),
        float(np.mean(in_view)) if in_view else None,
        frame_sides,
        _quiet_zone(scaled, flat.seen(), n),
        float(glare.mean()),
        _module(corners, n),
        flat.agreement,
    )


def expected_symbol(
    grey: Grey, text: str, corners: Corners, printed: Sequence[Symbol] = ()
) -> tuple[Symbol, bool]:
    """The symbol that this label must be, and whether the record knows of it.

    ``printed`` are the forms in which labels with this text were printed. Where none of them is
    what the picture shows, the form is taken from the picture.
    """
    forms = _forms(text)
    scores = agreements(grey, [*printed, *forms], corners)
    known, tried = scores[: len(printed)], scores[len(printed) :]
    if known and max(known) > max(tried) - _CLEARLY:
        return printed[known.index(max(known))], True
    ranked = sorted(zip(tried, forms, strict=True), key=lambda pair: -pair[0])
    if ranked[0][0] >= _PLAIN:
        return ranked[0][1], False
    # Bent or badly seen: the forms are told apart only once the label has been laid flat.
    likely = [form for _, form in ranked[:_LIKELY]]
    return max(likely, key=lambda form: flatten(grey, form, corners).agreement), False


def _forms(text: str) -> list[Symbol]:
    """Every symbol that may carry ``text``: levels, the smaller versions, all masks."""
    alphanumeric = text.upper() == text and all(one in _ALPHANUMERIC for one in text)
    forms = []
    for level in LEVELS:
        smallest = smallest_version(len(text.encode()), alphanumeric, level)
        for version in range(smallest, min(40, smallest + _LARGER) + 1):
            forms += [encode(text, level, version, mask) for mask in range(8)]
    return forms


_ALPHANUMERIC = frozenset("0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:")


def _tones(values: Points, dark: Modules) -> tuple[Points, float]:
    """The light on the label, as the factors of a smooth surface, and dark as a share of light.

    The light is what the light modules show, fitted so that spots and losses count little
    (Cauchy weights around the median of what is left); the share is the dark modules' median.
    """
    n = len(values)
    row, column = np.nonzero(~dark)
    known = _surface(column + 0.5, row + 0.5, n)
    seen = values[row, column].astype(np.float64)
    usable = seen < _CLIPPED if (seen < _CLIPPED).mean() > 0.5 else np.ones(len(seen), bool)
    known, seen = known[usable], seen[usable]
    # Lost modules are darker as often as brighter: begin with the middle of the brighter half.
    start = float(np.median(seen))
    factors = np.zeros(known.shape[1])
    factors[0] = start
    for _ in range(12):
        off = seen - known @ factors
        scale = max(2.0, 1.4826 * float(np.median(np.abs(off))))
        trust = 1 / (1 + (off / (1.5 * scale)) ** 2)
        weighted = known * trust[:, None]
        pull = np.diag([0.0, 1, 1, 4, 4, 4]) * 0.01 * len(known)
        factors = np.linalg.solve(known.T @ weighted + pull, weighted.T @ seen)
    row, column = np.nonzero(dark)
    light = np.maximum(_surface(column + 0.5, row + 0.5, n) @ factors, 1)
    shares = values[row, column] / light
    ratio = float(np.median(shares[shares < 1])) if (shares < 1).any() else 1.0
    return factors, min(ratio, 0.98)


def _surface(x: NDArray[Any], y: NDArray[Any], n: int) -> Points:
    x, y = 2 * x / n - 1, 2 * y / n - 1
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)


def _spread(factors: Points, n: int) -> Points:
    places = np.arange(-AROUND, n + AROUND) + 0.5
    x, y = np.meshgrid(places, places)
    light: Points = _surface(x.ravel(), y.ravel(), n) @ factors
    return light.reshape(x.shape)


def blocks_with(wrong: Modules, known: BlockMap) -> tuple[Block, ...]:
    """The blocks of a symbol with these modules (n × n) wrong."""
    codeword = np.array(known.codeword)
    block = np.array(known.block)
    carries = codeword >= 0
    words = np.zeros(int(codeword.max()) + 1, bool)
    np.logical_or.at(words, codeword[carries], wrong.ravel()[carries])
    owner = np.zeros(len(words), int)
    owner[codeword[carries]] = block[carries]
    return tuple(
        Block(data + correction, mendable(known.version, known.level, correction),
              int(words[owner == number].sum()))
        for number, (data, correction) in enumerate(known.blocks)
    )  # fmt: skip


def mendable(version: int, level: Level, correction: int) -> int:
    """Wrong codewords that a block can mend (ISO/IEC 18004, table 9): half of its correction
    less what the smallest symbols keep for detecting misreads."""
    kept = {(1, "L"): 3, (1, "M"): 2, (1, "Q"): 1, (1, "H"): 1, (2, "L"): 2, (3, "L"): 1}
    return (correction - kept.get((version, level), 0)) // 2


def _modulation(reflectance: Points, dark: Modules, known: BlockMap) -> int:
    """Grade of modulation, 4 best to 0 (15415, 7.8.4): for each grade, codewords whose modules
    do not reach it count as wrong, and the grade of what correction is then left limits it."""
    away = 2 * np.abs(reflectance - 0.5)
    away = np.where((reflectance < 0.5) == dark, away, 0)
    best = 0
    for grade, limit in ((4, 0.5), (3, 0.4), (2, 0.3), (1, 0.2)):
        unused = min(block.unused for block in blocks_with(away < limit, known))
        best = max(best, min(grade, grade_of(unused, UNUSED_GRADES)))
    return best


UNUSED_GRADES = (0.62, 0.50, 0.37, 0.25)
"""Unused error correction from which grades 4, 3, 2, 1 are given (ISO/IEC 15415, table 6)."""


def grade_of(value: float, limits: Sequence[float]) -> int:
    """4 (best) to 0."""
    return sum(value >= limit for limit in limits)


_PARTS = (
    ("finder top left", (Role.FINDER, Role.SEPARATOR), (0, 0)),
    ("finder top right", (Role.FINDER, Role.SEPARATOR), (0, 1)),
    ("finder bottom left", (Role.FINDER, Role.SEPARATOR), (1, 0)),
    ("timing", (Role.TIMING,), None),
    ("alignment", (Role.ALIGNMENT,), None),
    ("format information", (Role.FORMAT, Role.DARK), None),
    ("version information", (Role.VERSION,), None),
)


def _fixed_patterns(wrong: Modules, known: BlockMap) -> tuple[tuple[str, float], ...]:
    n = known.size
    role = np.array(known.role).reshape(n, n)
    row, column = np.indices((n, n))
    shares = []
    for name, roles, corner in _PARTS:
        part = np.isin(role, roles)
        if corner is not None:
            part &= (row >= n // 2) == corner[0]
            part &= (column >= n // 2) == corner[1]
        if part.any():
            shares.append((name, float(wrong[part].mean())))
    return tuple(shares)


def _frame(scaled: Points, seen: Modules, n: int) -> tuple[float | None, ...]:
    """The share of the frame's line that is dark: top, right, bottom, left."""
    first, last = AROUND - QUIET - FRAME, AROUND + n + QUIET + FRAME
    line = scaled[first:last, first:last]
    there = seen[first:last, first:last]
    shares: list[float | None] = []
    for quarter in range(4):  # turning the picture leftwards brings the next side to the top
        side = np.rot90(line, quarter)[:FRAME]
        known = np.asarray(np.rot90(there, quarter)[:FRAME], np.bool_)
        # Two modules thick: a place counts as dark when either row is.
        dark = np.asarray(((side < 0.5) & known).any(axis=0), np.bool_)
        whole = np.asarray(known.any(axis=0), np.bool_)
        shares.append(float(dark[whole].mean()) if whole.mean() > 0.5 else None)
    return tuple(shares)


def _quiet_zone(scaled: Points, seen: Modules, n: int) -> float | None:
    ring = np.zeros(scaled.shape, bool)
    outer = slice(AROUND - QUIET + 1, AROUND + n + QUIET - 1)  # not what the frame blurs into
    ring[outer, outer] = True
    ring[AROUND : AROUND + n, AROUND : AROUND + n] = False
    ring &= seen
    return float((scaled[ring] > 0.5).mean()) if ring.mean() > 0.01 else None


def _module(corners: Corners, n: int) -> float:
    x, y = zip(*corners, strict=True)
    return (
        float(np.sqrt(0.5 * abs(float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))))) / n
    )
