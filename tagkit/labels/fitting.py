"""Text into boxes: the largest letters that fit, on one line or several."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from tagkit.errors import WrongInput
from tagkit.labels.drawing import Box, Ink, Words
from tagkit.labels.fonts import CAPITAL, Weight, face
from tagkit.labels.template_model import Element, Template

_LEADING = 1.2  # from baseline to baseline, in units of the font size
_STEP = 0.95  # from one tried size to the next
_ASCENT, _DESCENT = 0.76, 0.14
ELLIPSIS = "…"


@dataclass(frozen=True)
class Fitted:
    """Lines with a common font size; ``above`` and ``below`` are the ink of the outer lines."""

    lines: tuple[str, ...]
    size: float
    above: float
    below: float
    height: float


@lru_cache(maxsize=20_000)
def fit(
    text: str,
    width: float,
    height: float,
    letters: tuple[float, float],
    weight: Weight = "regular",
    most_lines: int = 1,
) -> Fitted | None:
    """The largest setting of ``text`` between two heights of capitals, mm, or None."""
    smallest, largest = letters[0] / CAPITAL, letters[1] / CAPITAL
    size = largest
    while True:
        lines = wrap(text, width / size, weight)
        if lines is not None and len(lines) <= most_lines:
            fitted = _measured(lines, size, weight)
            if fitted.height <= height:
                return fitted
        if size <= smallest:
            return None
        size = max(smallest, size * _STEP)


@lru_cache(maxsize=20_000)
def fit_lines(
    lines: tuple[str, ...],
    width: float,
    height: float,
    letters: tuple[float, float],
    weight: Weight = "bold",
) -> Fitted | None:
    """As :func:`fit`, for lines that are broken already."""
    smallest, largest = letters[0] / CAPITAL, letters[1] / CAPITAL
    widest = max(face(weight).width(line) for line in lines)
    unit = _measured(lines, 1.0, weight)
    size = min(largest, width / widest if widest else largest, height / unit.height)
    return _measured(lines, size, weight) if size >= smallest - 1e-9 else None


def line_height(text: str, weight: Weight) -> float:
    """The height of one line in units of the font size."""
    return _measured((text,), 1.0, weight).height


def shortened(text: str, width: float, capitals: float, weight: Weight) -> str:
    """The text with its middle left out, so that a line with capitals this high holds it."""
    size = capitals / CAPITAL
    letters_of = face(weight)
    if letters_of.width(text) * size <= width:
        return text
    for kept in range(len(text) - 1, 1, -1):
        head = (kept + 1) // 2
        candidate = f"{text[:head]}{ELLIPSIS}{text[len(text) - (kept - head) :]}"
        if letters_of.width(candidate) * size <= width:
            return candidate
    return ELLIPSIS


def wrap(text: str, width: float, weight: Weight) -> tuple[str, ...] | None:
    """The text in lines of at most ``width`` (in units of the font size); None if a word is too
    long. A line never breaks after a stroke or a point in the middle."""
    letters = face(weight)
    lines: list[str] = []
    line = ""
    for piece in text.split(" "):
        longer = f"{line} {piece}" if line else piece
        if letters.width(longer) <= width:
            line = longer
            continue
        if not line or letters.width(piece) > width:
            return None
        lines.append(line)
        line = piece
    lines.append(line)
    return tuple(lines)


def placed(
    fitted: Fitted,
    box: Box,
    align: str = "left",
    weight: Weight = "regular",
    ink: Ink = "black",
    middle: bool = False,
) -> list[Words]:
    """The lines as words in the box, from its top or in the middle of its height."""
    letters = face(weight)
    top = box.y + ((box.height - fitted.height) / 2 if middle else 0.0)
    baseline = top + fitted.above
    words = []
    for line in fitted.lines:
        spare = box.width - letters.width(line) * fitted.size
        left = box.x + {"left": 0.0, "centre": spare / 2, "right": spare}[align]
        words.append(Words(left, baseline, fitted.size, weight, line, ink))
        baseline += _LEADING * fitted.size
    return words


def _measured(lines: tuple[str, ...], size: float, weight: Weight) -> Fitted:
    """At least the reach of plain letters, so that equal rows get letters of equal size."""
    letters = face(weight)
    above = max(_ASCENT, letters.ink(lines[0])[0]) * size
    below = max(_DESCENT, letters.ink(lines[-1])[1]) * size
    between = (len(lines) - 1) * _LEADING * size
    return Fitted(lines, size, above, below, above + between + below)


def start(box: Box, used: float, align: str) -> float:
    spare = box.width - used
    return box.x + {"left": 0.0, "centre": spare / 2, "right": spare}[align]


def too_long(text: str, element: Element, template: Template) -> WrongInput:
    return WrongInput(
        f"“{text}” does not fit into {element.box.width:g} × {element.box.height:g} mm in letters "
        f"of {element.smallest:g} mm",
        "Give its box more room or allow smaller letters",
        f"{template.where}, {element.show}",
    )
