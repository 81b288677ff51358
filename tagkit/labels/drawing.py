"""What a label is made of: a few kinds of marks with their place in millimetres.

The origin is the top left corner of the label face, y grows downwards. Every writer (PDF, SVG,
PNG) draws these and nothing else, and every mark knows how far its ink reaches.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from tagkit.labels.fonts import Weight, face
from tagkit.symbol.encode import Symbol

Ink = Literal["black", "white"]


class Box(NamedTuple):
    """A rectangle: its left and top edges, its width and height."""

    x: float
    y: float
    width: float
    height: float

    @property
    def right(self) -> float:
        """The right edge."""
        return self.x + self.width

    @property
    def bottom(self) -> float:
        """The bottom edge."""
        return self.y + self.height

    def overlaps(self, other: Box, slack: float = 1e-6) -> bool:
        """Whether the two share more than an edge."""
        return (
            self.x < other.right - slack
            and other.x < self.right - slack
            and self.y < other.bottom - slack
            and other.y < self.bottom - slack
        )

    def inside(self, other: Box, slack: float = 1e-6) -> bool:
        """Whether this one lies within the other."""
        return (
            self.x >= other.x - slack
            and self.y >= other.y - slack
            and self.right <= other.right + slack
            and self.bottom <= other.bottom + slack
        )

    def shrunk(self, by: float) -> Box:
        """The box without a border of this width."""
        return Box(self.x + by, self.y + by, self.width - 2 * by, self.height - 2 * by)


@dataclass(frozen=True, slots=True)
class Words:
    """One line of text; ``size`` is the font size, (x, y) the start of the baseline."""

    x: float
    y: float
    size: float
    weight: Weight
    text: str
    ink: Ink = "black"

    def bounds(self) -> Box:
        """From the metrics of the font."""
        letters = face(self.weight)
        above, below = letters.ink(self.text)
        return Box(
            self.x,
            self.y - above * self.size,
            letters.width(self.text) * self.size,
            (above + below) * self.size,
        )


@dataclass(frozen=True, slots=True)
class Area:
    """A filled rectangle."""

    box: Box

    def bounds(self) -> Box:
        """The rectangle."""
        return self.box


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame of even thickness; ``box`` is its outer edge."""

    box: Box
    line: float

    def bounds(self) -> Box:
        """The outer edge."""
        return self.box


@dataclass(frozen=True, slots=True)
class SafetySign:
    """A sign of ISO 7010 in a square."""

    code: str
    x: float
    y: float
    size: float

    def bounds(self) -> Box:
        """The square."""
        return Box(self.x, self.y, self.size, self.size)


@dataclass(frozen=True, slots=True)
class Modules:
    """The dark modules of a symbol."""

    symbol: Symbol
    x: float
    y: float
    module: float

    def bounds(self) -> Box:
        """The symbol without its quiet zone."""
        side = self.symbol.size * self.module
        return Box(self.x, self.y, side, side)


Mark = Words | Area | Frame | SafetySign | Modules
