"""Which line of a grid is the label's first, and which way up the label is.

Asked of what is the same on all labels of a form, whatever their tag: frame, quiet zone, function
patterns, format information and the modules of mode, length, link and padding (``Form``). Every
shift by whole modules at which the symbol covers what was seen is tried, in all four turns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from tagkit.reader.recovery.lattice import Grid, sampled
from tagkit.reader.recovery.roster import Form
from tagkit.reader.recovery.sampling import MARGIN, Field, Place
from tagkit.reader.recovery.structure import Prepared, seen_by_place
from tagkit.reader.recovery.turns import Steps

_ROOM = 2  # modules from the symbol's edge to the spot that a grid was begun with, at least
_RING_WEIGHT = 0.6  # of frame and quiet zone against a module of the symbol
_KEPT = 2
_DOUBT = 2.5  # standard deviations that forms may differ by and both be looked at
_LEAST = 4.5  # standard deviations


@dataclass(frozen=True, eq=False)
class Placed:
    """A place, the form its label has, and how many standard deviations its fixed modules lie
    above chance; ``forms`` are all that it may have, nearly as well."""

    place: Place
    form: Form
    standing: float
    forms: tuple[Form, ...] = ()


def placed(prepared: Prepared, grid: Grid, forms: Sequence[Form]) -> Steps[list[Placed]]:
    """The best places of labels on a grid; stops after each size of symbol."""
    if not len(grid.alive):
        return []
    contrast = prepared.contrast(grid.module)
    found: list[Placed] = []
    for size in sorted({form.size for form in forms}):
        yield
        own = [form for form in forms if form.size == size]
        # The spot that the grid was begun with lies in the symbol.
        first, last = np.full(2, _ROOM - size), np.full(2, -_ROOM)
        side = size + 2 * MARGIN
        count = last - first + 1
        x, y = np.meshgrid(
            np.arange(first[0] - MARGIN, last[0] + size + MARGIN) + 0.5,
            np.arange(first[1] - MARGIN, last[1] + size + MARGIN) + 0.5,
        )
        points = np.stack([x, y], axis=-1)
        values = sampled(contrast, grid.matrix[None], [grid.bend], points.reshape(-1, 2))[0]
        windows = sliding_window_view(values.reshape(x.shape), (side, side))
        flat = windows.reshape(int(count[0] * count[1]), side * side)
        patterns, squares = _patterns(size, tuple(own))
        scores = (flat @ patterns) / np.sqrt((flat * flat) @ squares + 4.0)
        best = scores.max(axis=1)
        for index in np.argsort(-best)[:_KEPT]:
            if best[index] < _LEAST:
                break
            row, column = divmod(int(index), int(count[0]))
            number, turn = divmod(int(scores[index].argmax()), 4)
            corner = first + np.array([column, row])
            place = _moved(grid.place, corner, size).turned(turn)
            found.append(Placed(place, own[number], float(best[index])))
    found.sort(key=lambda one: -one.standing)
    return found[:_KEPT]


def standing(prepared: Prepared, place: Place, forms: Sequence[Form]) -> Placed | None:
    """A place the way up that its fixed modules say, and how sure they are; None where there is
    no form of its size."""
    own = tuple(form for form in forms if form.size == place.size)
    if not own:
        return None
    span = np.arange(-MARGIN, place.size + MARGIN) + 0.5
    x, y = np.meshgrid(span, span)
    values = seen_by_place(prepared, place, np.stack([x, y], axis=-1).reshape(-1, 2))
    patterns, squares = _patterns(place.size, own)
    scores = (values @ patterns) / np.sqrt((values * values) @ squares + 4.0)
    number, turn = divmod(int(scores.argmax()), 4)
    best = float(scores.max())
    alike = scores[turn::4] >= best - _DOUBT
    forms = tuple(form for form, is_alike in zip(own, alike, strict=True) if is_alike)
    return Placed(place.turned(turn), own[number], best, forms)


def _moved(place: Place, corner: NDArray[np.int64], size: int) -> Place:
    """The place whose module (0, 0) is ``corner`` of the grid's."""
    shift = np.eye(3)
    shift[:2, 2] = corner
    across, crest_x, down, crest_y = place.bend
    # Bent lengths move with the crest.
    return Place(size, place.matrix @ shift,
                 (across, crest_x - corner[0], down, crest_y - corner[1]))  # fmt: skip


@lru_cache(maxsize=8)
def _patterns(size: int, forms: tuple[Form, ...]) -> tuple[Field, Field]:
    """What to expect (side², forms × 4 turns) and its squares; as sampled from a place whose
    turn by 0, 1, 2, 3 quarters (Place.turned) is the label's own."""
    side = size + 2 * MARGIN
    span = np.arange(-MARGIN, size + MARGIN)
    x, y = np.meshgrid(span, span)
    ring = np.maximum.reduce([-x, x - size + 1, -y, y - size + 1])
    columns = []
    for form in forms:
        whole = np.where(ring > 4, _RING_WEIGHT, -_RING_WEIGHT).astype(np.float32)
        whole[MARGIN:-MARGIN, MARGIN:-MARGIN] = form.constant.reshape(size, size)
        columns += [np.rot90(whole, -turn).ravel() for turn in range(4)]
    patterns: Field = np.stack(columns, axis=1).astype(np.float32)
    assert patterns.shape[0] == side * side
    return patterns, np.ascontiguousarray(patterns * patterns)
