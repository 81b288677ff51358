"""The history sheet on paper: two pages with charts and the battery's QR code.

However much there is to say, the sheet stays two pages: what has no room is counted, with the
command that tells the rest; the charts take what the words leave.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from pathlib import Path

from tagkit.jobs.care_facts import Round, when
from tagkit.jobs.history import BatteryHistory, battery_history
from tagkit.jobs.history_words import fact_lines, history_tables, trend_line
from tagkit.jobs.paper import GREY, Paper
from tagkit.jobs.report_file import check_report_file, words_of, write_report
from tagkit.jobs.site import Site
from tagkit.labels.words import cautions
from tagkit.language.figures import LITRES_PER_GALLON
from tagkit.language.words import Words
from tagkit.record.state import AssetState
from tagkit.rules.trend import CellTrend

_CHARTS = 84.0
"""Height that the two charts of the first page need at least, mm."""
_WEEKS = 52
_SEALED = {"gel": "sealed", "agm": "sealed", "tppl": "sealed", "lithium": "lithium"}


def report_battery(
    site: Site, battery: str, out: Path, words: Words | None = None
) -> BatteryHistory:
    """Writes the sheet: PDF, or CSV, XLSX or JSON with its tables, by the name of ``out``.

    ``words``: the reader's; the site's own unless given.
    """
    check_report_file(out)
    spoken = words or words_of(site)
    found = battery_history(site, battery)
    write_report(
        site, spoken, out,
        paper=lambda path: _paper(site, found, spoken, path),
        tables=lambda reader: history_tables(found, reader),
        facts=found.to_json(),
    )  # fmt: skip
    return found


def _paper(site: Site, found: BatteryHistory, words: Words, out: Path) -> None:
    tag = found.state.tag
    paper = Paper(site, words, words("History of {tag}", tag=tag))
    paper.head_of_asset(words("Battery history"), tag, found.at)
    paper.pairs(fact_lines(found, words))
    paper.box(_caution(found, words))
    comparable = [one for one in found.rounds if one.judgement.median is not None]
    _now(paper, found, _CHARTS if comparable else 0.0)
    if comparable:
        _cell_charts(paper, found, comparable)
        paper.new_page()
    else:
        _no_rounds(paper, found)
        paper.y += 3
    _use_charts(paper, found)
    _trends(site, paper, found)
    paper.heading(words("Work and events, newest first"))
    if not found.work:
        paper.text(words("Nothing is on record."), 8.5)
    else:
        _work(paper, found)
    paper.save(out)


def _caution(found: BatteryHistory, words: Words) -> str:
    kind = _SEALED.get(found.facts.chemistry or "")
    if kind:
        return cautions(kind, words.language)[0]
    return words(
        "A battery weighs a tonne or more and holds acid; while it charges it frees hydrogen. Only "
        "trained, authorised people change, charge, water or open it: goggles or face shield, "
        "gloves, apron, no flame, rated gear. The maker's instructions decide."
    )


def _now(paper: Paper, found: BatteryHistory, charts: float) -> None:
    """What is flagged and due, as much as leaves the charts their room, mm."""
    words = paper.words
    paper.heading(words("Now"))
    if not found.notices:
        paper.text(words("Nothing is flagged or due."), 8.5)
    told = 0
    for one in found.notices:
        state = f" ({words(one.state)})" if one.state else ""
        line = f"{words(one.severity)}: {words(one.sentence)}{state}"
        rows = paper.broken(line, 8.5, paper.inner)
        if told and paper.left - len(rows) * 4 < charts + 6:
            break
        paper.text(line, 8.5, bold=one.severity == "stop")
        told += 1
    _rest(
        paper, len(found.notices) - told, f"tagkit report battery {found.state.tag} --out now.csv"
    )
    paper.y += 2


def _no_rounds(paper: Paper, found: BatteryHistory) -> None:
    """What stands where the charts of the cells would, and how the first round is taken."""
    words, tag = paper.words, found.state.tag
    paper.heading(words("Cells"))
    if found.rounds:
        paper.text(
            words("No round on record compares: its gravity was not read, or not after charge and "
                  "rest."), 8.5,
        )  # fmt: skip
        return
    paper.text(words("No rounds yet: what its cells do is not known."), 8.5)
    paper.text(
        words(
            "To begin, print a blank sheet (tagkit round blank {tag} --out round.pdf), fill it in "
            "after charge and rest, and key it in on the page “Rounds” or with tagkit round enter.",
            tag=tag,
        ),
        8.5,
    )


def _cell_charts(paper: Paper, found: BatteryHistory, comparable: Sequence[Round]) -> None:
    from tagkit.jobs.charts import lines

    words = paper.words
    low = [
        (one.at, min(cell.corrected for cell in one.judgement.cells if cell.corrected is not None))
        for one in comparable
    ]
    room = min(paper.left - 5, 125.0)
    reference = words.temperature(found.facts.scale.reference_celsius)
    marks = _repairs(found.state, words)
    paper.drawing(
        lines(
            words, paper.inner, room * 0.55,
            words("Gravity over rounds, corrected to {temperature}", temperature=reference),
            [(words("median"), [(one.at, one.judgement.median or 0.0) for one in comparable]),
             (words("lowest cell"), low)],
            marks=marks,
        )
    )  # fmt: skip
    title = words("Cells that lie lowest: distance from the median")
    behind = _lowest_cells(comparable, found.trends, words)
    paper.drawing(lines(words, paper.inner, room * 0.45, title, behind, marks=marks))


def _use_charts(paper: Paper, found: BatteryHistory) -> None:
    from tagkit.jobs.charts import bars, lines

    words = paper.words
    weeks, cycles = _by_week(found.uses, found.at, words)
    water = [(at, amount) for at, amount, _ in found.waterings if amount is not None]
    if paper.left < (44 if max(cycles) > 0 else 14) + (42 if water else 14):
        paper.new_page()
    title = words("Equivalent full cycles a week")
    if max(cycles) > 0:
        form = "%.1f" if max(cycles) >= 1 else "%.2f"
        paper.drawing(bars(words, paper.inner, 42, title, weeks, cycles, form=form))
    else:
        _instead(paper, title, words("No use with a known depth in the last 52 weeks."))
    customary = words.units == "us"
    per = LITRES_PER_GALLON if customary else 1.0
    title = words("Water, gallons at a time") if customary else words("Water, litres at a time")
    if water:
        series = [("", [(at, amount / per) for at, amount in water])]
        paper.drawing(lines(words, paper.inner, 40, title, series, form="%.1f", floor=0))
    elif found.facts.watered:
        _instead(paper, title, words("No watering with its amount is on record."))


def _instead(paper: Paper, title: str, said: str) -> None:
    """What is said where a chart would have nothing to draw."""
    paper.y += 2
    paper.text(title, 8.5, bold=True)
    paper.text(said, 8.5)


def _trends(site: Site, paper: Paper, found: BatteryHistory) -> None:
    words = paper.words
    paper.heading(words("Trends"))
    falling = [one for one in found.trends if one.per_month is not None and one.falling]
    for trend in falling[:6]:
        paper.text(trend_line(trend, site.settings.cells.suspect, words), 8.5)
    _rest(paper, len(falling) - 6, f"tagkit round show {found.state.tag}")
    if not falling:
        reason = next((one.reason for one in found.trends if one.reason), "")
        if not found.rounds:
            paper.text(words("Not known without rounds."), 8.5)
        elif reason:
            paper.text(
                words("Whether a cell falls behind is not known: {reason}.", reason=reason), 8.5
            )
        else:
            paper.text(words("No cell is falling behind."), 8.5)


def _work(paper: Paper, found: BatteryHistory) -> None:
    words = paper.words
    rows = [(words.minute(at), _shortened(words(what), 220), by) for at, what, by in found.work]
    headings = (words("when"), words("what"), words("by"))
    drawn = paper.table(headings, rows, (20, 72, 8), size=7.5, to_the_foot=True)
    _rest(paper, len(rows) - drawn, f"tagkit history {found.state.tag}")


def _rest(paper: Paper, count: int, command: str) -> None:
    if count > 0:
        said = paper.words("and {count} more: {command}", count=count, command=command)
        paper.text(said, 7.5, colour=GREY)


def _shortened(text: str, most: int) -> str:
    return text if len(text) <= most else f"{text[: most - 1]}…"


def _lowest_cells(
    rounds: Sequence[Round], trends: Sequence[CellTrend], words: Words
) -> list[tuple[str, list[tuple[datetime, float]]]]:
    """The three cells that lie lowest, by their distances in rounds that compare with each other;
    where none does, by what each round says for itself."""
    last: dict[int, float | None] = {one.cell: one.distance for one in trends} or {
        one.cell: one.distance for one in rounds[-1].judgement.cells
    }
    apart = [
        (
            one.at,
            one.judgement.distances
            if trends
            else {
                cell.cell: cell.distance
                for cell in one.judgement.cells
                if cell.distance is not None
            },
        )
        for one in rounds
    ]
    lowest = sorted(last, key=lambda cell: last[cell] or 0.0)[:3]
    return [
        (
            words("cell {number}", number=cell),
            [(at, distances[cell]) for at, distances in apart if cell in distances],
        )
        for cell in lowest
    ]


def _repairs(state: AssetState, words: Words) -> list[tuple[datetime, str]]:
    return [
        (
            when(at),
            words("acid adjusted") if cell == "all"
            else words("cell {number} repaired", number=cell),
        )
        for cell, at in state.new_cells.items()
    ]  # fmt: skip


def _by_week(
    uses: Sequence[tuple[datetime, float]], now: datetime, words: Words
) -> tuple[list[str], list[float]]:
    totals = [0.0] * _WEEKS
    for at, percent in uses:
        ago = int((now - at) / timedelta(days=7))
        if 0 <= ago < _WEEKS:
            totals[_WEEKS - 1 - ago] += percent / 80
    days = [now - timedelta(days=7 * (_WEEKS - 1 - place)) for place in range(_WEEKS)]
    return [words.day(day, "d MMM") for day in days], totals
