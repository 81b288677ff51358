"""A delivery on its way in, row by row as it was understood."""

from __future__ import annotations

from dataclasses import dataclass

from tagkit.assets.fields import stored_plate
from tagkit.intake.delivery import Delivery, DeliveryRow, Rejected
from tagkit.intake.grid import Row
from tagkit.jobs.draft import Draft, delivery_of
from tagkit.jobs.site import Site
from tagkit.web.views.plates import in_one_line

ROWS_SHOWN = 100


@dataclass(frozen=True)
class GoodRow:
    """An asset as the sheet states it."""

    row: int
    noun: str
    known_as: str
    what: tuple[str, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class CellToMend:
    """One cell of a row that can't be taken in."""

    column: int
    header: str
    text: str
    problems: tuple[Rejected, ...]


@dataclass(frozen=True)
class RowToMend:
    """A row that can't be taken in: its cells, and what is wrong with the row as a whole."""

    row: int
    cells: tuple[CellToMend, ...]
    about_all: tuple[Rejected, ...]


@dataclass(frozen=True)
class DraftPage:
    """Everything on the page of a delivery."""

    draft: Draft
    good: tuple[GoodRow, ...]
    good_in_all: int
    to_mend: tuple[RowToMend, ...]
    warnings: tuple[str, ...]
    ignored: tuple[tuple[int, str], ...]
    asks_mark: bool
    """Whether figures can be read both ways, so that somebody has to say which mark it uses."""

    @property
    def finished(self) -> bool:
        """Whether nothing is left to be taken in."""
        return not self.good_in_all and not self.to_mend


def draft_page(site: Site, draft: Draft, units: str) -> DraftPage:
    """The rows as understood now."""
    delivery = delivery_of(site, draft)
    style = delivery.sheet.style
    return DraftPage(
        draft=draft,
        good=tuple(_good(row, units) for row in delivery.rows[:ROWS_SHOWN]),
        good_in_all=len(delivery.rows),
        to_mend=tuple(_to_mend(delivery, row) for row in delivery.rejected_rows),
        warnings=delivery.warnings,
        ignored=delivery.ignored,
        asks_mark=draft.choices.decimal_mark is not None
        or style.in_conflict
        or any(" can be read as " in one.problem for one in delivery.rejected),
    )


def _good(row: DeliveryRow, units: str) -> GoodRow:
    plate = stored_plate(row.plate)
    names = [
        plate[name]["value"] for name in ("fleet_number", "bay", "maker_serial") if name in plate
    ]
    what = tuple(in_one_line(row.kind, plate, units))
    return GoodRow(row.row, row.kind.noun, " · ".join(map(str, names)), what, row.warnings)


def _to_mend(delivery: Delivery, number: int) -> RowToMend:
    row = next(one for one in delivery.sheet.rows if one.number == number)
    told = [one for one in delivery.rejected if one.row == number]
    headers = {column.index: column.shown for column in delivery.sheet.columns.all}
    cells = tuple(_cell(row, index, header, told) for index, header in sorted(headers.items()))
    placed = {problem for cell in cells for problem in cell.problems}
    return RowToMend(number, cells, tuple(one for one in told if one not in placed))


def _cell(row: Row, index: int, header: str, told: list[Rejected]) -> CellToMend:
    wrong = tuple(one for one in told if one.column == header)
    return CellToMend(index, header, row.cell(index).shown, wrong)
