"""One label as an SVG drawing, for plates that are engraved or etched.

Millimetres throughout; letters are outlines, so that no machine needs the font.
"""

from __future__ import annotations

from xml.sax.saxutils import escape

from tagkit.labels.drawing import Area, Box, Frame, Mark, Modules, SafetySign, Words
from tagkit.labels.fonts import face
from tagkit.labels.layout import Layout
from tagkit.labels.outlines import outline
from tagkit.labels.pdf import rectangles
from tagkit.labels.signs import SIDE, SIGNS, Shape, svg_path
from tagkit.labels.template_model import Template


def svg_label(layout: Layout, template: Template) -> str:
    """The label face (with its liner, where the stock has one) as the text of an SVG file."""
    stock = template.stock
    width = stock.label[0] + stock.liner_right
    height = stock.label[1] + stock.liner_bottom
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm" '
        f'viewBox="0 0 {width:g} {height:g}">',
        f"<title>{escape(str(layout.printed.tag))}</title>",
        *(_drawn(mark) for mark in layout.marks),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _drawn(mark: Mark) -> str:
    match mark:
        case Words():
            return _words(mark)
        case Modules():
            runs = "".join(f"M{x} {y}h{w}v{h}h-{w}z" for x, y, w, h in rectangles(mark.symbol))
            return f'<path transform="{_placed(mark.x, mark.y, mark.module)}" d="{runs}"/>'
        case Area(box):
            return f'<path d="{_rectangle(box)}"/>'
        case Frame(box, line):
            inner = box.shrunk(line)
            return f'<path fill-rule="evenodd" d="{_rectangle(box)}{_rectangle(inner)}"/>'
        case SafetySign():
            shapes = "".join(_shape(shape) for shape in SIGNS[mark.code].shapes)
            return f'<g transform="{_placed(mark.x, mark.y, mark.size / SIDE)}">{shapes}</g>'


def _words(words: Words) -> str:
    letters, left, paths = face(words.weight), 0.0, []
    for char in words.text:
        path = outline(words.weight, char)
        if path:
            paths.append(f'<path transform="translate({left:.4f})" d="{path}"/>')
        left += letters.width(char)
    place = _placed(words.x, words.y, words.size)
    return f'<g transform="{place}" fill="{words.ink}">{"".join(paths)}</g>'


def _placed(x: float, y: float, scale: float) -> str:
    return f"translate({x:.4f} {y:.4f}) scale({scale:.6f})"


def _rectangle(box: Box) -> str:
    return f"M{box.x:.4f} {box.y:.4f}h{box.width:.4f}v{box.height:.4f}h-{box.width:.4f}z"


def _shape(shape: Shape) -> str:
    style = f'fill="{shape.fill or "none"}"'
    if shape.stroke:
        ends = "round" if shape.round_ends else "butt"
        style += (
            f' stroke="{shape.stroke}" stroke-width="{shape.width:g}" stroke-linejoin="round" '
            f'stroke-linecap="{ends}"'
        )
    return f'<path {style} d="{svg_path(shape.path)}"/>'
