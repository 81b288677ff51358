"""Labels as a PDF: vector symbols, embedded fonts, what labels share stored once.

A symbol is one path of rectangles, each a run of dark modules, so that no renderer leaves a
seam between modules.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, BinaryIO

from tagkit.errors import WrongInput
from tagkit.labels.drawing import Area, Box, Frame, Mark, Modules, SafetySign, Words
from tagkit.labels.fonts import Weight, face
from tagkit.labels.layout import Layout
from tagkit.labels.signs import SIDE, SIGNS, Shape
from tagkit.labels.template_model import Template
from tagkit.symbol.encode import Symbol
from tagkit.whole_file import whole_file

_POINTS = 72 / 25.4  # a millimetre
_dark_runs = re.compile("1+").finditer
Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class PlacedSymbol:
    """Where a symbol lies in the file: page from 0, boxes in mm from the page's top left."""

    page: int
    symbol: Box  # without its quiet zone
    label: Box  # the label face
    tag: str
    payload: str


def write_pdf(
    layouts: Sequence[Layout],
    template: Template,
    out: BinaryIO | Path,
    progress: Progress | None = None,
    skip: int = 0,
) -> None:
    """Writes the labels in order, a page for each sheet or each label of a roll.

    ``skip`` leaves that many places of the first sheet empty, for a sheet partly used.
    ``progress`` is told (labels done, labels in all). A file appears whole or not at all.
    """
    _check_skip(template, skip)
    if isinstance(out, Path):
        with _whole_file(out) as handle:
            _write(layouts, template, handle, progress, skip)
    else:
        _write(layouts, template, out, progress, skip)


def placements(layouts: Sequence[Layout], template: Template, skip: int = 0) -> list[PlacedSymbol]:
    """Where :func:`write_pdf` puts each symbol, in the order of the labels."""
    _check_skip(template, skip)
    found = []
    for number, layout in enumerate(layouts):
        page, left, top = template.place(number + skip)
        label = Box(left, top, *template.stock.label)
        for box in layout.symbols:
            moved = Box(left + box.x, top + box.y, box.width, box.height)
            printed = layout.printed
            found.append(PlacedSymbol(page, moved, label, str(printed.tag), printed.payload))
    return found


def _check_skip(template: Template, skip: int) -> None:
    if not 0 <= skip < template.labels_on_page:
        raise WrongInput(
            f"{skip} places can't be left empty on a page of {template.labels_on_page}",
            f"Give a number from 0 to {template.labels_on_page - 1}",
        )


@contextmanager
def _whole_file(path: Path) -> Any:
    """A file that takes its name only once it is complete."""
    with whole_file(path) as part, part.open("wb") as handle:
        yield handle


def _write(
    layouts: Sequence[Layout],
    template: Template,
    out: BinaryIO,
    progress: Progress | None,
    skip: int,
) -> None:
    pen = _Pen(template)
    for number, layout in enumerate(layouts):
        pen.draw(layout, number + skip)
        if progress is not None:
            progress(number + 1, len(layouts))
    out.write(pen.finish())


class _Pen:
    """Draws labels onto pages of one document."""

    def __init__(self, template: Template) -> None:
        from reportlab.pdfbase import pdfmetrics
        from reportlab.pdfgen.canvas import Canvas

        self._template = template
        self._size = tuple(
            _whole_dots(length, template) * _POINTS for length in template.stock.page
        )
        self._buffer = io.BytesIO()
        self._canvas = Canvas(
            self._buffer, pagesize=self._size, pageCompression=1, invariant=1,
            initialFontName="Helvetica",
        )  # fmt: skip
        self._canvas.setTitle(f"Labels, {template.name}")
        self._canvas.setCreator("tagkit")
        for weight in ("regular", "bold"):
            pdfmetrics.registerFont(face(weight).font)
        self._page = 0
        self._forms: dict[int, str] = {}
        self._shown: dict[tuple[Weight, str, float], str] = {}

    def draw(self, layout: Layout, index: int) -> None:
        page, left, top = self._template.place(index)
        while self._page < page:
            self._canvas.showPage()
            self._page += 1
        form = self._form(layout.art)
        x, y = left * _POINTS, self._size[1] - top * _POINTS
        self._canvas.addLiteral(f"q 1 0 0 1 {_n(x)} {_n(y)} cm")
        self._canvas.doForm(form)
        self._marks(layout.own)
        self._canvas.addLiteral("Q")

    def finish(self) -> bytes:
        self._canvas.showPage()
        with _binary_streams():
            self._canvas.save()
        return self._buffer.getvalue()

    def _form(self, art: tuple[Mark, ...]) -> str:
        """The name of the form that holds what labels share, made when first needed."""
        name = self._forms.get(id(art))
        if name is None:
            name = f"art{len(self._forms)}"
            self._forms[id(art)] = name
            self._canvas.addLiteral("")  # the library keeps a page's state only if it has begun
            self._canvas.beginForm(name, -1000, -1000, 2000, 2000)
            self._marks(art)
            self._canvas.endForm()
        return name

    def _marks(self, marks: tuple[Mark, ...]) -> None:
        code: list[str] = []
        for mark in marks:
            match mark:
                case Words():
                    code.append(self._words(mark))
                case Modules():
                    code.append(_modules(mark))
                case Area(box):
                    code.append(f"{_rectangle(box)} f")
                case Frame(box, line):
                    code.append(f"{_rectangle(box)} {_rectangle(box.shrunk(line))} f*")
                case SafetySign():
                    code.append(_sign(mark))
        self._canvas.addLiteral("\n".join(code))

    def _words(self, words: Words) -> str:
        key = words.weight, words.text, words.size
        shown = self._shown.get(key)
        if shown is None:  # most texts of a run are the same on every label
            shown = self._shown[key] = self._show(*key)
        text = f"BT {_n(words.x * _POINTS)} {_n(-words.y * _POINTS)} Td {shown} ET"
        return f"1 g {text} 0 g" if words.ink == "white" else text

    def _show(self, weight: Weight, text: str, size: float) -> str:
        font, document = face(weight).font, self._canvas._doc
        shown = []
        for subset, codes in font.splitString(text, document):
            name = font.getSubsetInternalName(subset, document)
            shown.append(f"{name} {_n(size * _POINTS)} Tf ({_escaped(codes)}) Tj")
        return " ".join(shown)


def _whole_dots(length: float, template: Template) -> float:
    """Rolls end on a whole dot, so that pixels at the printer's resolution are its dots."""
    return template.on_dots(length) if template.labels_on_page == 1 else length


@contextmanager
def _binary_streams() -> Any:
    """Compressed streams as they are, without the text encoding that adds a quarter."""
    from reportlab import rl_config

    before = rl_config.useA85
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = before


def _n(value: float) -> str:
    """A number as short as three decimals allow."""
    return f"{value:.3f}".rstrip("0").rstrip(".")


def _rectangle(box: Box) -> str:
    x, y, width, height = (value * _POINTS for value in box)
    return f"{_n(x)} {_n(-y - height)} {_n(width)} {_n(height)} re"


def _escaped(codes: bytes) -> str:
    text = codes.decode("latin-1")
    return "".join(
        f"\\{char}" if char in "()\\" else char if " " <= char <= "~" else f"\\{ord(char):03o}"
        for char in text
    )


def _modules(mark: Modules) -> str:
    module = mark.module * _POINTS
    place = f"{module:.5f} 0 0 {-module:.5f} {_n(mark.x * _POINTS)} {_n(-mark.y * _POINTS)} cm"
    return f"q {place} {_path_of(mark.symbol)} f Q"


@lru_cache(maxsize=4)  # a label may carry its symbol twice
def _path_of(symbol: Symbol) -> str:
    return " ".join([_run(*run) for run in rectangles(symbol)])


@lru_cache(maxsize=50_000)
def _run(x: int, y: int, width: int, height: int) -> str:
    return f"{x} {y} {width} {height} re"


def rectangles(symbol: Symbol) -> list[tuple[int, int, int, int]]:
    """The dark modules as few rectangles (x, y, width, height): runs, merged downwards."""
    above: dict[tuple[int, int], int] = {}  # runs that may go on, and the row they began in
    found: list[tuple[int, int, int, int]] = []
    take = above.pop
    for y, row in enumerate((*symbol.rows, "")):
        runs = {span: take(span, y) for span in _spans(row)}
        if above:
            found += [(left, top, right - left, y - top) for (left, right), top in above.items()]
        above, take = runs, runs.pop
    return found


@lru_cache(maxsize=20_000)  # the symbols of a run share many of their rows
def _spans(row: str) -> tuple[tuple[int, int], ...]:
    """Where runs of dark modules begin and end."""
    return tuple([run.span() for run in _dark_runs(row)])


def _sign(mark: SafetySign) -> str:
    scale = mark.size / SIDE * _POINTS
    place = f"{_n(scale)} 0 0 {_n(-scale)} {_n(mark.x * _POINTS)} {_n(-mark.y * _POINTS)} cm"
    shapes = " ".join(_shape(shape) for shape in SIGNS[mark.code].shapes)
    return f"q {place} 1 j {shapes} Q"


def _shape(shape: Shape) -> str:
    letters = {"M": "m", "L": "l", "C": "c", "Z": "h"}
    path = " ".join(
        " ".join([*(_n(number) for number in numbers), letters[letter]])
        for letter, numbers in shape.path
    )
    style = []
    if shape.fill:
        style.append(f"{_colour(shape.fill)} rg")
    if shape.stroke:
        style.append(f"{_colour(shape.stroke)} RG {_n(shape.width)} w")
        style.append("1 J" if shape.round_ends else "0 J")
    paint = "B" if shape.fill and shape.stroke else "f" if shape.fill else "S"
    return f"{' '.join(style)} {path} {paint}"


def _colour(colour: str) -> str:
    return " ".join(_n(int(colour[at : at + 2], 16) / 255) for at in (1, 3, 5))
