"""The two fonts that labels embed, and the real measures of their letters.

DejaVu Sans Condensed: freely licensed (fonts/LICENSE.txt), covers Latin, Greek and Cyrillic,
and tells 0 from O and 1 from l.
"""

from __future__ import annotations

import struct
import unicodedata
from functools import lru_cache
from typing import Any, Literal

from tagkit.resources import fonts

Weight = Literal["regular", "bold"]

CAPITAL = 0.729  # height of capital letters, in units of the font size
_FILES: dict[Weight, str] = {
    "regular": "DejaVuSansCondensed.ttf",
    "bold": "DejaVuSansCondensed-Bold.ttf",
}
_NO_GLYPH = "\N{REPLACEMENT CHARACTER}"


class Face:
    """One font. All measures are in units of the font size."""

    def __init__(self, weight: Weight) -> None:
        from reportlab.pdfbase.ttfonts import TTFont

        self.name = f"label-{weight}"
        self.font: Any = TTFont(self.name, str(fonts() / _FILES[weight]))
        face = self.font.face
        self._widths: dict[int, float] = {
            char: width / 1000 for char, width in face.charWidths.items()
        }
        self._glyphs: dict[int, int] = face.charToGlyph
        self._outlines: bytes = face.get_table("glyf")
        self._places: list[int] = face.glyphPos
        self.per_em: int = face.unitsPerEm
        self._ink: dict[str, tuple[float, float]] = {}

    def width(self, text: str) -> float:
        """How far the text advances."""
        widths = self._widths
        return sum([widths[ord(char)] for char in text])

    def ink(self, text: str) -> tuple[float, float]:
        """How far the black of the text reaches above and below its baseline."""
        known = self._ink
        reaches = [known.get(char) or self._measure(char) for char in text]
        return max([up for up, _ in reaches]), max([down for _, down in reaches])

    def printable(self, text: str) -> str:
        """The text with a mark in place of every character that this font does not have."""
        composed = unicodedata.normalize("NFC", text)
        return "".join(char if ord(char) in self._glyphs else _NO_GLYPH for char in composed)

    def glyph(self, char: str) -> int:
        """The number of the letter's glyph."""
        return self._glyphs[ord(char)]

    def outline_data(self, glyph: int) -> bytes:
        """What the font's glyf table holds for a glyph; empty for a space."""
        return self._outlines[self._places[glyph] : self._places[glyph + 1]]

    def _measure(self, char: str) -> tuple[float, float]:
        data = self.outline_data(self.glyph(char))
        low, high = struct.unpack_from(">4xh2xh", data) if data else (0, 0)
        self._ink[char] = max(0.0, high / self.per_em), max(0.0, -low / self.per_em)
        return self._ink[char]


@lru_cache(maxsize=2)
def face(weight: Weight) -> Face:
    """The font of this weight, read once."""
    return Face(weight)
