"""What is due, gathered by what it is: forty batteries to be washed are one thing to plan."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from tagkit.jobs.telling import DUE_TITLES, Telling

_ORDER = ("overdue", "due", "never done", "soon")


@dataclass(frozen=True)
class DueGroup:
    """One kind of work; ``counts`` by state, the most pressing first."""

    title: str
    counts: tuple[tuple[str, int], ...]
    lines: tuple[Telling, ...]


def due_groups(dues: Iterable[Telling]) -> list[DueGroup]:
    """The groups in the order of their most pressing line."""
    by_code: dict[str, list[Telling]] = {}
    for one in dues:
        by_code.setdefault(one.code, []).append(one)
    groups = [_group(code, lines) for code, lines in by_code.items()]
    return sorted(groups, key=lambda one: (_ORDER.index(one.counts[0][0]), -one.counts[0][1]))


def _group(code: str, lines: list[Telling]) -> DueGroup:
    counted = Counter(one.state or "due" for one in lines)
    counts = sorted(counted.items(), key=lambda item: _ORDER.index(item[0]))
    return DueGroup(DUE_TITLES.get(code, code), tuple(counts), tuple(lines))
