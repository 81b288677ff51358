"""The plan of the pool on a page: shifts as people write them, changes by hour as bars."""

from __future__ import annotations

import base64
import re
from collections.abc import Sequence

from tagkit.errors import WrongInput
from tagkit.jobs.charts import bars, svg_of
from tagkit.language.words import Words


def shift_hours(text: str) -> list[tuple[float, float]]:
    """``6-14,14-22``: hours of the day; past 24 is the next morning."""
    found = []
    for part in text.replace(" ", "").split(","):
        match = re.fullmatch(r"(\d{1,2}(?:\.\d+)?)[-–](\d{1,2}(?:\.\d+)?)", part)
        if not match or not float(match[1]) < float(match[2]) <= float(match[1]) + 24:
            raise WrongInput(f"“{part}” is no shift", "Write hours like 6-14 or 22-30", "shifts")
        found.append((float(match[1]), float(match[2])))
    return found


def changes_chart(words: Words, by_hour: Sequence[int]) -> str:
    """Changes by hour of the day, as the address of a picture."""
    names = [str(hour) for hour in range(len(by_hour))]
    svg = svg_of(bars(words, 180, 50, words("Changes by hour of the day"), names, list(by_hour)))
    return "data:image/svg+xml;base64," + base64.b64encode(svg.encode()).decode()
