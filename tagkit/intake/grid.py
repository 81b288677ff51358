"""A worksheet as it was read: rows of cells, before anything is understood."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from tagkit.errors import WrongInput
from tagkit.intake import limits
from tagkit.intake.columns import column_letter


@dataclass(frozen=True)
class Cell:
    """The text of a cell.

    ``number``: the file holds a number, not a text, so its full stop is a decimal point and
    nothing is ambiguous; ``unit`` is what the number format shows behind it. ``problem`` says
    why there is no value where there should be one.
    """

    text: str = ""
    number: bool = False
    unit: str = ""
    problem: str = ""

    @property
    def shown(self) -> str:
        """The cell as a person sees it."""
        return f"{self.text} {self.unit}" if self.unit else self.text

    @property
    def empty(self) -> bool:
        """Whether nothing stands there."""
        return not self.problem and not self.text.strip()


EMPTY = Cell()


@dataclass(frozen=True)
class Row:
    """A row and the number that the spreadsheet shows beside it."""

    number: int
    cells: tuple[Cell, ...]

    def cell(self, index: int) -> Cell:
        """The cell in column ``index``; an empty one beyond the end."""
        return self.cells[index] if index < len(self.cells) else EMPTY

    @property
    def empty(self) -> bool:
        """Whether the whole row is blank."""
        return all(cell.empty for cell in self.cells)

    @property
    def texts(self) -> tuple[str, ...]:
        """The texts of its cells."""
        return tuple(cell.text for cell in self.cells)

    def filled(self) -> Iterator[tuple[int, Cell]]:
        """Column and cell of all that is not empty."""
        return ((index, cell) for index, cell in enumerate(self.cells) if not cell.empty)


@dataclass(frozen=True)
class Form:
    """The form of the file, so that rows can be given back in the same one."""

    family: str  # "csv" | "xlsx"
    delimiter: str = ","
    encoding: str = "utf-8"
    newline: str = "\r\n"


@dataclass(frozen=True)
class Grid:
    """The rows of one worksheet that are not blank."""

    rows: tuple[Row, ...]
    form: Form
    name: str = ""  # of the worksheet
    hidden: bool = False
    notes: tuple[str, ...] = field(default=())


def build_rows(rows: Iterable[tuple[Cell, ...]], where: str) -> tuple[Row, ...]:
    """The rows that are not blank, numbered, with the limits checked while they come in."""
    found: list[Row] = []
    cells = 0
    for number, row in enumerate(rows, 1):
        trimmed = _trimmed(row)
        if trimmed:
            cells += len(trimmed)
            _check_size(number, trimmed, len(found), cells, where)
            found.append(Row(number, trimmed))
    return tuple(found)


def _trimmed(row: tuple[Cell, ...]) -> tuple[Cell, ...]:
    end = len(row)
    while end and row[end - 1].empty:
        end -= 1
    return row[:end]


def _check_size(number: int, row: tuple[Cell, ...], rows: int, cells: int, where: str) -> None:
    if rows >= limits.ROWS:
        raise WrongInput(
            f"the sheet has more than {limits.ROWS:,} rows", "Split it into smaller ones", where
        )
    if len(row) > limits.COLUMNS:
        raise WrongInput(
            f"the row reaches column {column_letter(len(row) - 1)}; at most {limits.COLUMNS} "
            "columns are read",
            "Delete what lies beyond the table",
            f"{where}, row {number}",
        )
    if cells > limits.CELLS:
        raise WrongInput(
            f"the sheet has more than {limits.CELLS:,} cells", "Split it into smaller ones", where
        )
    for index, cell in enumerate(row):
        if len(cell.text) > limits.CELL_CHARACTERS:
            raise WrongInput(
                f"the cell holds {len(cell.text):,} characters; a quotation mark may be missing",
                "Check the cell",
                f"{where}, row {number}, column {column_letter(index)}",
            )
