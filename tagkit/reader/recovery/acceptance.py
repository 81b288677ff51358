"""When a match may be called a tag. Everything here errs on the side of no answer.

**Is it a label at all?** Let d be the soft modules (picture), s the signs expected for a tag,
over the modules that depend on it. T0 = sum(d s) / ||d||. Hold the picture fixed, however its
damage is correlated, and let chance choose the symbol: the s are signs as good as fair coins, so
E exp(u sum d s) = prod cosh(u d) <= exp(u² ||d||² / 2), and with u = t / ||d|| Markov's
inequality gives P(T0 >= t) <= exp(-t² / 2) (Hoeffding 1963). By the union bound over M = symbols
looked for × turns × places tried × looks, the risk of a match by chance is at most
M exp(-T0² / 2); it must be at most alpha, that is T0 >= sqrt(2 ln(M / alpha)). Fair coins: error
correction stirs every bit that varies into all of its modules, so only the modules of error
correction count, and only those of blocks in which at least eight bits vary (in a link's symbol
the last bit of the check character owns a whole block: half of all foreign codes under the same
link would agree there). Data modules are no coins: the same serial at another site has the same
digits, and under damage that leaves just these it would agree far more often than chance.
The assumption is measured with symbols that were never issued (tests/bench/bench_recovery.py).

**Is it this tag?** For a rival j consider only the modules D where i and j differ. Damage comes
in clusters, so modules are taken in cells of 3 × 3. Each cell is either whole, with modules
misread at a small rate, or destroyed, with values that know nothing of the print; the share of
destroyed ones, p, is estimated around the cell from modules where i and j agree, so the pair's
own quarrel has no say in it. The cell's likelihood ratio is

    [(1 - p) prod P(d | s_i) + p 2^-m] / [(1 - p) prod P(d | s_j) + p 2^-m]

which no cell can push beyond 2^m (1 - p) / p, however many modules in it agree: that is the
deflation. For the right model E_j[likelihood ratio] = 1, so P(L >= l | j) <= exp(-l) (Markov).
The least L over the rivals must reach ln(tags × places × looks / alpha), and at least
``CLUSTERS`` cells must speak for i. All tags that can be issued at the site are rivals
(rivals.py); other sites, forms, masks and turns share no structure with the match and are
strangers, whom T0 covers.

``bound`` is the sum of the two risks. Only geometry chosen without any tag (locating.py) comes
here, so places count once each.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from tagkit.reader.recovery.matching import Match
from tagkit.reader.recovery.rivals import full_signs, rivals
from tagkit.reader.recovery.roster import Family
from tagkit.symbol.blocks import block_map

ALPHA = 1e-6
CLUSTERS = 6
_CELL = 3
_SURE = 3.5  # log odds of a whole module with |d| = 1: one of thirty misread
_LEAST, _MOST = 0.02, 0.95  # share of destroyed cells
_PRIOR, _PRIOR_WEIGHT = 0.1, 5.0  # misread share assumed before looking, worth so many modules
_AROUND = 3.3  # modules: how far around a cell its state is judged by
_FEW_BITS = 8
_HALF = 1.0  # log likelihood ratio from which a cell counts as speaking for the match


@dataclass(frozen=True)
class Judgement:
    """What speaks for a match: T0, the least log likelihood ratio and who has it, the cells that
    speak for the match against it, and the bound on the risk of a wrong answer."""

    chance: float
    ratio: float
    rival: str
    clusters: int
    bound: float
    accepted: bool


def threshold(tries: float, alpha: float = ALPHA) -> float:
    """The T0 that ``tries`` = symbols × turns × places × looks must reach."""
    return float(np.sqrt(2 * np.log(tries / alpha)))


def judge(
    match: Match,
    soft: NDArray[np.float32],
    tries: float,
    alpha: float = ALPHA,
    named: float | None = None,
) -> Judgement:
    """Whether ``match``, found in ``soft`` (size, size) after ``tries`` tries, may be given.

    ``named`` is how many wrong names a label of ours had the chance to get: tags × places ×
    looks (``tries`` unless given). Turns don't count there: a symbol turned is a stranger.
    """
    named = tries if named is None else named
    chance = chance_score(match, soft)
    by_chance = float(np.exp(np.log(tries) - chance * chance / 2)) if chance > 0 else 1.0
    half = alpha / 2
    if by_chance > half:
        return Judgement(chance, 0.0, "", 0, min(1.0, by_chance), False)
    flat = soft.ravel()
    others = rivals(match.family, match.variant, flat[match.family.informative])
    signs = full_signs(match.family, [match.variant.payload, *others])
    ratios, clusters = likelihood_ratios(flat, signs[0], signs[1:], match.family.size)
    worst = int(np.argmin(ratios))
    ratio = float(ratios[worst])
    bound = by_chance + float(np.exp(min(0.0, np.log(named) - ratio)))
    good = bound <= alpha and int(clusters.min()) >= CLUSTERS
    return Judgement(chance, ratio, others[worst], int(clusters.min()), min(1.0, bound), good)


def chance_score(match: Match, soft: NDArray[np.float32]) -> float:
    """T0 over the modules whose signs are as good as random."""
    family = match.family
    proof = proof_modules(family)
    row = family.variants.index(match.variant)
    values = soft.ravel()[family.informative[proof]]
    return float(family.signs[row, proof] @ values / (np.sqrt(values @ values) + 1e-6))


@lru_cache(maxsize=64)
def proof_modules(family: Family) -> NDArray[np.intp]:
    """Which informative modules are error correction of blocks that enough bits of the tag go
    into."""
    known = block_map(family.version, family.level)
    block = np.array(known.block)[family.informative]
    in_block = np.array(known.in_block)[family.informative]
    data = np.array([count for count, _ in known.blocks])
    is_data = in_block < data[block]
    bits = np.bincount(block[is_data], minlength=len(data))
    return np.flatnonzero((bits[block] >= _FEW_BITS) & ~is_data)


def likelihood_ratios(
    values: NDArray[np.float32],
    own: NDArray[np.float32],
    others: NDArray[np.float32],
    size: int,
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Deflated log likelihood ratio of ``own`` against each of ``others`` (J, size²), and the
    number of cells that speak for it."""
    cells, around = _cells(size)
    agree = values * own
    differ = others != own
    sure = -np.logaddexp(0, -_SURE * agree).astype(np.float64)  # log P(d | s_i), up to P(|d|)
    doubt = -np.logaddexp(0, _SURE * agree).astype(np.float64)  # log P(d | s_j)
    strength = np.minimum(abs(values), 1.0).astype(np.float64)
    misread = np.where(agree < 0, strength, 0.0)
    same = ~differ
    wrong = (same * misread) @ around + _PRIOR * _PRIOR_WEIGHT
    seen = (same * strength) @ around + _PRIOR_WEIGHT
    # Modules that say nothing (bleached, hidden in one tone) are destroyed as well.
    silent = (same * (1.0 - strength)) @ around
    lost = np.clip(2 * wrong / seen - 0.06 + silent / (seen + silent) * 0.5, _LEAST, _MOST)
    count = differ.astype(np.float64) @ cells
    whole_own = (differ * sure) @ cells
    whole_other = (differ * doubt) @ cells
    blank = np.log(lost) - count * np.log(2)
    ratio = np.logaddexp(np.log1p(-lost) + whole_own, blank) - np.logaddexp(
        np.log1p(-lost) + whole_other, blank
    )
    return ratio.sum(axis=1), (ratio > _HALF).sum(axis=1)


@lru_cache(maxsize=8)
def _cells(size: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Which modules are in each cell, and with which weight they tell about it (size², cells)."""
    rows, columns = np.divmod(np.arange(size * size), size)
    across = -(-size // _CELL)
    cell = rows // _CELL * across + columns // _CELL
    inside = np.zeros((size * size, across * across))
    inside[np.arange(size * size), cell] = 1
    middles = (np.arange(across) + 0.5) * _CELL - 0.5
    near_row = np.exp(-(((rows[:, None] - middles) / _AROUND) ** 2))
    near_column = np.exp(-(((columns[:, None] - middles) / _AROUND) ** 2))
    around = (near_row[:, :, None] * near_column[:, None, :]).reshape(size * size, -1)
    return inside, around
