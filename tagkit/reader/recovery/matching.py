"""Which registered tag agrees best with the soft modules, and how well.

T0 = sum(d s) / ||d|| over the modules that depend on the tag: d soft samples, s = +1 for an
expected dark module and -1 for a light one. A sum of N(0, 1) at most by chance; see acceptance.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tagkit.reader.recovery.roster import Family, Roster, Variant


@dataclass(frozen=True, eq=False)
class Match:
    """The best variant of one family in one of several soft symbols."""

    score: float  # T0
    family: Family
    variant: Variant
    which: int  # index into the soft symbols


def match(softs: Sequence[NDArray[np.float32]], roster: Roster | Sequence[Family]) -> list[Match]:
    """The best variant of every family and soft symbol (size, size), best first.

    One matrix product for each family: 10,000 tags take a few milliseconds and 12 MB.
    """
    found: list[Match] = []
    families = roster.families if isinstance(roster, Roster) else roster
    for family in families:
        chosen = [index for index, one in enumerate(softs) if one.shape[0] == family.size]
        if not chosen:
            continue
        values = np.stack([softs[index].ravel()[family.informative] for index in chosen], axis=1)
        norms = np.sqrt(np.sum(values * values, axis=0)) + 1e-6
        scores = family.signs @ (values / norms)
        for column, row in enumerate(scores.argmax(axis=0)):
            found.append(Match(float(scores[row, column]), family, family.variants[row],
                               chosen[column]))  # fmt: skip
    found.sort(key=lambda one: -one.score)
    return found
