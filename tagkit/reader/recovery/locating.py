"""Finding labels by whatever is left of them: guesses, scored and refined by their structure."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from tagkit.reader.recovery.lines import bars
from tagkit.reader.recovery.refining import drawn_to_frame, finished, refined
from tagkit.reader.recovery.sampling import MARGIN, Place
from tagkit.reader.recovery.seeds import Facing, Seeds, facing, from_bars, from_finders, together
from tagkit.reader.recovery.structure import Prepared, any_way_up, seen_by, structure
from tagkit.reader.symbols import Corners, contains

_SCALES = np.array([0.76, 0.82, 0.88, 0.94, 1.0, 1.06, 1.12, 1.19, 1.26])
_STRETCHES = np.array([0.8, 0.9, 1.0, 1.1, 1.22])
_DRAWN = 90
_REFINED = 20
_SAMPLED = 260
_SMALLEST, _LARGEST = 1.0, 16.0  # pixels a module


@dataclass(frozen=True, eq=False)
class Located:
    """A place where a label may lie and how well it agrees with a label's structure."""

    place: Place
    score: float


def locate(
    prepared: Prepared,
    sizes: Sequence[int],
    most: int = 8,
    taken: Sequence[Corners] = (),
    until: float = inf,
) -> list[Located]:
    """Up to ``most`` places of labels whose symbols have one of ``sizes`` modules a side.

    ``taken`` are places already read; ``until`` (perf_counter) is when to come to an end.
    """
    lines = bars(prepared.grey)
    seeds = together(from_finders(prepared.grey), from_bars(lines))
    guesses = _scaled(prepared, seeds, sizes, until)
    guesses += _slid(prepared, facing(lines, sizes), until)
    guesses = [guess for guess in guesses if _free(guess.place, taken)]
    drawn: list[Located] = []
    for guess in _apart(guesses, _DRAWN, 1.5):
        drawn.append(Located(*drawn_to_frame(prepared, guess.place)))
        if time.perf_counter() > until:
            break
    better: list[Located] = []
    for guess in _apart(drawn, _REFINED, 0.8):
        better.append(Located(*refined(prepared, guess.place)))
        if time.perf_counter() > until:
            break
    finest = [Located(*finished(prepared, one.place)) for one in _apart(better, most, 0.4)]
    return _apart(finest, most, 0.4)


def _apart(guesses: list[Located], most: int, modules: float) -> list[Located]:
    """The best, each more than so many modules from those before."""
    chosen: list[Located] = []
    for guess in sorted(guesses, key=lambda guess: -guess.score):
        if len(chosen) >= most:
            break
        if not any(_same(guess.place, other.place, modules) for other in chosen):
            chosen.append(guess)
    return chosen


def _free(place: Place, taken: Sequence[Corners]) -> bool:
    x, y = place.corners.mean(axis=0)
    return not any(contains(corners, (float(x), float(y))) for corners in taken)


def _scaled(prepared: Prepared, seeds: Seeds, sizes: Sequence[int], until: float) -> list[Located]:
    """Each seed at the scales that agree best with frame and quiet zone."""
    found: list[Located] = []
    across, below = (grid.ravel() for grid in np.meshgrid(_SCALES, _SCALES))
    for corner, right, down in zip(seeds.corner, seeds.right, seeds.down, strict=True):
        module = float(np.sqrt(abs(right[0] * down[1] - right[1] * down[0])))
        if not _SMALLEST < module < _LARGEST:
            continue
        if time.perf_counter() > until:
            break
        contrast = prepared.contrast(module)
        for size in sizes:
            known = structure(size, inside=False)
            step = max(1, known.bare // _SAMPLED)
            points, expected = known.points[::step], known.expected[::step]
            places = np.zeros((len(across), 3, 3))
            places[:, :2, 0] = across[:, None] * right
            places[:, :2, 1] = below[:, None] * down
            places[:, :2, 2] = corner
            places[:, 2, 2] = 1
            scores = seen_by(contrast, places, points) @ expected * step
            for index in np.argsort(-scores)[:2]:
                found.append(Located(Place(size, places[index]), float(scores[index])))
    return found


def _slid(prepared: Prepared, pairs: Sequence[Facing], until: float) -> list[Located]:
    """Each two opposite sides with the label slid along them to where it agrees best."""
    found: list[Located] = []
    for pair in pairs:
        module = float(np.hypot(*pair.across))
        if not _SMALLEST < module < _LARGEST:
            continue
        if time.perf_counter() > until:
            break
        size = pair.size
        points, expected = any_way_up(size)
        # The sides' remains lie within the frame.
        room = max(size + 2 * MARGIN - pair.length, 2.0) / 2 + 1
        slides, stretches = (
            grid.ravel() for grid in np.meshgrid(np.arange(-room, room + 0.5, 0.75), _STRETCHES)
        )
        along = stretches[:, None] * pair.along
        places = np.zeros((len(slides), 3, 3))
        places[:, :2, 0] = along
        places[:, :2, 1] = pair.across
        places[:, :2, 2] = pair.middle - along * size / 2 + slides[:, None] * pair.along
        places[:, 2, 2] = 1
        # Always clockwise.
        if pair.along[0] * pair.across[1] - pair.along[1] * pair.across[0] < 0:
            places[:, :2, 2] += places[:, :2, 0] * size
            places[:, :2, 0] *= -1
        values = seen_by(prepared.contrast(module), places, points)
        scores = values @ expected
        best = scores.max(axis=1)
        for index in np.argsort(-best)[:2]:
            place = Place(size, places[index]).turned(int(scores[index].argmax()))
            found.append(Located(place, float(best[index])))
    return found


def _same(one: Place, other: Place, modules: float) -> bool:
    """Whether two places are one but for ``modules`` and the turn."""
    if one.size != other.size:
        return False
    corners, others = one.corners, other.corners
    limit = modules * one.module
    if np.hypot(*(corners.mean(axis=0) - others.mean(axis=0))) > limit:
        return False
    apart: NDArray[np.float64] = np.hypot(*(corners[:, None] - others[None]).transpose(2, 0, 1))
    return bool(np.all(apart.min(axis=1) < limit))
