"""The plan of the pool on a page: shifts as people write them, changes by hour as bars."""

from __future__ import annotations

import base64
from collections.abc import Sequence

from tagkit.jobs.charts import PHONE_WIDTH, bars, svg_of
from tagkit.language.words import Words
from tagkit.settings import parse_shifts


def shift_hours(text: str) -> tuple[tuple[float, float], ...]:
    """``6-14,14-22``: hours of the day; past 24 is the next morning."""
    return parse_shifts(text, "shifts")


def changes_chart(words: Words, by_hour: Sequence[int], narrow: bool = False) -> str:
    """Changes by hour of the day, as the address of a picture; ``narrow``: for a phone."""
    names = [str(hour) for hour in range(len(by_hour))]
    svg = svg_of(
        bars(
            words,
            *((PHONE_WIDTH, 45.0) if narrow else (180.0, 50.0)),
            words("Changes by hour of the day"),
            names,
            list(by_hour),
        )
    )
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()
