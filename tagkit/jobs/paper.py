"""A printed page of a report: head with title and number, text, tables, charts, the foot.

reportlab draws; measures are in millimetres from the top left, so that a page reads as it is
written. Fonts are the labels' own, embedded.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tagkit.assets.payload import payload_for
from tagkit.assets.tag import Tag
from tagkit.jobs.site import Site
from tagkit.jobs.tables import replace_file
from tagkit.labels.fonts import Weight
from tagkit.symbol.encode import encode

MM = 72 / 25.4
SIZES = {"metric": (210.0, 297.0), "us": (215.9, 279.4)}
MARGIN = 15.0
INK, GREY, RULE, STOP, CALM = "#1a1a1a", "#555555", "#bbbbbb", "#b00020", "#1f5f8b"

WEIGHTS: tuple[Weight, ...] = ("regular", "bold")


class Paper:
    """Pages of one PDF. ``y`` is where the next thing goes, mm from the top."""

    def __init__(self, site: Site, title: str, foot: str) -> None:
        from reportlab.pdfbase import pdfmetrics
        from reportlab.pdfgen.canvas import Canvas

        from tagkit.labels.fonts import face

        for weight in WEIGHTS:
            pdfmetrics.registerFont(face(weight).font)
        self._names = {"regular": "label-regular", "bold": "label-bold"}
        self._face = face
        self.width, self.height = SIZES[site.settings.site.units]
        self._bytes = io.BytesIO()
        self.canvas: Any = Canvas(
            self._bytes, pagesize=(self.width * MM, self.height * MM), pageCompression=1
        )
        self.canvas.setTitle(title)
        self.canvas.setAuthor(site.settings.site.name or site.settings.site.code)
        self.site, self.title, self.foot = site, title, foot
        self.page = 1
        self.y = MARGIN
        self._foot()

    @property
    def inner(self) -> float:
        """Width between the margins."""
        return self.width - 2 * MARGIN

    @property
    def left(self) -> float:
        """Height that is left above the foot."""
        return self.height - MARGIN - 9 - self.y

    def text(
        self, words: str, size: float = 9, *, bold: bool = False, x: float = 0.0,
        width: float | None = None, colour: str = INK, gap: float = 1.3,
    ) -> None:  # fmt: skip
        """A paragraph, broken between words; moves on."""
        for row in self.broken(words, size, width or self.inner - x, bold):
            self.at(MARGIN + x, self.y + size / MM, row, size, bold=bold, colour=colour)
            self.y += size / MM * gap

    def at(
        self, x: float, y: float, words: str, size: float, *, bold: bool = False,
        colour: str = INK, right: bool = False,
    ) -> None:  # fmt: skip
        """One line with its baseline at (x, y)."""
        weight = "bold" if bold else "regular"
        shown = self._face(weight).printable(words)
        self.canvas.setFillColor(colour)
        self.canvas.setFont(self._names[weight], size)
        draw = self.canvas.drawRightString if right else self.canvas.drawString
        draw(x * MM, (self.height - y) * MM, shown)

    def measure(self, words: str, size: float, bold: bool = False) -> float:
        """Width of a line, mm."""
        known = self._face("bold" if bold else "regular")
        return float(known.width(known.printable(words))) * size / MM

    def broken(self, words: str, size: float, width: float, bold: bool = False) -> list[str]:
        """The lines of a paragraph."""
        rows: list[str] = []
        for paragraph in words.split("\n"):
            row = ""
            for word in paragraph.split():
                longer = f"{row} {word}" if row else word
                if row and self.measure(longer, size, bold) > width:
                    rows.append(row)
                    row = word
                else:
                    row = longer
            rows.append(row)
        return rows

    def heading(self, words: str) -> None:
        """A section's heading with a rule below; begins a page when little is left."""
        if self.left < 25:
            self.new_page()
        self.y += 3
        self.text(words, 11, bold=True)
        self.rule()

    def rule(self) -> None:
        """A thin line across."""
        self.canvas.setStrokeColor(RULE)
        self.canvas.setLineWidth(0.5)
        y = (self.height - self.y - 0.5) * MM
        self.canvas.line(MARGIN * MM, y, (self.width - MARGIN) * MM, y)
        self.y += 2

    def table(
        self, headings: Sequence[str], rows: Sequence[Sequence[str]], widths: Sequence[float],
        size: float = 8, right: Sequence[int] = (),
    ) -> None:  # fmt: skip
        """A table; ``widths`` are shares of the width; rows that don't fit go on overleaf."""
        total = sum(widths)
        columns = [self.inner * width / total for width in widths]
        self._row(headings, columns, size, bold=True, right=right)
        self.rule()
        for row in rows:
            if self.left < 8:
                self.new_page()
                self._row(headings, columns, size, bold=True, right=right)
                self.rule()
            self._row(row, columns, size, right=right)

    def _row(
        self, cells: Sequence[str], columns: Sequence[float], size: float, *, bold: bool = False,
        right: Sequence[int] = (),
    ) -> None:  # fmt: skip
        broken = [
            self.broken(str(cell), size, width - 2, bold)
            for cell, width in zip(cells, columns, strict=True)
        ]
        x = MARGIN
        for place, (lines, width) in enumerate(zip(broken, columns, strict=True)):
            for number, words in enumerate(lines):
                y = self.y + (1 + 1.25 * number) * size / MM
                if place in right:
                    self.at(x + width - 2, y, words, size, bold=bold, right=True)
                else:
                    self.at(x, y, words, size, bold=bold)
            x += width
        self.y += max(len(lines) for lines in broken) * 1.25 * size / MM + 0.6

    def symbol(self, tag: Tag, x: float, y: float, side: float) -> None:
        """The number's QR code with its quiet zone within ``side`` mm, top left at (x, y)."""
        payload = payload_for(tag, self.site.settings.payload_style())
        matrix = encode(payload, "M").matrix
        module = side / (len(matrix) + 8)
        self.canvas.setFillColor("#000000")
        path = self.canvas.beginPath()
        for row, line in enumerate(matrix):
            for column, dark in enumerate(line):
                if dark:
                    path.rect(
                        (x + (column + 4) * module) * MM,
                        (self.height - y - (row + 5) * module) * MM,
                        module * MM, module * MM,
                    )  # fmt: skip
        self.canvas.drawPath(path, stroke=0, fill=1)

    def drawing(self, drawing: Any, x: float = 0.0) -> None:
        """A chart (reportlab.graphics), measured in points; moves on below it."""
        from reportlab.graphics import renderPDF

        self.y += drawing.height / MM
        renderPDF.draw(drawing, self.canvas, (MARGIN + x) * MM, (self.height - self.y) * MM)
        self.y += 2

    def box(self, words: str, *, size: float = 8.5, colour: str = STOP) -> None:
        """A framed caution."""
        rows = self.broken(words, size, self.inner - 6)
        tall = len(rows) * size / MM * 1.3 + 4
        self.canvas.setStrokeColor(colour)
        self.canvas.setLineWidth(1)
        self.canvas.rect(
            MARGIN * MM, (self.height - self.y - tall) * MM, self.inner * MM, tall * MM
        )
        top = self.y
        self.y += 1.6
        for row in rows:
            self.at(MARGIN + 3, self.y + size / MM, row, size)
            self.y += size / MM * 1.3
        self.y = top + tall + 2

    def new_page(self) -> None:
        """Goes on overleaf."""
        self.canvas.showPage()
        self.page += 1
        self.y = MARGIN
        self._foot()

    def _foot(self) -> None:
        y = self.height - MARGIN + 3
        rows = self.broken(self.foot, 6.5, self.inner - 20)
        for place, row in enumerate(rows):
            self.at(MARGIN, y - (len(rows) - 1 - place) * 2.8, row, 6.5, colour=GREY)
        self.at(self.width - MARGIN, y, str(self.page), 8, colour=GREY, right=True)

    def save(self, path: Path) -> int:
        """Writes the file, whole or not at all; how many pages."""
        self.canvas.save()
        replace_file(path, self._bytes.getvalue())
        return self.page


def defers(site: Site) -> str:
    """The line that every report ends with."""
    heads = site.record.heads()
    last = max(heads, key=lambda head: head.sequence, default=None)
    seal = f" Record up to {last.epoch} {last.sequence}, {last.hash[:16]}." if last else ""
    return (
        "Figures help trained people and replace no maker's instruction, local code or licensed "
        f"practice, which overrule them. What is not known is said to be unknown.{seal}"
    )
