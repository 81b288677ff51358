"""What a template says, checked or not; all lengths in mm."""

from __future__ import annotations

from dataclasses import dataclass

from tagkit.assets.card import CardKind
from tagkit.assets.tag import Kind
from tagkit.labels.drawing import Box
from tagkit.labels.reading import Reading
from tagkit.symbol.tables import Level, size_of

Purpose = Kind | CardKind
FIGURES = ("voltage", "weight", "capacity", "chemistry", "connector", "rated load", "reason")
QUIET = 4  # modules of light around the symbol (ISO/IEC 18004, clause 9.1)
FRAME_LINE = 2  # modules: thickness of the printed frame around the quiet zone
SMALLEST_LETTERS = 1.0  # mm height of capitals
MM_PER_INCH = 25.4


@dataclass(frozen=True)
class Stock:
    """The material: a sheet with rows and columns of labels, or a roll with one at a time."""

    page: tuple[float, float]
    label: tuple[float, float]
    columns: int
    rows: int
    first: tuple[float, float]
    pitch: tuple[float, float]
    margin: float  # nothing is printed nearer to the edge of the label face
    liner_right: float  # mm of liner beside the label face that may be printed on
    liner_bottom: float


@dataclass(frozen=True)
class SymbolPlan:
    """Where symbols stand and how large they may be; ``size`` is the frame's outer edge."""

    at: tuple[tuple[float, float], ...]
    size: float
    level: Level
    version: int | None

    def modules_across(self, version: int) -> int:
        """From the outer edge of the frame to the other, in modules."""
        return size_of(version) + 2 * (QUIET + FRAME_LINE)


@dataclass(frozen=True)
class Element:
    """Something the label shows, and the box it has to stay in."""

    show: str
    box: Box
    smallest: float  # height of capital letters, mm
    largest: float
    align: str
    columns: int
    signs: tuple[str, ...]  # empty: those of the kind of asset


@dataclass(frozen=True, eq=False)
class Template:
    """A checked template. Two of them are the same only when they are one object."""

    name: str
    description: str
    kinds: tuple[Purpose, ...]
    languages: tuple[str, ...]
    stock: Stock
    dpi: int
    symbol: SymbolPlan
    reading: Reading
    elements: tuple[Element, ...]
    where: str  # the file, for messages

    @property
    def dot(self) -> float:
        """The size of a printer dot in mm."""
        return MM_PER_INCH / self.dpi

    @property
    def face(self) -> Box:
        """The label face, its top left corner the origin."""
        return Box(0.0, 0.0, *self.stock.label)

    @property
    def labels_on_page(self) -> int:
        """How many labels a page carries."""
        return self.stock.columns * self.stock.rows

    def place(self, index: int) -> tuple[int, float, float]:
        """(page, left, top) of the label with this number, on whole printer dots."""
        page, slot = divmod(index, self.labels_on_page)
        row, column = divmod(slot, self.stock.columns)
        left = self.stock.first[0] + column * self.stock.pitch[0]
        top = self.stock.first[1] + row * self.stock.pitch[1]
        return page, self.on_dots(left), self.on_dots(top)

    def on_dots(self, length: float) -> float:
        """The length in mm, rounded to whole printer dots."""
        return round(length / self.dot) * self.dot
