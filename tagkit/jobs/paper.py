"""A printed page of a report: head with title and number, text, tables, charts, the foot.

reportlab draws; measures are in millimetres from the top left, so that a page reads as it is
written. Fonts are the labels' own, embedded.
"""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from tagkit.assets.payload import payload_for
from tagkit.assets.tag import Tag, parse_tag
from tagkit.jobs.site import Site
from tagkit.jobs.tables import replace_file
from tagkit.labels.fonts import Weight
from tagkit.language.words import Words
from tagkit.record.printed_heads import heads_to_print
from tagkit.symbol.encode import encode

MM = 72 / 25.4
SIZES = {"metric": (210.0, 297.0), "us": (215.9, 279.4)}
MARGIN = 15.0
INK, GREY, RULE, STOP, CALM = "#1a1a1a", "#555555", "#bbbbbb", "#b00020", "#1f5f8b"

_FOOT_SIZE, _FOOT_ROW, _BELOW = 6.5, 2.8, 4.0
"""The foot's letters in points, its rows in mm, and how far it reaches into the margin."""

WEIGHTS: tuple[Weight, ...] = ("regular", "bold")


_MOST_HEADS = 24
"""A foot has room for so many stations; the tables of a report have all of them."""


class Paper:
    """Pages of one PDF. ``y`` is where the next thing goes, mm from the top."""

    def __init__(self, site: Site, words: Words, title: str) -> None:
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
            self._bytes,
            pagesize=(self.width * MM, self.height * MM),
            pageCompression=1,
            lang=words.language,
        )
        self.canvas.setTitle(title)
        self.canvas.setAuthor(site.settings.site.called)
        self.site, self.words, self.title = site, words, title
        self._pages: list[dict[str, Any]] = []
        self._foot = [row for text in self._at_the_foot() for row in self._foot_rows(text)]
        self.y = MARGIN

    @property
    def page(self) -> int:
        """The number of this page."""
        return len(self._pages) + 1

    def head(self, over: str, title: str, below: str = "", room: float = 0.0) -> None:
        """What a report begins with: whose it is, what it is, and of when. ``room``: left free
        at the right, mm."""
        room, size = self.inner - room, 22.0
        self.text(over, 11, colour=GREY, width=room)
        self.text(title, size, bold=True, width=room)
        if below:
            self.text(below, 9, colour=GREY, width=room)
        self.y += 2

    def head_of_asset(self, over: str, tag: str, at: datetime) -> None:
        """What the sheet of one asset begins with: its QR code at the right, what the sheet is,
        the number, whose it is and of when."""
        side = 30
        self.symbol(parse_tag(tag), self.width - MARGIN - side + 1, MARGIN - 3, side)
        called = self.site.settings.site.called
        self.head(over, tag, f"{called} · {self.words.minute(at)}", room=side + 4)
        self.y = max(self.y, MARGIN + side - 2)

    def head_of_room(self, title: str, below: str) -> None:
        """What a report of the whole room begins with; ``below`` says of when it is."""
        called = self.site.settings.site.called
        self.head(self.words("{site}, battery room", site=called), title, below)

    @property
    def inner(self) -> float:
        """Width between the margins."""
        return self.width - 2 * MARGIN

    @property
    def left(self) -> float:
        """Height that is left above the foot."""
        foot = (len(self._foot) + 1) * _FOOT_ROW + 1.5
        return self.height - MARGIN + _BELOW - foot - self.y

    def text(
        self, words: str, size: float = 9, *, bold: bool = False, x: float = 0.0,
        width: float | None = None, colour: str = INK, gap: float = 1.3,
    ) -> None:  # fmt: skip
        """A paragraph, broken between words; moves on, overleaf where it must."""
        for row in self.broken(words, size, width or self.inner - x, bold):
            if self.left < size / MM * 1.2:
                self.new_page()
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
            for word in self._pieces(paragraph, size, width, bold):
                longer = f"{row} {word}" if row else word
                if row and self.measure(longer, size, bold) > width:
                    rows.append(row)
                    row = word
                else:
                    row = longer
            rows.append(row)
        return rows

    def _pieces(self, paragraph: str, size: float, width: float, bold: bool) -> Iterator[str]:
        """The words; one that is longer than a line is cut."""
        for word in paragraph.split():
            if self.measure(word, size, bold) <= width:
                yield word
                continue
            start, wide = 0, 0.0
            for place, letter in enumerate(word):
                step = self.measure(letter, size, bold)
                if place > start and wide + step > width:
                    yield word[start:place]
                    start, wide = place, 0.0
                wide += step
            yield word[start:]

    def heading(self, words: str, room: float = 25.0) -> None:
        """A section's heading with a rule below; begins a page when little is left."""
        if self.left < room:
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
        size: float = 8, right: Sequence[int] = (), *, to_the_foot: bool = False,
    ) -> int:  # fmt: skip
        """A table; ``widths`` are shares of the width, ``right`` the columns of figures.

        Rows that don't fit go on overleaf, or with ``to_the_foot`` stay away but for the room of
        one line; how many were drawn.
        """
        total = sum(widths)
        columns = [self.inner * width / total for width in widths]
        if self.left < 16 and not to_the_foot:
            self.new_page()
        self._row(headings, columns, size, bold=True, right=right)
        self.rule()
        for drawn, row in enumerate(rows):
            lines = self._lines(row, columns, size, right)
            most = max(len(column) for column in lines)
            tall = most * 1.25 * size / MM + 0.6
            if to_the_foot and self.left < tall + 5:
                return drawn
            if self.left < tall:
                self.new_page()
                self._row(headings, columns, size, bold=True, right=right)
                self.rule()
            # A row that is taller than a page goes on overleaf.
            while most > (room := max(1, int((self.left - 0.6) * MM / size / 1.25))):
                self._draw_row([column[:room] for column in lines], columns, size, right=right)
                self.new_page()
                lines, most = [column[room:] for column in lines], most - room
            self._draw_row(lines, columns, size, right=right)
        return len(rows)

    def _lines(
        self, cells: Sequence[str], columns: Sequence[float], size: float, right: Sequence[int],
        bold: bool = False,
    ) -> list[list[str]]:  # fmt: skip
        """Each cell broken into the lines of its column."""
        return [
            self.broken(cell, size, width - (4 if place in right else 2), bold)
            for place, (cell, width) in enumerate(zip(cells, columns, strict=True))
        ]

    def _row(
        self, cells: Sequence[str], columns: Sequence[float], size: float, *, bold: bool = False,
        right: Sequence[int] = (),
    ) -> None:  # fmt: skip
        lines = self._lines(cells, columns, size, right, bold)
        self._draw_row(lines, columns, size, bold=bold, right=right)

    def _draw_row(
        self, broken: Sequence[Sequence[str]], columns: Sequence[float], size: float, *,
        bold: bool = False, right: Sequence[int] = (),
    ) -> None:  # fmt: skip
        x = MARGIN
        for place, (lines, width) in enumerate(zip(broken, columns, strict=True)):
            for number, words in enumerate(lines):
                y = self.y + (1 + 1.25 * number) * size / MM
                if place in right:
                    self.at(x + width - 4, y, words, size, bold=bold, right=True)
                else:
                    self.at(x, y, words, size, bold=bold)
            x += width
        self.y += max(len(lines) for lines in broken) * 1.25 * size / MM + 0.6

    def figures(self, rows: Sequence[tuple[str, str]], size: float = 8.5) -> None:
        """Names with their figures, in two columns, the figures to the right of each."""
        half = (len(rows) + 1) // 2
        gap = 10.0
        width = (self.inner - gap) / 2
        for place in range(half):
            tall = 0.0
            if self.left < 6:
                self.new_page()
            for column, of in ((0, place), (1, place + half)):
                if of >= len(rows):
                    continue
                name, value = rows[of]
                x = MARGIN + column * (width + gap)
                wide = self.measure(value, size, bold=True)
                lines = self.broken(name, size, max(20.0, width - wide - 3))
                for number, words in enumerate(lines):
                    self.at(x, self.y + (1 + 1.25 * number) * size / MM, words, size)
                self.at(x + width, self.y + size / MM, value, size, bold=True, right=True)
                tall = max(tall, len(lines) * 1.25 * size / MM)
            self.y += tall + 0.8

    def side_by_side(self, rows: Sequence[str], size: float = 8) -> None:
        """Short lines, two beside each other: a little smaller where that keeps them whole, and
        below each other where it does not."""
        width, columns = (self.inner - 6) / 2, 2
        longest = max((self.measure(row, size) for row in rows), default=0)
        if longest > width * 1.15:
            width, columns = self.inner, 1
        elif longest > width:
            size *= width / longest
        for first in range(0, len(rows), columns):
            beside = [self.broken(row, size, width) for row in rows[first : first + columns]]
            if self.left < max(map(len, beside)) * 1.25 * size / MM:
                self.new_page()
            for column, lines in enumerate(beside):
                for number, words in enumerate(lines):
                    y = self.y + (1 + 1.25 * number) * size / MM
                    self.at(MARGIN + column * (width + 6), y, words, size)
            self.y += max(map(len, beside)) * 1.25 * size / MM + 0.3

    def pairs(self, rows: Sequence[tuple[str, str]]) -> None:
        """Names and what is said of them, in two columns."""
        half, top, bottom = (len(rows) + 1) // 2, self.y, self.y
        for place, (name, value) in enumerate(rows):
            column = self.inner / 2 if place >= half else 0.0
            if place == half:
                self.y = top
            start = self.y
            for number, row in enumerate(self.broken(name, 8, 33)):
                self.at(MARGIN + column, start + 3 + 3.4 * number, row, 8, colour=GREY)
                self.y = start + 3.4 * (number + 1) + 0.6
            under, self.y = self.y, start
            self.text(value, 8.5, x=column + 35, width=self.inner / 2 - 38)
            self.y = max(self.y, under) + 0.4
            bottom = max(bottom, self.y)
        self.y = bottom + 1

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
        self._pages.append(dict(self.canvas.__dict__))
        self.canvas._startPage()
        self.y = MARGIN

    def _at_the_foot(self) -> Iterator[str]:
        """What every page ends with: who decides, and what the record held."""
        words, site = self.words, self.site
        yield words(
            "Figures help trained people and replace no maker's instruction, local code or licensed "
            "practice, which overrule them. What is not known is said to be unknown."
        )
        heads = heads_to_print(site.record.heads(), site.record.site)
        if heads:
            shown = ", ".join(map(str, heads[:_MOST_HEADS]))
            yield words("Record up to {heads} (checked by tagkit verify --head)", heads=shown)

    def _foot_rows(self, text: str) -> list[str]:
        return self.broken(text, _FOOT_SIZE, self.inner - 22)

    def _draw_foot(self, page: int, pages: int) -> None:
        y = self.height - MARGIN + _BELOW
        name = self.site.settings.site.called
        running = f"{self.title} · {name}" if page > 1 else ""
        for place, row in enumerate(reversed([running, *self._foot] if running else self._foot)):
            self.at(MARGIN, y - place * _FOOT_ROW, row, _FOOT_SIZE, colour=GREY)
        count = self.words("page {page} of {pages}", page=page, pages=pages)
        self.at(self.width - MARGIN, y, count, 7.5, colour=GREY, right=True)

    def save(self, path: Path) -> int:
        """Writes the file, whole or not at all; how many pages."""
        self._pages.append(dict(self.canvas.__dict__))
        for page, drawn in enumerate(self._pages, 1):
            self.canvas.__dict__.update(drawn)
            self._draw_foot(page, len(self._pages))
            self.canvas.showPage()
        self.canvas.save()
        replace_file(path, self._bytes.getvalue())
        return len(self._pages)
