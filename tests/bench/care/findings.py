"""What the rules find in a depot's record, as time goes by: nothing later is known to them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from tagkit.rules.failing import failing_cells
from tagkit.rules.identity import same_cells, swapped_with
from tagkit.rules.trend import RoundPoint
from tagkit.rules.water import Thirst, Watering, against_sisters, recent_thirst
from tagkit.settings import CellSettings, WaterSettings

CELLS, WATER = CellSettings(), WaterSettings()
STALE = timedelta(days=60)


@dataclass(frozen=True)
class Past:
    """A number's record; ``kind``: only numbers of one kind are sisters."""

    kind: str
    cells: int
    capacity: float
    rounds: Sequence[RoundPoint]
    waterings: Sequence[Watering]


@dataclass
class Findings:
    """When each thing was first said: cells by (number, cell), thirst by number, swaps."""

    failing: dict[tuple[str, int], datetime] = field(default_factory=dict)
    thirsty: dict[str, list[datetime]] = field(default_factory=dict)
    swapped: dict[frozenset[str], datetime] = field(default_factory=dict)


def find(depot: Mapping[str, Past]) -> Findings:
    """Everything the rules say about ``depot`` (by number), each with its first moment.

    ``thirsty`` keeps every moment: a warning before the fault began is no find.
    """
    found = Findings()
    kinds: dict[str, dict[str, Past]] = {}
    for name, past in depot.items():
        kinds.setdefault(past.kind, {})[name] = past
    for sisters in kinds.values():
        _thirst(sisters, found)
        _swaps(sisters, found)
    for name, past in depot.items():
        _failing(name, past, found)
    return found


def _failing(name: str, past: Past, found: Findings) -> None:
    """After each round; once a swap was noticed, its two batteries begin new baselines."""
    noticed = min((at for pair, at in found.swapped.items() if name in pair), default=None)
    for count in range(1, len(past.rounds) + 1):
        seen = past.rounds[:count]
        known = noticed is not None and noticed <= seen[-1].at
        since = dict.fromkeys(seen[-1].distances, noticed) if known and noticed else None
        for flag in failing_cells(seen, CELLS, since):
            if flag.cell is not None:
                found.failing.setdefault((name, flag.cell), seen[-1].at)


def _thirst(sisters: Mapping[str, Past], found: Findings) -> None:
    drinks: dict[str, list[tuple[datetime, Thirst]]] = {
        name: [
            (
                past.waterings[count - 1].at,
                recent_thirst(past.waterings[:count], past.cells, past.capacity),
            )
            for count in range(3, len(past.waterings) + 1)
        ]
        for name, past in sisters.items()
    }
    for name, own in drinks.items():
        for at, mine in own:
            others = [
                latest
                for sister, theirs in drinks.items()
                if sister != name and (latest := _latest(theirs, at)) is not None
            ]
            if against_sisters(mine, others, WATER).flag is not None:
                found.thirsty.setdefault(name, []).append(at)


def _latest(drinks: Sequence[tuple[datetime, Thirst]], at: datetime) -> Thirst | None:
    known = [drank for moment, drank in drinks if at - STALE < moment <= at]
    return known[-1] if known else None


def _swaps(sisters: Mapping[str, Past], found: Findings) -> None:
    """After each round, the newest rounds of all sisters are held against all their pasts."""
    taken = sorted(
        (point.at, name, place)
        for name, past in sisters.items()
        for place, point in enumerate(past.rounds)
    )
    newest: dict[str, int] = {}
    for at, name, place in taken:
        newest[name] = place
        own = same_cells(sisters[name].rounds[:place], sisters[name].rounds[place]).odds
        if own is None or own >= 0:
            continue
        before = {each: sisters[each].rounds[:last] for each, last in newest.items()}
        now = {each: sisters[each].rounds[last] for each, last in newest.items()}
        for swap in swapped_with(before, now):
            found.swapped.setdefault(frozenset((swap.one, swap.other)), at)
