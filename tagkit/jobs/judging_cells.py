"""What the last rounds of a battery say: cells, balance, failing ones, labels that were swapped."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from typing import Any

from tagkit.jobs.care_facts import BatteryFacts, Round, baselines, rounds_of, time_text
from tagkit.jobs.site import Site
from tagkit.jobs.telling import RANK
from tagkit.record.outlook import NO_CELL
from tagkit.record.state import AssetState
from tagkit.rules.failing import failing_cells
from tagkit.rules.flags import Flag
from tagkit.rules.identity import same_cells
from tagkit.rules.trend import CellTrend, battery_trends
from tagkit.settings import Settings


def cells_judged(
    site: Site, state: AssetState, facts: BatteryFacts, kept: dict[str, Any], under: str
) -> dict[str, Any]:
    """What the last rounds say; worked out once for each newest round."""
    key = f"{state.rounds[-1][1] if state.rounds else ''} {state.done.get('equalize', '')} " \
          f"{state.new_cells} {state.rounds[:1]} {facts.scale} {under}"  # fmt: skip
    key = hashlib.sha256(key.encode()).hexdigest()[:16]
    before = kept.get("cells")
    if before and before["key"] == key:
        return dict(before)
    found: dict[str, Any] = {
        "key": key, "balance": None, "spread": None, "percent": None, "suspect": None, "notices": [],
    }  # fmt: skip
    rounds = rounds_of(site.record, state, facts, site.settings)
    if not rounds:
        return found
    last = rounds[-1]
    judgement = last.judgement
    flags = [
        *judgement.flags,
        *other_cells(rounds),
        *failing_flags(rounds, state, facts, site.settings),
    ]
    worst: dict[tuple[str, int], Flag] = {}
    for flag in flags:
        worst.setdefault((flag.code, flag.cell or NO_CELL), flag)
    if not judgement.not_comparable:
        found |= {"balance": judgement.due, "spread": judgement.spread}
    found["percent"] = judgement.percent
    found["suspect"] = len({flag.cell for flag in flags if flag.code in _SUSPECT})
    found["notices"] = [
        [code, time_text(last.at), RANK[flag.severity], flag.sentence, cell]
        for (code, cell), flag in worst.items()
    ]
    return found


_CLEAR = 4.6  # odds of 100 : 1, as a natural logarithm
_LOOKED_AT = 3


def other_cells(rounds: Sequence[Round]) -> Iterator[Flag]:
    """Whether one of the last rounds does not go with those before it: labels may be swapped.

    It stays told for some rounds, because those after it look like their new neighbours.
    """
    points = [point for one in rounds if (point := one.point) is not None]
    for place in range(max(1, len(points) - _LOOKED_AT), len(points)):
        odds = same_cells(points[:place], points[place]).odds
        if odds is not None and odds < -_CLEAR:
            yield Flag(
                "cells of another battery",
                f"the cells read on {points[place].at:%Y-%m-%d} do not go with the rounds before: "
                "is it the battery whose number it carries? Compare the stamped serial",
                "act",
            )
            return


_SUSPECT = ("suspect cell", "failing cell", "reversed cell", "low voltage")


def cell_trends(
    rounds: list[Round], state: AssetState, facts: BatteryFacts, settings: Settings
) -> tuple[CellTrend, ...]:
    """The trend of each cell over the comparable rounds since its last repair."""
    points = [point for one in rounds if (point := one.point) is not None]
    return battery_trends(points, settings.cells, baselines(state, facts.cells))


def failing_flags(
    rounds: Sequence[Round], state: AssetState, facts: BatteryFacts, settings: Settings
) -> tuple[Flag, ...]:
    """Cells on their way out, over the comparable rounds since their last repair."""
    points = [point for one in rounds if (point := one.point) is not None]
    return failing_cells(points, settings.cells, baselines(state, facts.cells))
