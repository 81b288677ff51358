"""The figures on a label: captions with room below each, and the values that go into it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from tagkit.errors import WrongInput
from tagkit.labels.content import Figure
from tagkit.labels.drawing import Area, Box, Ink, Mark, Words
from tagkit.labels.fitting import ELLIPSIS, fit, fit_lines, placed, shortened, too_long
from tagkit.labels.template_model import SMALLEST_LETTERS, Element, Template

_RULE = 0.2  # mm: thickness of the lines between figures
_GAP = 0.6  # mm between a caption and its figure
_BAR = 0.4  # mm of black around a figure that is not known
_FREE_WORDS = ("connector", "check")  # what a person wrote may be shortened, figures never
_REASON_LINES = 12
_CAPTION_LETTERS = 2.6  # mm: captions grow to this


@dataclass(frozen=True)
class Cell:
    """Room for the value of a figure."""

    name: str
    box: Box
    letters: tuple[float, float]
    align: str


def lay_figures(
    captions: list[tuple[str, str]], element: Element, template: Template
) -> tuple[list[Mark], list[Cell]]:
    """All figures that have no place of their own, in rows, parted by rules."""
    if not captions:
        return [], []
    columns = min(element.columns, len(captions))
    rows = -(-len(captions) // columns)
    box = element.box
    spare = box.height - (rows - 1) * (_RULE + 2 * _GAP)
    shares = [1.5 if row == 0 else 1.0 for row in range(rows)]  # the voltage is read first
    heights = [spare * share / sum(shares) for share in shares]
    column_width = (box.width - (columns - 1) * 3.0) / columns
    marks: list[Mark] = []
    cells = []
    for place, (name, caption) in enumerate(captions):
        row, column = divmod(place, columns)
        top = box.y + sum(heights[:row]) + row * (_RULE + 2 * _GAP)
        left = box.x + column * (column_width + 3.0)
        if row and not column:
            marks.append(Area(Box(box.x, top - _GAP - _RULE, box.width, _RULE)))
        last_alone = place == len(captions) - 1 and column == 0
        width = box.width if last_alone else column_width
        room = Box(left, top, width, heights[row])
        drawn, cell = captioned(name, caption, room, element, template)
        marks += drawn
        if row:
            cell = _kept_small(cell)
        cells.append(cell)
    return marks, cells


def _kept_small(cell: Cell) -> Cell:
    """Letters of a common height for short and long words, below those of the first row."""
    smallest, largest = cell.letters
    return replace(cell, letters=(smallest, max(smallest, min(largest, cell.box.width * 0.09))))


def captioned(
    name: str, caption: str, box: Box, element: Element, template: Template
) -> tuple[list[Words], Cell]:
    tallest = max(_CAPTION_LETTERS, element.smallest)  # labels read from afar ask for larger ones
    largest = max(SMALLEST_LETTERS, min(tallest, box.height * 0.16))
    lowest = min(largest, max(SMALLEST_LETTERS, element.smallest * 0.75))
    for least, share in ((lowest, 0.42), (SMALLEST_LETTERS, 0.42), (SMALLEST_LETTERS, 0.56)):
        height = box.height * share
        fitted = fit(caption, box.width, height, (least, largest), "regular", 3)
        if fitted is not None:
            break
    else:
        raise too_long(caption, element, template)
    words = placed(fitted, box, element.align)
    used = fitted.height + _GAP
    room = Box(box.x, box.y + used, box.width, box.height - used)
    return words, Cell(name, room, (element.smallest, element.largest), element.align)


@lru_cache(maxsize=4096)
def value(figure: Figure, cell: Cell, template: Template) -> tuple[Mark, ...]:
    """The figure itself; one that is not known stands white on black, so that it is seen."""
    if figure.state != "unknown":
        return tuple(_set_value(figure, cell.box, cell, template, "black"))
    words = _set_value(figure, cell.box.shrunk(_BAR), cell, template, "white")
    bottom = max(line.bounds().bottom for line in words)
    right = max(line.bounds().right for line in words)
    box = cell.box
    bar = Box(box.x, box.y, right + _BAR - box.x, bottom + _BAR - box.y)
    if cell.align != "left":
        bar = Box(box.x, box.y, box.width, bar.height)
    return (Area(bar), *words)


def _set_value(figure: Figure, box: Box, cell: Cell, template: Template, ink: Ink) -> list[Words]:
    """Its parts beside or below one another, whichever gives larger letters."""
    joined, letters = figure.side_by_side, cell.letters
    if figure.name == "reason":
        return _set_reason(joined, box, cell, template)
    lines = dict.fromkeys([(joined,), figure.parts])
    tried = [fit_lines(each, box.width, box.height, letters) for each in lines]
    settings = [fitted for fitted in tried if fitted is not None]
    if settings:
        best = max(settings, key=lambda fitted: fitted.size)
        return placed(best, box, cell.align, "bold", ink)
    wrapped = fit(joined, box.width, box.height, letters, "bold", 4)
    if wrapped is None and figure.name in _FREE_WORDS:
        text = shortened(joined, box.width, letters[0], "bold")
        wrapped = fit(text, box.width, box.height, letters, "bold", 1)
    if wrapped is None:
        raise WrongInput(
            f"“{joined}” ({figure.caption}) does not fit into {box.width:.1f} × "
            f"{box.height:.1f} mm in letters of {letters[0]:g} mm",
            "Choose a template with more room, or give its box more",
            f"{template.where}, {figure.name}",
        )
    return placed(wrapped, box, cell.align, "bold", ink)


def _set_reason(reason: str, box: Box, cell: Cell, template: Template) -> list[Words]:
    """Someone's own words in as many lines as give the largest letters."""
    words = [shortened(word, box.width, cell.letters[0], "bold") for word in reason.split(" ")]
    for kept in range(len(words), 0, -1):  # what is too long loses its end, and says so
        text = " ".join([*words[:kept], *([ELLIPSIS] if kept < len(words) else [])])
        fitted = fit(text, box.width, box.height, cell.letters, "bold", _REASON_LINES)
        if fitted is not None:
            break
    if fitted is None:
        raise WrongInput(
            f"the reason does not fit into {box.width:.1f} × {box.height:.1f} mm",
            "Give its box more room",
            f"{template.where}, reason",
        )
    return placed(fitted, box, cell.align, "bold")
