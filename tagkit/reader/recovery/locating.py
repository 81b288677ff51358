"""Finding labels by whatever is left of them: guesses, scored and refined by their structure."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from tagkit.reader.recovery.lines import bars
from tagkit.reader.recovery.refining import refined
from tagkit.reader.recovery.sampling import Place
from tagkit.reader.recovery.seeds import Seeds, from_bars, from_finders, together
from tagkit.reader.recovery.structure import Prepared, seen_by, structure
from tagkit.reader.symbols import Corners, contains

_SCALES = np.array([0.76, 0.82, 0.88, 0.94, 1.0, 1.06, 1.12, 1.19, 1.26])
_REFINED = 24
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
    seeds = together(from_finders(prepared.grey), from_bars(bars(prepared.grey)))
    guesses = _scaled(prepared, seeds, sizes, until)
    guesses.sort(key=lambda guess: -guess.score)
    kept: list[Located] = []
    for guess in guesses:
        if len(kept) >= _REFINED:
            break
        if _free(guess.place, taken) and not any(
            _same(guess.place, other.place, 1.5) for other in kept
        ):
            kept.append(guess)
    better: list[Located] = []
    for guess in kept:
        better.append(Located(*refined(prepared, guess.place)))
        if time.perf_counter() > until:
            break
    better.sort(key=lambda guess: -guess.score)
    chosen: list[Located] = []
    for guess in better:
        if len(chosen) >= most:
            break
        if not any(_same(guess.place, other.place, 0.4) for other in chosen):
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
