"""A delivery on its way in, row by row as it was understood."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from itertools import islice

from tagkit.assets.fields import stored_plate
from tagkit.assets.tag import Kind
from tagkit.intake.columns import Clash, Column
from tagkit.intake.delivery import Delivery, DeliveryRow, Note, Rejected, grouped
from tagkit.intake.grid import Row
from tagkit.intake.meanings import label_of
from tagkit.jobs.draft import Draft, delivery_of
from tagkit.jobs.site import Site
from tagkit.web.views.plates import in_one_line

ROWS_SHOWN = 100
MENDED_AT_ONCE = 20
LEFT_OUT_SHOWN = 20


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
class ColumnSeen:
    """A column: its header, and what it is taken to state; nothing where it is not read."""

    index: int
    letter: str
    header: str
    states: tuple[str, ...]
    unit: str
    passed_over: bool
    left_out: bool
    """Passed over because somebody said so."""
    problem: str


@dataclass(frozen=True)
class Claimed:
    """What several columns state, and those columns with the first of what stands in them."""

    label: str
    among: str
    columns: tuple[tuple[Column, tuple[str, ...]], ...]


@dataclass(frozen=True)
class DraftPage:
    """Everything on the page of a delivery."""

    draft: Draft
    good: tuple[GoodRow, ...]
    good_in_all: int
    to_mend: tuple[RowToMend, ...]
    to_mend_in_all: int
    columns: tuple[ColumnSeen, ...]
    clashes: tuple[Claimed, ...]
    """While there is one, nothing is taken in."""
    warnings: tuple[str, ...]
    notes: tuple[Note, ...]
    """About rows that are good; of several that have the same, once."""
    ignored: tuple[tuple[int, str], ...]
    asks_mark: bool
    """Whether figures can be read both ways, so that somebody has to say which mark it uses."""

    @property
    def finished(self) -> bool:
        """Whether nothing is left to be taken in."""
        return not self.good_in_all and not self.to_mend_in_all

    @property
    def not_read(self) -> int:
        """How many headed columns say nothing that is understood."""
        return sum(1 for one in self.columns if not one.states and not one.passed_over)


def draft_page(site: Site, draft: Draft, units: str) -> DraftPage:
    """The rows as understood now."""
    delivery = delivery_of(site, draft)
    style = delivery.sheet.style
    return DraftPage(
        draft=draft,
        good=tuple(_good(row, units) for row in delivery.rows[:ROWS_SHOWN]),
        good_in_all=len(delivery.rows),
        to_mend=_to_mend(delivery, delivery.rejected_rows[:MENDED_AT_ONCE]),
        to_mend_in_all=len(delivery.rejected_rows),
        columns=_columns(delivery),
        clashes=tuple(_claimed(delivery, clash) for clash in delivery.clashes),
        warnings=delivery.warnings,
        notes=grouped(delivery.rows),
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


def _columns(delivery: Delivery) -> tuple[ColumnSeen, ...]:
    kinds = {row.kind for row in delivery.rows} or delivery.sheet.columns.kinds
    return tuple(
        ColumnSeen(
            column.index,
            column.letter,
            column.header,
            _states(column, kinds or {Kind.BATTERY}),
            column.unit or "",
            column.passed_over,
            column.left_out,
            column.problem,
        )
        for column in delivery.sheet.columns.all
        if column.header
    )


_SAMPLES = 3


def _claimed(delivery: Delivery, clash: Clash) -> Claimed:
    def samples(column: Column) -> tuple[str, ...]:
        cells = (row.cell(column.index).shown.strip() for row in delivery.sheet.rows)
        return tuple(islice((text for text in cells if text), _SAMPLES))

    return Claimed(
        clash.label,
        ",".join(str(column.index) for column in clash.columns),
        tuple((column, samples(column)) for column in clash.columns),
    )


def _states(column: Column, kinds: Collection[Kind]) -> tuple[str, ...]:
    if column.passed_over:
        return ()
    of_kinds = {kind: name for kind, name in column.meanings.items() if kind in kinds}
    labels = (label_of(kind, name) for kind, name in (of_kinds or column.meanings).items())
    return tuple(dict.fromkeys(labels))


def _to_mend(delivery: Delivery, numbers: Sequence[int]) -> tuple[RowToMend, ...]:
    told: dict[int, list[Rejected]] = {number: [] for number in numbers}
    for one in delivery.rejected:
        if one.row in told:
            told[one.row].append(one)
    columns = [one for one in delivery.sheet.columns.all if not one.passed_over]
    return tuple(
        _row_to_mend(row, columns, told[row.number])
        for row in delivery.sheet.rows
        if row.number in told
    )


def _row_to_mend(row: Row, columns: Sequence[Column], told: list[Rejected]) -> RowToMend:
    cells = tuple(_cell(row, column.index, column.shown, told) for column in columns)
    placed = {problem for cell in cells for problem in cell.problems}
    return RowToMend(row.number, cells, tuple(one for one in told if one not in placed))


def _cell(row: Row, index: int, header: str, told: list[Rejected]) -> CellToMend:
    wrong = tuple(one for one in told if one.column == header)
    return CellToMend(index, header, row.cell(index).shown, wrong)
