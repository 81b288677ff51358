"""The words and signs on a label that are no figures: title, headline, number, signs, caution."""

from __future__ import annotations

from functools import lru_cache

from tagkit.assets.card import Card, CardKind, OutOfService
from tagkit.assets.tag import Tag
from tagkit.labels.content import LabelContent
from tagkit.labels.drawing import Area, Box, Ink, Mark, SafetySign, Words
from tagkit.labels.fitting import fit, fit_lines, line_height, placed, shortened, start, too_long
from tagkit.labels.fonts import CAPITAL, Weight
from tagkit.labels.number import number
from tagkit.labels.template_model import Element, Template

_BAR = 0.4  # mm of black around a headline in white


def lay_title(text: str, element: Element) -> list[Mark]:
    """The kind of asset, white on a black bar."""
    box = element.box
    inner = Box(box.x + 1.2, box.y + 0.5, box.width - 2.4, box.height - 1.0)
    return [Area(box), *lay_one_line(text, element, inner, "centre", "bold", "white")]


@lru_cache(maxsize=4096)  # most labels of a run say the same but for number and serial
def lay_one_line(
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


def lay_headline(content: LabelContent, element: Element, template: Template) -> list[Mark]:
    """The word of a card; that something is out of service stands white on black."""
    reversed_out = content.kind is CardKind.OUT_OF_SERVICE
    box = element.box.shrunk(2 * _BAR) if reversed_out else element.box
    letters = element.smallest, element.largest
    lines = content.headline
    if content.kind is CardKind.BADGE:  # the person's code stands on it in full as well
        lines = tuple(shortened(line, box.width, element.smallest, "bold") for line in lines)
    fitted = fit_lines(lines, box.width, box.height, letters)
    if fitted is None:
        raise too_long(" ".join(lines), element, template)
    if reversed_out:
        words = placed(fitted, box, "centre", "bold", "white", middle=True)
        return [Area(element.box), *words]
    return [*placed(fitted, box, element.align, "bold", middle=True)]


def lay_number(tag: Tag | Card, element: Element, template: Template) -> list[Words]:
    """The number of the asset; commands and badges have none."""
    if isinstance(tag, OutOfService):
        tag = tag.tag
    if not isinstance(tag, Tag):
        return []
    words = number(tag, element.box, (element.smallest, element.largest), element.align)
    if words is None:
        raise too_long(str(tag), element, template)
    return words


def lay_signs(codes: tuple[str, ...], element: Element) -> list[SafetySign]:
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
    left = start(box, columns * step - size * gap, element.align)
    top = box.y + (box.height - (rows * step - size * gap)) / 2
    return [
        SafetySign(code, left + place % columns * step, top + place // columns * step, size)
        for place, code in enumerate(codes)
    ]


def lay_cautions(lines: tuple[str, ...], element: Element, template: Template) -> list[Words]:
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
            raise too_long(" ".join(lines), element, template)
        size = max(element.smallest, size * 0.96)
    words: list[Words] = []
    top = box.y + (box.height - height) / 2
    for setting in fitted:
        room = Box(box.x, top, box.width, setting.height)
        words += placed(setting, room, element.align)
        top += setting.height + 0.8
    return words
