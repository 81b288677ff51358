"""Which batteries to retire: points for each sign of age, every share shown.

The score ranks, it decides nothing; a capacity test below 80 % of rated does (EN 60254-1
style). Weights are this project's own: the capacity test counts most because it alone measures
what a truck gets, then life used, then the signs of bad cells.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from tagkit.settings import CellSettings, LifeSettings, WaterSettings


@dataclass(frozen=True)
class RetirementFacts:
    """What is known of a battery; None means unknown.

    ``capacity_percent`` is the last capacity test's, ``spread`` of the last comparable round,
    ``suspect_cells`` how many of its ``cells``, ``water_ratio`` beside its sisters.
    """

    tag: str
    life_used_percent: float | None = None
    capacity_percent: float | None = None
    spread: float | None = None
    suspect_cells: int | None = None
    water_ratio: float | None = None
    age_years: float | None = None


@dataclass(frozen=True)
class Share:
    """One sign: its points of ``most``, and the figure in words; points None when unknown."""

    name: str
    points: float | None
    most: float
    figure: str

    def to_json(self) -> dict[str, Any]:
        """As commands print it."""
        return {
            "name": self.name, "points": self.points, "most": self.most, "figure": self.figure
        }  # fmt: skip


@dataclass(frozen=True)
class Retirement:
    """``score``: 0 (new) to 100, of the points that could be judged; None when none could.

    ``life_over`` only when a capacity test says so.
    """

    tag: str
    score: float | None
    life_over: bool
    shares: tuple[Share, ...]

    @property
    def unknown(self) -> tuple[str, ...]:
        """The signs that are not known."""
        return tuple(share.name for share in self.shares if share.points is None)

    def to_json(self) -> dict[str, Any]:
        """As commands print it."""
        return {
            "battery": self.tag,
            "score": self.score,
            "life_over": self.life_over,
            "shares": [share.to_json() for share in self.shares],
        }


def retirement(
    facts: RetirementFacts, life: LifeSettings, cells: CellSettings, water: WaterSettings
) -> Retirement:
    """The signs of age of one battery."""
    capacity = facts.capacity_percent
    end = life.end_of_life_percent
    shares = (
        # From 100 % of rated (no points) to the end of life (all of them).
        _share("capacity test", 35, _rise(capacity, 100, end), capacity, "{:.0f}% of rated"),
        _share("life used", 25, _rise(facts.life_used_percent, 0, 100), facts.life_used_percent,
               "{:.0f}% of rated cycles"),
        _share("suspect cells", 15, _rise(facts.suspect_cells, 0, 2), facts.suspect_cells,
               "{:.0f}"),
        _share("spread of cells", 10,
               _rise(facts.spread, cells.watch_spread / 2, cells.suspect), facts.spread, "{:.3f}"),
        _share("water", 8, _rise(facts.water_ratio, 1, 2 * water.sisters_ratio - 1),
               facts.water_ratio, "{:.1f} × its sisters"),
        _share("age", 7, _rise(facts.age_years, 0, life.age_years), facts.age_years,
               "{:.1f} years"),
    )  # fmt: skip
    judged = [share for share in shares if share.points is not None]
    score = None
    if judged:
        most = sum(share.most for share in judged)
        score = 100 * sum(share.points or 0.0 for share in judged) / most
    return Retirement(facts.tag, score, capacity is not None and capacity < end, shares)


def retirement_list(
    fleet: Iterable[RetirementFacts],
    life: LifeSettings,
    cells: CellSettings,
    water: WaterSettings,
) -> tuple[Retirement, ...]:
    """The whole fleet: those whose life is over first, then by score, unknown ones last."""
    judged = [retirement(facts, life, cells, water) for facts in fleet]
    return tuple(sorted(judged, key=_worst_first))


def _worst_first(one: Retirement) -> tuple[bool, bool, float, str]:
    return not one.life_over, one.score is None, -(one.score or 0.0), one.tag


def _rise(value: float | None, nothing: float, everything: float) -> float | None:
    """0 at ``nothing``, 1 at ``everything`` and beyond, straight between."""
    if value is None:
        return None
    return min(1.0, max(0.0, (value - nothing) / (everything - nothing)))


def _share(name: str, most: float, part: float | None, value: float | None, words: str) -> Share:
    if part is None or value is None:
        return Share(name, None, most, "not known")
    return Share(name, most * part, most, words.format(value))
