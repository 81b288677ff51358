"""Found, missed and false alarms over many depots, against the truth they were made from."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from statistics import median

from tests.bench.care.depot import RUN_IN, Depot, play
from tests.bench.care.findings import Findings, Past, find
from tests.bench.care.reader import START, points, waterings

ROUND_DAYS = 28.0
AHEAD = 4  # rounds
# Fit for naming 4 rounds ahead: 4 rounds for a trend and one more must lie before that.
LONG_ENOUGH = (2 * AHEAD + 2) * ROUND_DAYS


@dataclass
class Share:
    """So many of so many."""

    found: int = 0
    of: int = 0

    def count(self, found: bool) -> None:
        """One more."""
        self.of += 1
        self.found += found

    def __str__(self) -> str:
        if not self.of:
            return "none to find"
        low, high = wilson(self.found, self.of)
        return (
            f"{self.found} of {self.of} = {100 * self.found / self.of:.0f}% "
            f"[{100 * low:.0f}, {100 * high:.0f}]"
        )


@dataclass
class Score:
    """Tallies over battery-years; false alarms by what lay behind them."""

    battery_years: float = 0.0
    depot_years: int = 0
    ahead: dict[str, Share] = field(default_factory=dict)
    ahead_long: dict[str, Share] = field(default_factory=dict)
    before: dict[str, Share] = field(default_factory=dict)
    false_cells: dict[str, int] = field(default_factory=dict)
    overcharged: dict[str, Share] = field(default_factory=dict)
    overcharge_days: dict[str, list[float]] = field(default_factory=dict)
    boiled: Share = field(default_factory=Share)
    boiled_before: Share = field(default_factory=Share)
    false_thirst: int = 0
    swaps: Share = field(default_factory=Share)
    swap_days: list[float] = field(default_factory=list)
    false_swaps: int = 0


def pasts(depot: Depot) -> dict[str, Past]:
    """A played depot as the rules see it."""
    return {
        label.name: Past(
            str(label.cells), label.cells, label.capacity, points(label), waterings(label)
        )
        for label in depot.labels
    }


def score(seeds: Iterable[int]) -> Score:
    """Plays, reads and marks the depots of ``seeds``; only the year after the run-in counts."""
    total = Score()
    for seed in seeds:
        depot = play(seed)
        mark(depot, find(pasts(depot)), total)
    return total


def mark(depot: Depot, found: Findings, total: Score) -> None:
    """Adds one depot to the tallies."""
    total.depot_years += 1
    swapped = depot.swap[:2] if depot.swap else ()
    for label, truth in zip(depot.labels, depot.truths, strict=True):
        last = max((day for day, _ in label.rounds), default=0.0)
        total.battery_years += max(0.0, last - RUN_IN) / 365
        dying = truth.decay
        for (name, cell), at in found.failing.items():
            if name != label.name or _day(at) < RUN_IN:
                continue
            if dying is None or dying.cell != cell:
                swap_behind = depot.swap is not None and name in swapped
                cause = (
                    "swapped labels" if swap_behind and _day(at) > depot.swap[2]  # type: ignore[index]
                    else "lagging cell" if truth.lags
                    else "diluted or acid added" if truth.stepped
                    else "nothing"
                )  # fmt: skip
                total.false_cells[cause] = total.false_cells.get(cause, 0) + 1
        if dying is not None and dying.fails_on is not None and dying.fails_on >= RUN_IN:
            at = found.failing.get((label.name, dying.cell))
            rounds = -1.0 if at is None else (dying.fails_on - _day(at)) / ROUND_DAYS
            total.ahead.setdefault(dying.kind, Share()).count(rounds >= AHEAD)
            total.before.setdefault(dying.kind, Share()).count(rounds >= 0)
            if dying.fails_on >= LONG_ENOUGH:
                total.ahead_long.setdefault(dying.kind, Share()).count(rounds >= AHEAD)
        if label.name not in swapped:
            _mark_water(truth, [_day(at) for at in found.thirsty.get(label.name, [])], total)
    _mark_swap(depot, found, total)


def _mark_water(truth: object, said: list[float], total: Score) -> None:
    charging, first_bare = truth.overcharge, truth.first_bare  # type: ignore[attr-defined]
    begins = math.inf if charging.begins is None else charging.begins
    total.false_thirst += any(RUN_IN <= day < begins for day in said)
    if charging.kind is None:
        return
    after = [day for day in said if day >= begins]
    total.overcharged.setdefault(charging.kind, Share()).count(bool(after))
    if after:
        total.overcharge_days.setdefault(charging.kind, []).append(after[0] - begins)
    if first_bare is not None and first_bare >= RUN_IN:
        total.boiled.count(bool(after))
        total.boiled_before.count(bool(after) and after[0] < first_bare)


def _mark_swap(depot: Depot, found: Findings, total: Score) -> None:
    true = frozenset(depot.swap[:2]) if depot.swap else frozenset[str]()
    for pair, at in found.swapped.items():
        if pair != true and _day(at) >= RUN_IN:
            total.false_swaps += 1
    if depot.swap:
        at = found.swapped.get(true)  # type: ignore[arg-type]
        noticed = at is not None and _day(at) > depot.swap[2]
        total.swaps.count(noticed)
        if at is not None and noticed:
            total.swap_days.append(_day(at) - depot.swap[2])


def table(total: Score) -> str:
    """The tallies as the lines of a Markdown table, with 95 % intervals."""
    lines = ["| what | found | false alarms for 100 battery-years |", "|---|---|---|"]
    years = total.battery_years
    alarms = sum(total.false_cells.values())
    for kind in ("sulphation", "short", "shedding"):
        share = total.ahead.get(kind, Share())
        rate = f"{rate_words(alarms, years)}, all kinds together" if kind == "sulphation" else ""
        lines.append(f"| cell failing by {kind}: named ≥ {AHEAD} rounds ahead | {share} | {rate} |")
        lines.append(
            f"| … of those on record for {LONG_ENOUGH:.0f} days | "
            f"{total.ahead_long.get(kind, Share())} | |"
        )
        lines.append(f"| … named before it failed | {total.before.get(kind, Share())} | |")
    for cause, count in sorted(total.false_cells.items(), key=lambda entry: -entry[1]):
        lines.append(f"| … false alarms with {cause} behind them | | {rate_words(count, years)} |")
    for kind, share in sorted(total.overcharged.items()):
        days = median(total.overcharge_days.get(kind, [math.nan]))
        lines.append(f"| overcharged ({kind}), median after {days:.0f} days | {share} | |")
    lines.append(
        f"| boils dry | {total.boiled} | {rate_words(total.false_thirst, years)}, thirst in all |"
    )
    lines.append(f"| … before plates stood bare | {total.boiled_before} | |")
    days = median(total.swap_days or [math.nan])
    lines.append(
        f"| labels swapped, median after {days:.0f} days | {total.swaps} | "
        f"{rate_words(total.false_swaps, years)} |"
    )
    return "\n".join(lines)


def wilson(found: int, of: int, z: float = 1.96) -> tuple[float, float]:
    """95 % interval of a share (E. B. Wilson, 1927)."""
    share = found / of
    middle = (share + z * z / (2 * of)) / (1 + z * z / of)
    half = z / (1 + z * z / of) * math.sqrt(share * (1 - share) / of + z * z / (4 * of * of))
    return max(0.0, middle - half), min(1.0, middle + half)


def rate_words(count: int, years: float, z: float = 1.96) -> str:
    """A rate for 100 battery-years with its 95 % interval (Byar's approximation to Poisson)."""

    def end(events: int, sign: int) -> float:
        if events == 0:
            return 0.0
        return events * (1 - 1 / (9 * events) + sign * z / (3 * math.sqrt(events))) ** 3

    low, high = end(count, -1), end(count + 1, 1)
    return (
        f"{100 * count / years:.1f} [{100 * low / years:.1f}, {100 * high / years:.1f}]"
        if years
        else "no years"
    )


def _day(at: object) -> float:
    return (at - START).total_seconds() / 86_400  # type: ignore[operator, no-any-return]
