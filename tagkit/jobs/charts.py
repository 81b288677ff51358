"""Charts of reports and pages, by reportlab.graphics: one drawing serves PDF and SVG.

Titles and names come in the reader's words; what the charts say themselves, dates and that there
is nothing to draw, is said in ``words``.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from tagkit.jobs.paper import CALM, GREY, INK, MM, STOP, WEIGHTS
from tagkit.language.words import Words

_ON_SCREEN = "system-ui, 'Noto Sans', 'DejaVu Sans', sans-serif"
_SERIES = (INK, STOP, CALM, "#7a5c00", "#3b7a3b")
_LEGEND_ROW = 4.0
"""mm"""
_NARROW = 90.0
"""mm; a chart no wider than this has fewer dates under it."""
PHONE_WIDTH = 68.0
"""mm, of a chart that stands on a phone in its own size, with letters of 11 px at 390 px."""
_WIDER_ON_SCREEN = 1.2
"""A screen's own letters than those that a title is measured with."""
_GRID, _BLACK = "#dddddd", "#000000"
_IN_THE_DARK = {
    INK: "#eceeee", _BLACK: "#eceeee", GREY: "#aeb7bc", _GRID: "#465057", STOP: "#ff8a84",
    CALM: "#9fd0e6", "#7a5c00": "#f2c230", "#3b7a3b": "#6fd59b",
}  # fmt: skip
"""What each colour of a chart becomes on a page that is shown dark; on paper it stays."""


def lines(
    words: Words, width: float, height: float, title: str,
    series: Sequence[tuple[str, Sequence[tuple[datetime, float]]]],
    *, form: str = "%.3f", marks: Sequence[tuple[datetime, str]] = (),
    floor: float | None = None,
) -> Any:  # fmt: skip
    """Values over time, mm wide and high. ``marks`` are moments to be named, like a repair.

    Series are told apart by shape of mark and dash as well as by colour.
    """
    from reportlab.graphics.charts.lineplots import LinePlot
    from reportlab.graphics.shapes import Line, String
    from reportlab.graphics.widgets.markers import makeMarker
    from reportlab.lib.colors import HexColor

    drawing = _sheet(width, height, title)
    known = [(name, list(points)) for name, points in series if points]
    if not known:
        return _nothing(drawing, words, width, height)
    rows = _legend(drawing, width, height, [name for name, _ in known])
    plot = LinePlot()
    plot.x, plot.y = 11 * MM, 8 * MM
    plot.width, plot.height = (width - 21) * MM, (height - 16 - _LEGEND_ROW * rows) * MM
    plot.data = [[(at.timestamp(), value) for at, value in points] for _, points in known]
    shapes = ("FilledCircle", "FilledTriangle", "FilledSquare", "FilledDiamond", "Cross")
    for place in range(len(known)):
        colour = HexColor(_SERIES[place % len(_SERIES)])
        plot.lines[place].strokeColor = colour
        plot.lines[place].strokeWidth = 1.1
        plot.lines[place].symbol = makeMarker(shapes[place % len(shapes)])
        plot.lines[place].symbol.size = 3
        plot.lines[place].symbol.fillColor = colour
        plot.lines[place].symbol.strokeColor = colour
        if place:
            plot.lines[place].strokeDashArray = (3, 1 + place)
    values = [value for _, points in known for _, value in points]
    low, high = min([*values, *([floor] if floor is not None else [])]), max(values)
    room = (high - low) * 0.1 or abs(high) * 0.02 or 0.01
    plot.yValueAxis.valueMin, plot.yValueAxis.valueMax = low - room, high + room
    plot.yValueAxis.labelTextFormat = form
    times = [at.timestamp() for _, points in known for at, _ in points]
    first, last = min(times), max(times)
    parts = 4 if width > _NARROW else 2
    steps = [first + (last - first) * part / parts for part in range(parts + 1)]
    if first == last:
        first, last = first - 86_400, last + 86_400
    plot.xValueAxis.valueMin, plot.xValueAxis.valueMax = first, last
    # A day is written once, however few of them there are.
    days = {_day(words, step): step for step in reversed(steps)}
    plot.xValueAxis.valueSteps = sorted(days.values())
    plot.xValueAxis.labelTextFormat = lambda value: _day(words, value)
    for axis in (plot.xValueAxis, plot.yValueAxis):
        axis.labels.fontName = "label-regular"
        axis.labels.fontSize = 6.5
        axis.strokeColor = HexColor(GREY)
        axis.strokeWidth = 0.5
    plot.yValueAxis.visibleGrid = True
    plot.yValueAxis.gridStrokeColor = HexColor(_GRID)
    plot.yValueAxis.gridStrokeWidth = 0.3
    drawing.add(plot)
    for row, (at, said) in enumerate(sorted(marks)):
        if first <= at.timestamp() <= last:
            x = plot.x + plot.width * (at.timestamp() - first) / (last - first)
            drawing.add(
                Line(x, plot.y, x, plot.y + plot.height, strokeColor=HexColor(GREY),
                     strokeWidth=0.5, strokeDashArray=(1, 2))
            )  # fmt: skip
            left = x > plot.x + plot.width * 0.8
            drawing.add(
                String(x - 1.5 if left else x + 1.5, plot.y + plot.height - 6 - 7 * (row % 3), said,
                       textAnchor="end" if left else "start", fontName="label-regular",
                       fontSize=6, fillColor=HexColor(GREY))
            )  # fmt: skip
    return drawing


def _day(words: Words, moment: float) -> str:
    return words.day(datetime.fromtimestamp(moment, UTC))


def bars(
    words: Words, width: float, height: float, title: str, names: Sequence[str], values: Sequence[float],
    *, form: str = "%g",
) -> Any:  # fmt: skip
    """One bar for each name, from nought up."""
    from reportlab.graphics.charts.barcharts import VerticalBarChart
    from reportlab.lib.colors import HexColor

    drawing = _sheet(width, height, title)
    if not values or max(values) <= 0:
        return _nothing(drawing, words, width, height)
    chart = VerticalBarChart()
    chart.x, chart.y = 11 * MM, 9 * MM
    chart.width, chart.height = (width - 16) * MM, (height - 18) * MM
    chart.data = [tuple(values)]
    every = max(1, len(names) // 12)
    chart.categoryAxis.categoryNames = [
        name if place % every == 0 else "" for place, name in enumerate(names)
    ]
    chart.bars[0].fillColor = HexColor(CALM)
    chart.bars[0].strokeColor = None
    chart.valueAxis.valueMin = 0
    chart.valueAxis.labelTextFormat = form
    level = len(names) <= 12 or max(map(len, names)) <= 2
    chart.categoryAxis.labels.angle = 0 if level else 30
    for axis in (chart.categoryAxis, chart.valueAxis):
        axis.labels.fontName = "label-regular"
        axis.labels.fontSize = 6.5
        axis.strokeColor = HexColor(GREY)
        axis.strokeWidth = 0.5
    if not level:
        chart.categoryAxis.labels.boxAnchor = "ne"
    drawing.add(chart)
    return drawing


def _sheet(width: float, height: float, title: str) -> Any:
    from reportlab.graphics.shapes import Drawing, String
    from reportlab.lib.colors import HexColor
    from reportlab.pdfbase import pdfmetrics

    from tagkit.labels.fonts import face

    for weight in WEIGHTS:  # a chart may be drawn where no page has been
        pdfmetrics.registerFont(face(weight).font)
    drawing = Drawing(width * MM, height * MM)
    wide = pdfmetrics.stringWidth(title, "label-bold", 8.5) * _WIDER_ON_SCREEN
    drawing.add(
        String(0, (height - 4) * MM, title, fontName="label-bold",
               fontSize=8.5 * min(1, width * MM / wide) if wide else 8.5,
               fillColor=HexColor(INK))
    )  # fmt: skip
    return drawing


def _nothing(drawing: Any, words: Words, width: float, height: float) -> Any:
    from reportlab.graphics.shapes import String
    from reportlab.lib.colors import HexColor

    drawing.add(
        String(width * MM / 2, height * MM / 2, words("nothing on record"), textAnchor="middle",
               fontName="label-regular", fontSize=8, fillColor=HexColor(GREY))
    )  # fmt: skip
    return drawing


def _legend(drawing: Any, width: float, height: float, names: Sequence[str]) -> int:
    """Names the series below the title; how many rows it takes, one where there is nothing to say."""
    from reportlab.graphics.shapes import Line, String
    from reportlab.lib.colors import HexColor
    from reportlab.pdfbase.pdfmetrics import stringWidth

    if len(names) < 2:
        return 1
    x, row = 11 * MM, 0
    for place, name in enumerate(names):
        colour = HexColor(_SERIES[place % len(_SERIES)])
        dash = (3, 1 + place) if place else None
        wide = stringWidth(name, "label-regular", 7)
        if x > 11 * MM and x + 17 + wide > width * MM:
            x, row = 11 * MM, row + 1
        y = (height - 8.5 - _LEGEND_ROW * row) * MM
        drawing.add(
            Line(x, y, x + 14, y, strokeColor=colour, strokeWidth=1.4, strokeDashArray=dash)
        )
        drawing.add(String(x + 17, y - 2.5, name, fontName="label-regular", fontSize=7))
        x += 30 + wide
    return row + 1


def svg_of(drawing: Any) -> str:
    """The chart as SVG, without a ground of its own; its colours follow the page into the dark."""
    from reportlab.graphics import renderSVG

    svg = str(renderSVG.drawToString(drawing))
    # The faces of the labels are inside a PDF, but not on whoever's screen shows the SVG.
    svg = svg.replace("font-family: label-bold", f"font-weight: bold; font-family: {_ON_SCREEN}")
    svg = svg.replace("font-family: label-regular", f"font-family: {_ON_SCREEN}")
    for colour in _IN_THE_DARK:
        svg = svg.replace(_as_drawn(colour), colour)
    dark = "".join(
        f'[style*="{what}: {light}"]{{{what}:{shown}!important}}'
        for light, shown in _IN_THE_DARK.items()
        for what in ("fill", "stroke")
    )
    style = f"<style>@media screen and (prefers-color-scheme: dark){{{dark}}}</style>"
    return svg.replace("<desc>...</desc>", f"<desc></desc>{style}", 1)


def _as_drawn(colour: str) -> str:
    """How reportlab writes a colour into an SVG: in whole per cent, cut."""
    parts = (int(int(colour[place : place + 2], 16) / 255 * 100) for place in (1, 3, 5))
    return "rgb({}%,{}%,{}%)".format(*parts)
