"""Whether the cells read under a number are another battery's, and then whose: labels that were
swapped, or rounds entered under a wrong number.

It stays told until the cells are those of before again, or somebody has compared the stamped
serial (an inspection of that sort, or label and case matched anew).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tagkit.jobs.care_facts import BatteryFacts, battery_facts, rounds_of, when
from tagkit.jobs.site import Site
from tagkit.record.outlook import OutlookTables
from tagkit.record.state import AssetState
from tagkit.rules.flags import Flag
from tagkit.rules.identity import CLEAR, ROUNDS_COMPARED, same_cells, swapped_with
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


def kept_odd(odd: OddRound) -> dict[str, Any]:
    """What the outlook keeps of an odd round, so that sisters are compared with it without
    reading their rounds: distances in hundred-thousandths, of as many rounds as are compared."""
    return {
        "at": odd.now.at.isoformat(), "odds": round(odd.odds, 2), "clear": odd.clear,
        "now": _short(odd.now),
        "before": [_short(point) for point in odd.before[-ROUNDS_COMPARED:]],
    }  # fmt: skip


def partner_of(
    site: Site, tag: str, odd: Mapping[str, Any], sisters: str, tables: OutlookTables
) -> str | None:
    """The battery whose past goes with the odd round of ``tag``, and the other way round.

    ``odd`` as :func:`kept_odd` gives it. Looked for among ``sisters`` (same chemistry, voltage
    and capacity) that have an odd round. What was kept of the one that is found is made sure of
    by its record: something may have happened to it since.
    """
    pasts = {tag: odd} | {
        other: kept
        for other, kept in tables.odd_ones(sisters, MOST_SISTERS).items()
        if other != tag and "now" in kept
    }
    before = {each: [_point(kept, one) for one in kept["before"]] for each, kept in pasts.items()}
    now = {each: _point(kept, kept["now"]) for each, kept in pasts.items()}
    for swap in swapped_with(before, now, only=tag):
        other = swap.other if swap.one == tag else swap.one
        state = site.record.state(other)
        theirs = odd_round(points_of(site, state), settled_at(state)) if state else None
        if theirs is not None and swapped_with(
            {tag: before[tag], other: theirs.before}, {tag: now[tag], other: theirs.now}
        ):
            return other
    return None


def tell_partner(tag: str, partner: str, tables: OutlookTables) -> None:
    """The other one of a swap names ``tag`` too, if it names nobody yet."""
    row = tables.row(partner)
    cells = (row.content.get("cells") or {}) if row else {}
    odd = cells.get("odd")
    if row is None or odd is None or odd.get("with"):
        return
    tables.keep_content(partner, {**row.content, "cells": {**cells, "odd": {**odd, "with": tag}}})
    tables.judge_again(partner)


def _short(point: RoundPoint) -> dict[str, int]:
    return {str(cell): round(distance / _STEP) for cell, distance in point.distances.items()}


def _point(kept: Mapping[str, Any], short: Mapping[str, int]) -> RoundPoint:
    distances = {int(cell): round(steps * _STEP, 5) for cell, steps in short.items()}
    return RoundPoint(datetime.fromisoformat(kept["at"]), distances)


_STEP = 1e-5  # to which distances from the median are rounded


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
