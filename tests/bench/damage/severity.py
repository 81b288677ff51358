"""How much of a symbol is lost, and how a model of damage is steered to a given share.

Lost: a place of the symbol where less than ``LOST_BELOW`` of the printed contrast between dark
and light is left (whatever the cause: ink gone, covered, drowned in light, out of sight). A tenth,
because a fifth still shows plainly against a sensor's noise and would let a reader shine on
what was never lost; what the opaque models leave is below half of that.

Area lost: the share of the symbol's square (no quiet zone) that is lost. It is what the models
are steered to.

Area touched: the share with less than half of the contrast left. Soft edges, fading and frost
touch more than they lose; a share "under blotches" as others state it lies between the two.

Informative modules: those whose value differs between two tags of one site (any kind, any
five-digit serial) printed with the same form of payload, version, level and mask. Finder,
timing, alignment and format modules, the mode and length, the link's host and the padding are
the same on every label, so losing them costs the position, not the answer; a data or
error-correction module of a block that the tag touches is where tags differ. In a bare tag's
2-H symbol (one block) these are most of the data region, in a link's 4-H symbol (four blocks)
only the blocks that hold the tag.

Two counts over the informative modules: ``lost``, those with at least half their area lost; and
``misread``, those that look nearer to the other value than to their own in the aged label, so
that a bleached light module is lost but not misread. Blotches of one colour misread about half
of what they cover.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from tagkit.assets.tag import Kind, can_issue, tag_for
from tagkit.labels.layout import PrintedLabel
from tagkit.symbol.encode import encode
from tagkit.symbol.tables import Level

from .fields import Field

LOST_BELOW = 0.10
TOUCHED_BELOW = 0.5
WITHIN = 0.02
_SAMPLED_TAGS = 48
_STEPS = 14


def steered(lost_at: Callable[[float], float], asked: float) -> float:
    """The level of a model, 0 to 1, at which ``lost_at(level)`` comes nearest to ``asked``.

    Bisection; ``lost_at`` rises with the level. It stops at a quarter of the tolerance.
    """
    low, high = 0.0, 1.0
    best, least = 0.0, 2.0
    for _ in range(_STEPS):
        level = (low + high) / 2
        lost = lost_at(level)
        if abs(lost - asked) < least:
            best, least = level, abs(lost - asked)
        if least < WITHIN / 4:
            break
        low, high = (level, high) if lost < asked else (low, level)
    return best


def lost_by_module(kept: Field, modules: int) -> NDArray[np.float32]:
    """Share of each module that is lost, from the contrast kept over the symbol's square."""
    side = kept.shape[0] // modules
    lost = (kept < LOST_BELOW).reshape(modules, side, modules, side)
    return lost.mean(axis=(1, 3), dtype=np.float32)


def touched(kept: Field) -> float:
    """Share of the symbol's square with less than half of its contrast left."""
    return float((kept < TOUCHED_BELOW).mean())


def misread_modules(
    aged: Field, dark: NDArray[np.bool_], ink: float, film: float
) -> NDArray[np.bool_]:
    """Modules whose middle looks nearer to the other value than to their own."""
    modules = len(dark)
    side = aged.shape[0] // modules
    edge = side // 4
    blocks = aged.reshape(modules, side, modules, side)
    middle = blocks[:, edge : side - edge, :, edge : side - edge].mean(axis=(1, 3))
    return (middle < (ink + film) / 2) != dark


def informative(printed: PrintedLabel) -> NDArray[np.bool_]:
    """Which modules of this label's symbol depend on the tag (see the module's text)."""
    text, tag = printed.payload, str(printed.tag)
    before, found, after = text.partition(tag)
    if not found:
        before, after = "", ""
    return _informative(
        before, after, printed.tag.site, printed.version, printed.level, printed.mask
    )


@lru_cache(maxsize=64)
def _informative(
    before: str, after: str, site: str, version: int, level: Level, mask: int
) -> NDArray[np.bool_]:
    rng = np.random.default_rng(18004)
    kinds = list(Kind)
    seen: list[NDArray[np.bool_]] = []
    while len(seen) < _SAMPLED_TAGS:
        kind, serial = kinds[int(rng.integers(len(kinds)))], int(rng.integers(1, 100_000))
        if can_issue(kind, site, serial):
            text = f"{before}{tag_for(kind, site, serial)}{after}"
            seen.append(np.array(encode(text, level, version, mask).matrix, bool))
    return np.any(np.stack(seen) != seen[0], axis=0)
