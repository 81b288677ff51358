"""Whether the cells read under a number are another battery's, and then whose: labels that were
swapped, or rounds entered under a wrong number.

It stays told until the cells are those of before again, or somebody has compared the stamped
serial (an inspection of that sort, or label and case matched anew).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from tagkit.jobs.care_facts import BatteryFacts, battery_facts, rounds_of, when
from tagkit.jobs.site import Site
from tagkit.record.outlook import OutlookTables
from tagkit.record.state import AssetState
from tagkit.rules.flags import Flag
from tagkit.rules.identity import CLEAR, same_cells, swapped_with
from tagkit.rules.trend import RoundPoint

OTHER_CELLS = "cells of another battery"
MOST_SISTERS = 40
"""As many batteries with odd rounds are compared with each other."""


@dataclass(frozen=True)
class OddRound:
    """The first round that does not go with ``before``; ``odds`` as in tagkit.rules.identity."""

    odds: float
    before: tuple[RoundPoint, ...]
    now: RoundPoint

    @property
    def clear(self) -> bool:
        """Whether it is told without a second battery that it goes with."""
        return self.odds < -CLEAR


def odd_round(points: Sequence[RoundPoint], settled: datetime | None = None) -> OddRound | None:
    """The round from which on the cells are others, if they still are; ``points`` oldest first.

    One that is doubtful only is given too, when there is none that is clear: beside another
    battery's it may become clear. What lies before ``settled`` is not looked at.
    """
    kept: list[RoundPoint] = []
    odd: OddRound | None = None
    doubtful: OddRound | None = None
    for point in points:
        if settled is not None and point.at <= settled:
            continue
        odds = same_cells(kept, point).odds
        if odds is not None and odds < 0:
            found = OddRound(odds, tuple(kept), point)
            if found.clear:
                odd = odd or found
                continue
            doubtful = doubtful or found
        elif odds is not None:
            odd = None
        kept.append(point)
    return odd or doubtful


def settled_at(state: AssetState) -> datetime | None:
    """When it was last made sure which battery this is, or all its cells were changed."""
    found = (state.married_at, state.done.get("serial"), state.new_cells.get("all"))
    return max((when(one) for one in found if one), default=None)


def partner_of(
    site: Site, tag: str, odd: OddRound, sisters: str, tables: OutlookTables
) -> str | None:
    """The battery whose past goes with the odd round of ``tag``, and the other way round.

    Looked for among ``sisters`` (same chemistry, voltage and capacity) that have an odd round.
    """
    before, now = {tag: odd.before}, {tag: odd.now}
    for other in tables.odd_ones(sisters, MOST_SISTERS):
        state = site.record.state(other) if other != tag else None
        if state is None:
            continue
        theirs = odd_round(points_of(site, state), settled_at(state))
        if theirs is not None:
            before[other], now[other] = theirs.before, theirs.now
    for swap in swapped_with(before, now):
        if tag in (swap.one, swap.other):
            return swap.other if swap.one == tag else swap.one
    return None


def points_of(site: Site, state: AssetState, facts: BatteryFacts | None = None) -> list[RoundPoint]:
    """The comparable rounds that the record keeps of a battery, oldest first."""
    facts = facts or battery_facts(state, site.settings)
    rounds = rounds_of(site.record, state, facts, site.settings)
    return [point for one in rounds if (point := one.point) is not None]


def other_cells_flag(since: datetime, partner: str | None) -> Flag:
    """What is told of it, and what to do."""
    if partner is None:
        words = (
            f"the cells read on {since:%Y-%m-%d} do not go with the rounds before: is it the "
            "battery whose number it carries? Compare the stamped serial"
        )
    else:
        words = (
            f"cells of another battery: those of {partner}, since {since:%Y-%m-%d}, and it has "
            "these: were the labels swapped? Compare both stamped serials"
        )
    return Flag(OTHER_CELLS, words, "act")
