"""Finding labels by whatever is left of them: guesses, settled by what all labels share."""

from __future__ import annotations

import time
from collections.abc import Generator, Iterator, Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from tagkit.reader.recovery.lattice import grids
from tagkit.reader.recovery.lines import bars
from tagkit.reader.recovery.placing import Placed, placed, standing
from tagkit.reader.recovery.refining import drawn_to_frame
from tagkit.reader.recovery.roster import Form, Roster
from tagkit.reader.recovery.sampling import MARGIN, Place
from tagkit.reader.recovery.seeds import Facing, Seeds, facing, from_bars, from_finders, together
from tagkit.reader.recovery.settling import settled
from tagkit.reader.recovery.structure import Prepared, any_way_up, seen_by, structure
from tagkit.reader.symbols import Corners, contains

_SCALES = np.array([0.76, 0.82, 0.88, 0.94, 1.0, 1.06, 1.12, 1.19, 1.26])
_STRETCHES = np.array([0.8, 0.9, 1.0, 1.1, 1.22])
_DRAWN = 40
_SETTLED = 6
_GUESS = 4.5  # standard deviations of a guess that is followed
_STANDING = 6.0  # of a place that is looked at
_EAGER = 14.0  # of a guess that is settled at once
_SAMPLED = 260
_SMALLEST, _LARGEST = 1.0, 16.0  # pixels a module


@dataclass(frozen=True, eq=False)
class Located:
    """A place where a label may lie, the way up its fixed modules say, how many standard
    deviations these lie above chance, the form and all forms that it may have."""

    place: Place
    score: float
    form: Form | None = None
    forms: tuple[Form, ...] = ()


def locate(
    prepared: Prepared,
    roster: Roster,
    most: int = 8,
    taken: Sequence[Corners] = (),
    until: float = inf,
) -> list[Located]:
    """Up to ``most`` places of labels of the roster's forms, in the order found.

    ``taken`` are places already read; ``until`` (perf_counter) is when to come to an end.
    """
    found: list[Located] = []
    for one in search(prepared, roster, taken):
        if one is not None:
            found.append(one)
        if len(found) >= most or time.perf_counter() > until:
            break
    return found


def search(
    prepared: Prepared, roster: Roster, taken: Sequence[Corners] = ()
) -> Generator[Located | None, None, None]:
    """Places as they are found, no two alike; None after each few milliseconds without one.

    First by the grid of the modules, then by finder patterns and lines of the frame. Nothing is
    looked for in ``taken``, to which a caller may add what is named meanwhile.
    """
    found: list[Located] = []
    guesses: list[Placed] = []
    for grid in grids(prepared, taken):
        if grid is not None:
            own = yield from placed(prepared, grid, roster.forms)
            own = [one for one in own if _free(one.place, taken)]
            guesses += own
            yield None
            if own and own[0].standing >= _EAGER:
                yield from _settled(prepared, roster, own[:1], found)
        yield None
    guesses = [one for one in guesses if _free(one.place, taken)]
    yield from _settled(prepared, roster, guesses, found)
    seeded: list[Placed] = []
    for guess in _seeded(prepared, roster, taken):
        if guess is None:
            yield None
            continue
        stood = standing(prepared, Place(guess.place.size, guess.place.matrix), roster.forms)
        if stood is not None:
            seeded.append(stood)
    yield from _settled(prepared, roster, seeded, found)


def _settled(
    prepared: Prepared, roster: Roster, guesses: list[Placed], found: list[Located]
) -> Generator[Located | None, None, None]:
    """The best guesses moved to where they agree best; added to what was found."""
    tried: list[Located] = []
    for guess in sorted(guesses, key=lambda guess: -guess.standing):
        if len(tried) >= _SETTLED or guess.standing < _GUESS:
            return
        if any(_same(guess.place, other.place, 0.4) for other in [*found, *tried]):
            continue
        tried.append(Located(guess.place, guess.standing))
        settled_here = yield from settled(prepared, guess.place, guess.form)
        stood = standing(prepared, settled_here.place, roster.forms) or settled_here
        if stood.standing < _STANDING or any(
            _same(stood.place, other.place, 0.4) for other in found
        ):
            yield None
        else:
            found.append(Located(stood.place, stood.standing, stood.form, stood.forms))
            yield found[-1]


def _seeded(
    prepared: Prepared, roster: Roster, taken: Sequence[Corners]
) -> Generator[Located | None, None, None]:
    """Guesses from finder patterns and frames, drawn onto the frame near them."""
    sizes = roster.sizes
    lines = yield from bars(prepared.grey)
    yield None
    finders = from_finders(prepared.grey)
    yield None
    seeds = together(finders, from_bars(lines))
    yield None
    guesses: list[Located] = []
    for part in _scaled(prepared, seeds, sizes):
        guesses += part
        yield None
    pairs = yield from facing(lines, sizes)
    yield None
    for part in _slid(prepared, pairs):
        guesses += part
        yield None
    guesses = [guess for guess in guesses if _free(guess.place, taken)]
    for guess in _apart(guesses, _DRAWN, 1.5):
        yield Located(*drawn_to_frame(prepared, guess.place))
        yield None


def _apart(guesses: list[Located], most: int, modules: float) -> list[Located]:
    """The best, each more than so many modules from those before."""
    if not guesses:
        return []
    guesses = sorted(guesses, key=lambda guess: -guess.score)
    sizes = np.array([guess.place.size for guess in guesses])
    # Guesses are flat: all their corners at once.
    square = np.array([(0, 0), (1, 0), (1, 1), (0, 1)], np.float64)
    matrices = np.stack([guess.place.matrix for guess in guesses])
    seen = (square * sizes[:, None, None]) @ matrices[:, :, :2].transpose(0, 2, 1)
    seen = seen + matrices[:, None, :, 2]
    corners = seen[..., :2] / seen[..., 2:]
    x, y = corners[..., 0], corners[..., 1]
    area = 0.5 * abs((x * np.roll(y, -1, axis=1) - y * np.roll(x, -1, axis=1)).sum(axis=1))
    limits = modules * np.sqrt(area) / sizes
    left = np.ones(len(guesses), bool)
    chosen: list[Located] = []
    for index, guess in enumerate(guesses):
        if len(chosen) == most:
            break
        if not left[index]:
            continue
        chosen.append(guess)
        apart = np.hypot(*(corners[:, :, None] - corners[index][None, None]).transpose(3, 0, 1, 2))
        left &= ~((sizes == guess.place.size) & np.all(apart.min(axis=2) < limits[:, None], axis=1))
    return chosen


def _free(place: Place, taken: Sequence[Corners]) -> bool:
    x, y = place.corners.mean(axis=0)
    return not any(contains(corners, (float(x), float(y))) for corners in taken)


def _scaled(prepared: Prepared, seeds: Seeds, sizes: Sequence[int]) -> Iterator[list[Located]]:
    """Each seed at the scales that agree best with frame and quiet zone."""
    across, below = (grid.ravel() for grid in np.meshgrid(_SCALES, _SCALES))
    for corner, right, down in zip(seeds.corner, seeds.right, seeds.down, strict=True):
        module = float(np.sqrt(abs(right[0] * down[1] - right[1] * down[0])))
        if not _SMALLEST < module < _LARGEST:
            continue
        found: list[Located] = []
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
        yield found


def _slid(prepared: Prepared, pairs: Sequence[Facing]) -> Iterator[list[Located]]:
    """Each two opposite sides with the label slid along them to where it agrees best."""
    for pair in pairs:
        module = float(np.hypot(*pair.across))
        if not _SMALLEST < module < _LARGEST:
            continue
        found: list[Located] = []
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
        yield found


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
