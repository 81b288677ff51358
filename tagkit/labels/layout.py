"""A label's content put into a template: marks with their places, or a refusal that says why.

What many labels of a run share (frame, signs, captions, caution) is laid out once and kept
apart from what differs, so that writers can store it once too.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from tagkit.assets.card import Card
from tagkit.assets.tag import Tag
from tagkit.errors import WrongInput
from tagkit.labels.content import LabelContent
from tagkit.labels.drawing import Box, Frame, Mark, Modules
from tagkit.labels.figures import Cell, captioned, lay_figures, value
from tagkit.labels.lettering import (
    lay_cautions,
    lay_headline,
    lay_number,
    lay_one_line,
    lay_signs,
    lay_title,
)
from tagkit.labels.symbol_room import module_for, symbol_boxes, symbol_for
from tagkit.labels.template_model import FIGURES, FRAME_LINE, QUIET, Template
from tagkit.symbol.tables import Level


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
class _Plan:
    """The shared part of labels that differ in number and figures only."""

    art: tuple[Mark, ...]
    cells: tuple[Cell, ...]
    module: float
    symbols: tuple[Box, ...]


def lay_out(content: LabelContent, template: Template, mask: int | None = None) -> Layout:
    """The label of ``content`` on ``template``.

    Raises WrongInput when the template is not for this kind or language, or when something
    would have to be cut or become too small to read; it names the element and what would do.
    ``mask`` chooses the mask of the symbol (the one of least penalty unless given).
    """
    _check_purpose(content, template)
    symbol = symbol_for(content.payload, template, mask)
    figures = {figure.name: figure for figure in content.figures}
    plan = _plan(
        template, content.site_name,
        content.signs, content.cautions,
        tuple((figure.name, figure.caption) for figure in content.figures), symbol.version,
    )  # fmt: skip
    own: list[Mark] = [Modules(symbol, box.x, box.y, plan.module) for box in plan.symbols]
    for cell in plan.cells:
        own += value(figures[cell.name], cell, template)
    for element in template.elements:
        if element.show == "number":
            own += lay_number(content.tag, element, template)
        elif element.show == "headline":
            own += lay_headline(content, element, template)
        elif element.show == "kind":
            own += lay_title(content.title, element)
        elif element.show == "sorting":
            own += lay_one_line(content.sorting, element)
        elif element.show == "revision":
            own += lay_one_line(content.revision_words, element)
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
    cells: list[Cell] = []
    own_place = {element.show for element in template.elements if element.show in FIGURES}
    for element in template.elements:
        if element.show == "site":
            art += lay_one_line(site_name, element)
        elif element.show == "signs":
            art += lay_signs(element.signs or signs, element)
        elif element.show == "caution":
            art += lay_cautions(cautions, element, template)
        elif element.show == "figures":
            rest = [
                (name, caption)
                for name, caption in captions
                if name not in own_place and name != "connector"
            ]
            drawn, rooms = lay_figures(rest, element, template)
            art += drawn
            cells += rooms
        elif element.show in FIGURES:
            for name, caption in captions:
                if name == element.show:
                    marks, cell = captioned(name, caption, element.box, element, template)
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
