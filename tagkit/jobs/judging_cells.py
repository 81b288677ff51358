"""What the last rounds of a battery say: cells, balance, failing ones, labels that were swapped."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from tagkit.jobs.care_facts import BatteryFacts, Round, baselines, rounds_of, time_text
from tagkit.jobs.other_cells import kept_odd, odd_round, settled_at
from tagkit.jobs.site import Site
from tagkit.jobs.telling import RANK
from tagkit.record.outlook import NO_CELL
from tagkit.record.state import AssetState
from tagkit.rules.failing import failing_cells
from tagkit.rules.flags import Flag
from tagkit.rules.trend import CellTrend, RoundPoint, battery_trends
from tagkit.settings import Settings


def cells_judged(
    site: Site, state: AssetState, facts: BatteryFacts, kept: dict[str, Any], under: str
) -> dict[str, Any]:
    """What the last rounds say; worked out once for each newest round."""
    key = f"{state.rounds[-1][1] if state.rounds else ''} {state.done.get('equalize', '')} " \
          f"{state.new_cells} {state.rounds[:1]} {facts.scale} {settled_at(state)} " \
          f"{facts.in_series} {under}"  # fmt: skip
    key = hashlib.sha256(key.encode()).hexdigest()[:16]
    before, watered = kept.get("cells"), state.done.get("water", "")
    if before and before["key"] == key and before.get("watered", watered) == watered:
        return dict(before)
    found: dict[str, Any] = {
        "key": key, "balance": None, "spread": None, "percent": None, "suspect": None, "notices": [],
    }  # fmt: skip
    rounds = rounds_of(site.record, state, facts, site.settings)
    if not rounds:
        return found
    last = rounds[-1]
    judgement = last.judgement
    odd = odd_round(points_of(rounds), settled_at(state))
    if odd is not None:
        found["odd"] = kept_odd(odd)
    flags = [*judgement.flags, *failing_flags(rounds, state, facts, site.settings)]
    worst: dict[tuple[str, int], tuple[Flag, datetime]] = {}
    for flag in _together(flags):
        worst.setdefault((flag.code, flag.cell or NO_CELL), (flag, last.at))
    unread = _unread_since(rounds, state, facts)
    if any(flag.code in _LEVELS for flag, _ in unread):
        found["watered"] = watered  # on this it rests besides
    for flag, at in _but_watered(unread, state):
        flags.append(flag)
        worst.setdefault((flag.code, flag.cell or NO_CELL), (flag, at))
    found["full"] = next(
        (moment for moment, event in reversed(state.rounds)
         if any(one.event == event and is_full(one, facts) for one in rounds)), None,
    )  # fmt: skip
    if not judgement.not_comparable and (judgement.due == "equalize" or is_full(last, facts)):
        found |= {"balance": judgement.due, "spread": judgement.spread}
    found["percent"] = judgement.percent
    found["suspect"] = len({flag.cell for flag in flags if flag.code in _SUSPECT})
    found["notices"] = [
        [code, time_text(at), RANK[flag.severity], flag.sentence, cell]
        for (code, cell), (flag, at) in worst.items()
    ]
    return found


def is_full(one: Round, facts: BatteryFacts) -> bool:
    """Whether enough cells were read for a full round: at least half of those in the row."""
    return facts.in_series is None or 2 * len(one.readings) >= facts.in_series


def standing_flags(
    rounds: Sequence[Round], state: AssetState, facts: BatteryFacts
) -> list[tuple[Flag, datetime]]:
    """What earlier rounds found in cells and nobody has looked at since, the latest first: a round
    of a few cells tells nothing of the others. A repair ends it, watering what a level said."""
    return _but_watered(_unread_since(rounds, state, facts), state)


def _unread_since(
    rounds: Sequence[Round], state: AssetState, facts: BatteryFacts
) -> list[tuple[Flag, datetime]]:
    if not rounds:
        return []
    since = _since(points_of(rounds), state, facts)
    found: list[tuple[Flag, datetime]] = []
    read = _read_in(rounds[-1])
    for one in reversed(rounds[:-1]):
        for flag in one.judgement.flags:
            about = "level" if flag.code in _LEVELS else _READ.get(flag.code)
            if about is None or flag.cell is None or (flag.cell, about) in read:
                continue
            if flag.cell not in since or one.at > since[flag.cell]:
                found.append((flag, one.at))
        read |= _read_in(one)
    return found


def _but_watered(
    found: Sequence[tuple[Flag, datetime]], state: AssetState
) -> list[tuple[Flag, datetime]]:
    watered = state.done.get("water", "")
    return [
        (flag, at) for flag, at in found if flag.code not in _LEVELS or time_text(at) >= watered
    ]


_READ = {
    "suspect cell": "gravity", "low cell": "gravity", "high cell": "gravity",
    "reversed cell": "voltage", "low voltage": "voltage",
    "voltage and gravity disagree": "voltage",
}  # fmt: skip
"""What was read of a cell that is flagged so; where levels are flagged, the level."""


def _read_in(one: Round) -> set[tuple[int, str]]:
    """What a round tells of which cell: a gravity only beside a median."""
    told = {(cell.cell, "gravity") for cell in one.judgement.cells if cell.distance is not None}
    told |= {(reading.cell, "voltage") for reading in one.readings if reading.volts is not None}
    return told | {(reading.cell, "level") for reading in one.readings if reading.level is not None}


_LEVELS = {
    "plates bare": "the plates of {count} cells are bare: cover them before charging",
    "low level": "{count} cells are low: water it after charging",
    "over level": "{count} cells are over the mark: acid may spill",
}
_MANY = 3


def _together(flags: Sequence[Flag]) -> list[Flag]:
    """Levels of many cells told as one: what is to be done is the same for all."""
    found: list[Flag] = []
    for code, words in _LEVELS.items():
        those = [flag for flag in flags if flag.code == code]
        if len(those) > _MANY:
            found.append(Flag(code, words.format(count=len(those)), those[0].severity))
    many = {flag.code for flag in found}
    return [*(flag for flag in flags if flag.code not in many), *found]


_SUSPECT = ("suspect cell", "failing cell", "reversed cell", "low voltage")


def cell_trends(
    rounds: Sequence[Round], state: AssetState, facts: BatteryFacts, settings: Settings
) -> tuple[CellTrend, ...]:
    """The trend of each cell over the comparable rounds since its last repair."""
    points = points_of(rounds)
    return battery_trends(points, settings.cells, _since(points, state, facts))


def failing_flags(
    rounds: Sequence[Round], state: AssetState, facts: BatteryFacts, settings: Settings
) -> tuple[Flag, ...]:
    """Cells on their way out, over the comparable rounds since their last repair."""
    points = points_of(rounds)
    return failing_cells(points, settings.cells, _since(points, state, facts))


def points_of(rounds: Sequence[Round]) -> list[RoundPoint]:
    """The rounds that can be compared with each other."""
    return [point for one in rounds if (point := one.point) is not None]


def _since(
    points: Sequence[RoundPoint], state: AssetState, facts: BatteryFacts
) -> dict[int, datetime]:
    """From when on each cell is looked at: its last repair, and where the cells are another
    battery's, the first round that shows it (no cell fell then: it is another one)."""
    since = baselines(state, facts.cells)
    odd = odd_round(points, settled_at(state))
    if odd is not None and odd.clear:
        at = odd.now.at
        since |= {cell: max(at, since.get(cell, at)) for cell in range(1, (facts.cells or 0) + 1)}
    return since
