"""The cells of a battery over its rounds, as a chart for a page."""

from __future__ import annotations

from tagkit.assets.tag import Kind
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import battery_facts, rounds_of
from tagkit.jobs.charts import PHONE_WIDTH, lines, svg_of
from tagkit.jobs.site import Site
from tagkit.language.words import Words
from tagkit.rules.flags import worst

_CELLS = 4
_SIZE, _ON_PHONE = (135.0, 62.0), (PHONE_WIDTH, 58.0)
"""mm"""


def cell_chart(site: Site, battery: str, words: Words, narrow: bool = False) -> str:
    """SVG: the median of every round, and the cells that were flagged or lowest when they were
    last read.

    ``narrow``: for a phone.
    """
    state = asset(site.record, battery, Kind.BATTERY)
    facts = battery_facts(state, site.settings)
    rounds = rounds_of(site.record, state, facts, site.settings)
    measured = [one for one in rounds if one.judgement.median is not None]
    series = [(words("median"), [(one.at, one.judgement.median or 0.0) for one in measured])]
    if measured:
        last = {
            cell.cell: cell
            for one in measured
            for cell in one.judgement.cells
            if cell.distance is not None
        }
        grave = {one.cell for one in last.values() if worst(one.flags) in ("act", "stop")}
        lowest = sorted(last.values(), key=lambda one: (one.cell not in grave, one.distance or 0.0))
        for wanted in (one.cell for one in lowest[:_CELLS]):
            points = [
                (one.at, cell.corrected)
                for one in measured
                for cell in one.judgement.cells
                if cell.cell == wanted and cell.corrected is not None
            ]
            series.append((words("cell {number}", number=wanted), points))
    width, height = _ON_PHONE if narrow else _SIZE
    title = words("Gravity at the reference temperature")
    return svg_of(lines(words, width, height, title, series))
