"""A label's content put into a template: marks with their places, or a refusal that says why.

What many labels of a run share (frame, signs, captions, caution) is laid out once and kept
apart from what differs, so that writers can store it once too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

from tagkit.assets.card import Card, CardKind, OutOfService
from tagkit.assets.tag import Tag
from tagkit.errors import WrongInput
from tagkit.labels.content import Figure, LabelContent
from tagkit.labels.drawing import Area, Box, Frame, Ink, Mark, Modules, SafetySign, Words
from tagkit.labels.fitting import ELLIPSIS, fit, fit_lines, line_height, placed, shortened
from tagkit.labels.fonts import CAPITAL, Weight
from tagkit.labels.number import number
from tagkit.labels.template import (
    FIGURES,
    FRAME_LINE,
    QUIET,
    SMALLEST_LETTERS,
    Element,
    Template,
    module_for,
    symbol_boxes,
)
from tagkit.symbol.encode import encode
from tagkit.symbol.tables import Level

_RULE = 0.2  # mm: thickness of the lines between figures
_GAP = 0.6  # mm between a caption and its figure
_BAR = 0.4  # mm of black around a figure that is not known
_FREE_WORDS = ("connector", "check")  # what a person wrote may be shortened, figures never
_REASON_LINES = 12
_CAPTION_LETTERS = 2.6  # mm: captions grow to this


@dataclass(frozen=True)
class PrintedLabel:
    """What the record keeps of a label: enough to draw the same symbol again."""

    tag: Tag | Card
    template: str
    revision: int
    payload: str
    version: int
    level: Level
    mask: int


@dataclass(frozen=True)
class Layout:
    """One label: marks in mm from the top left corner of its face."""

    printed: PrintedLabel
    art: tuple[Mark, ...]  # shared by labels of the same make-up: one and the same object
    own: tuple[Mark, ...]  # this label's own
    symbols: tuple[Box, ...]  # each symbol without its quiet zone

    @property
    def marks(self) -> tuple[Mark, ...]:
        """Everything, in drawing order."""
        return self.art + self.own


@dataclass(frozen=True)
class _Cell:
    """Room for the value of a figure."""

    name: str
    box: Box
    letters: tuple[float, float]
    align: str


@dataclass(frozen=True)
class _Plan:
    """The shared part of labels that differ in number and figures only."""

    art: tuple[Mark, ...]
    cells: tuple[_Cell, ...]
    module: float
    symbols: tuple[Box, ...]


def lay_out(content: LabelContent, template: Template, mask: int | None = None) -> Layout:
    """The label of ``content`` on ``template``.

    Raises WrongInput when the template is not for this kind or language, or when something
    would have to be cut or become too small to read; it names the element and what would do.
    ``mask`` chooses the mask of the symbol (the one of least penalty unless given).
    """
    _check_purpose(content, template)
    symbol = encode(content.payload, template.symbol.level, _version(content, template), mask)
    figures = {figure.name: figure for figure in content.figures}
    plan = _plan(
        template, content.site_name,
        content.signs, content.cautions,
        tuple((figure.name, figure.caption) for figure in content.figures), symbol.version,
    )  # fmt: skip
    own: list[Mark] = [Modules(symbol, box.x, box.y, plan.module) for box in plan.symbols]
    for cell in plan.cells:
        own += _value(figures[cell.name], cell, template)
    for element in template.elements:
        if element.show == "number":
            own += _number(content.tag, element, template)
        elif element.show == "headline":
            own += _headline(content, element, template)
        elif element.show == "kind":
            own += _title(content.title, element)
        elif element.show == "sorting":
            own += _one_line(content.sorting, element)
        elif element.show == "revision":
            own += _one_line(content.revision_words, element)
    printed = PrintedLabel(
        content.tag, template.name, content.revision, content.payload,
        symbol.version, symbol.level, symbol.mask,
    )  # fmt: skip
    return Layout(printed, plan.art, tuple(own), plan.symbols)


def _check_purpose(content: LabelContent, template: Template) -> None:
    if content.kind not in template.kinds:
        kinds = ", ".join(kind.noun for kind in template.kinds)
        raise WrongInput(
            f"template {template.name} is not for {content.kind.noun} labels (but for: {kinds})",
            "Choose another template",
            str(content.tag),
        )
    if content.language not in template.languages:
        raise WrongInput(
            f"template {template.name} has no room for the language setting “{content.language}”",
            f"Use one of: {', '.join(template.languages)}, or another template",
            str(content.tag),
        )


def _version(content: LabelContent, template: Template) -> int | None:
    """The template's version, unless the payload needs a larger one."""
    wanted = template.symbol.version
    if wanted is None:
        return None
    return max(wanted, encode(content.payload, template.symbol.level, mask=0).version)


@lru_cache(maxsize=256)
def _plan(
    template: Template,
    site_name: str,
    signs: tuple[str, ...],
    cautions: tuple[str, ...],
    captions: tuple[tuple[str, str], ...],
    version: int,
) -> _Plan:
    module = module_for(template, version)
    art: list[Mark] = []
    symbols = []
    for room in symbol_boxes(template):
        frame, symbol = _framed(template, room, module, version)
        art.append(frame)
        symbols.append(symbol)
    cells: list[_Cell] = []
    own_place = {element.show for element in template.elements if element.show in FIGURES}
    for element in template.elements:
        if element.show == "site":
            art += _one_line(site_name, element)
        elif element.show == "signs":
            art += _signs(element.signs or signs, element)
        elif element.show == "caution":
            art += _cautions(cautions, element, template)
        elif element.show == "figures":
            rest = [
                (name, caption)
                for name, caption in captions
                if name not in own_place and name != "connector"
            ]
            drawn, rooms = _figures(rest, element, template)
            art += drawn
            cells += rooms
        elif element.show in FIGURES:
            for name, caption in captions:
                if name == element.show:
                    marks, cell = _captioned(name, caption, element.box, element, template)
                    art += marks
                    cells.append(cell)
    return _Plan(tuple(art), tuple(cells), module, tuple(symbols))


def _framed(template: Template, room: Box, module: float, version: int) -> tuple[Frame, Box]:
    """The frame around the quiet zone and the symbol in it, both on whole printer dots."""
    across = template.symbol.modules_across(version) * module
    left = template.on_dots(room.x + (room.width - across) / 2)
    top = template.on_dots(room.y + (room.height - across) / 2)
    left, top = max(left, room.x), max(top, room.y)
    inset = (QUIET + FRAME_LINE) * module
    frame = Frame(Box(left, top, across, across), FRAME_LINE * module)
    return frame, Box(left, top, across, across).shrunk(inset)


def _title(text: str, element: Element) -> list[Mark]:
    """The kind of asset, white on a black bar."""
    box = element.box
    inner = Box(box.x + 1.2, box.y + 0.5, box.width - 2.4, box.height - 1.0)
    return [Area(box), *_one_line(text, element, inner, "centre", "bold", "white")]


@lru_cache(maxsize=4096)  # most labels of a run say the same but for number and serial
def _one_line(
    text: str,
    element: Element,
    box: Box | None = None,
    align: str | None = None,
    weight: Weight = "regular",
    ink: Ink = "black",
) -> tuple[Mark, ...]:
    """A line of words; what does not fit is left out in its middle, marked by an ellipsis."""
    if not text:
        return ()
    box, align = box or element.box, align or element.align
    fitted = fit_lines((text,), box.width, box.height, (0.0, element.largest), weight)
    if fitted is not None and fitted.size * CAPITAL < element.smallest:
        # Low boxes set the size; narrow ones shorten the text instead.
        highest = min(element.smallest, box.height / line_height(text, weight) * CAPITAL)
        text = shortened(text, box.width, highest, weight)
        fitted = fit_lines((text,), box.width, box.height, (0.0, element.largest), weight)
    return tuple(placed(fitted, box, align, weight, ink, middle=True)) if fitted else ()


def _headline(content: LabelContent, element: Element, template: Template) -> list[Mark]:
    """The word of a card; that something is out of service stands white on black."""
    reversed_out = content.kind is CardKind.OUT_OF_SERVICE
    box = element.box.shrunk(2 * _BAR) if reversed_out else element.box
    letters = element.smallest, element.largest
    lines = content.headline
    if content.kind is CardKind.BADGE:  # the person's code stands on it in full as well
        lines = tuple(shortened(line, box.width, element.smallest, "bold") for line in lines)
    fitted = fit_lines(lines, box.width, box.height, letters)
    if fitted is None:
        raise _too_long(" ".join(lines), element, template)
    if reversed_out:
        words = placed(fitted, box, "centre", "bold", "white", middle=True)
        return [Area(element.box), *words]
    return [*placed(fitted, box, element.align, "bold", middle=True)]


def _number(tag: Tag | Card, element: Element, template: Template) -> list[Words]:
    """The number of the asset; commands and badges have none."""
    if isinstance(tag, OutOfService):
        tag = tag.tag
    if not isinstance(tag, Tag):
        return []
    words = number(tag, element.box, (element.smallest, element.largest), element.align)
    if words is None:
        raise _too_long(str(tag), element, template)
    return words


def _start(box: Box, used: float, align: str) -> float:
    spare = box.width - used
    return box.x + {"left": 0.0, "centre": spare / 2, "right": spare}[align]


def _figures(
    captions: list[tuple[str, str]], element: Element, template: Template
) -> tuple[list[Mark], list[_Cell]]:
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
        drawn, cell = _captioned(name, caption, room, element, template)
        marks += drawn
        if row:
            cell = _kept_small(cell)
        cells.append(cell)
    return marks, cells


def _kept_small(cell: _Cell) -> _Cell:
    """Letters of a common height for short and long words, below those of the first row."""
    smallest, largest = cell.letters
    return replace(cell, letters=(smallest, max(smallest, min(largest, cell.box.width * 0.09))))


def _captioned(
    name: str, caption: str, box: Box, element: Element, template: Template
) -> tuple[list[Words], _Cell]:
    tallest = max(_CAPTION_LETTERS, element.smallest)  # labels read from afar ask for larger ones
    largest = max(SMALLEST_LETTERS, min(tallest, box.height * 0.16))
    lowest = min(largest, max(SMALLEST_LETTERS, element.smallest * 0.75))
    for least, share in ((lowest, 0.42), (SMALLEST_LETTERS, 0.42), (SMALLEST_LETTERS, 0.56)):
        height = box.height * share
        fitted = fit(caption, box.width, height, (least, largest), "regular", 3)
        if fitted is not None:
            break
    else:
        raise _too_long(caption, element, template)
    words = placed(fitted, box, element.align)
    used = fitted.height + _GAP
    room = Box(box.x, box.y + used, box.width, box.height - used)
    return words, _Cell(name, room, (element.smallest, element.largest), element.align)


@lru_cache(maxsize=4096)
def _value(figure: Figure, cell: _Cell, template: Template) -> tuple[Mark, ...]:
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


def _set_value(figure: Figure, box: Box, cell: _Cell, template: Template, ink: Ink) -> list[Words]:
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


def _set_reason(reason: str, box: Box, cell: _Cell, template: Template) -> list[Words]:
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


def _signs(codes: tuple[str, ...], element: Element) -> list[SafetySign]:
    """The signs in a grid as large as the box allows."""
    if not codes:
        return []
    box, count, gap = element.box, len(codes), 0.08
    best = (0.0, 1, 0.0)
    for columns in range(1, count + 1):
        rows = -(-count // columns)
        size = min(
            box.width / (columns + (columns - 1) * gap), box.height / (rows + (rows - 1) * gap)
        )
        even = 1.0 if count % columns == 0 else 0.8  # full rows look better than larger signs
        best = max(best, (size * even, columns, size))
    _, columns, size = best
    step = size * (1 + gap)
    rows = -(-count // columns)
    left = _start(box, columns * step - size * gap, element.align)
    top = box.y + (box.height - (rows * step - size * gap)) / 2
    return [
        SafetySign(code, left + place % columns * step, top + place // columns * step, size)
        for place, code in enumerate(codes)
    ]


def _cautions(lines: tuple[str, ...], element: Element, template: Template) -> list[Words]:
    """The caution in each language below the other, in letters of one size."""
    box = element.box
    gap = 0.8 * (len(lines) - 1)
    size = element.largest
    while True:
        settings = [fit(line, box.width, box.height, (size, size), "regular", 12) for line in lines]
        fitted = [setting for setting in settings if setting is not None]
        height = sum(setting.height for setting in fitted) + gap
        if len(fitted) == len(lines) and height <= box.height:
            break
        if size <= element.smallest:
            raise _too_long(" ".join(lines), element, template)
        size = max(element.smallest, size * 0.96)
    words: list[Words] = []
    top = box.y + (box.height - height) / 2
    for setting in fitted:
        room = Box(box.x, top, box.width, setting.height)
        words += placed(setting, room, element.align)
        top += setting.height + 0.8
    return words


def _too_long(text: str, element: Element, template: Template) -> WrongInput:
    return WrongInput(
        f"“{text}” does not fit into {element.box.width:g} × {element.box.height:g} mm in letters "
        f"of {element.smallest:g} mm",
        "Give its box more room or allow smaller letters",
        f"{template.where}, {element.show}",
    )
