"""Taking in a delivery: a supplier's sheet becomes assets, tags and labels.

One delivery is one transaction: every good row is in the record, or none is. By default a
single bad row stops it; with ``keep_good`` the good rows are taken and the bad ones are written
to a file in the same form, for mending.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from tagkit.assets.fields import stored_plate
from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind, Tag
from tagkit.errors import Exit, WrongInput
from tagkit.intake.delivery import Delivery, DeliveryRow, Note, Rejected, grouped, read_delivery
from tagkit.intake.rejected import rejected_name, write_rejected
from tagkit.intake.sheet import Sheet, read_sheet
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState
from tagkit.units import DecimalMark


@dataclass(frozen=True)
class Taken:
    """One row that is now an asset; without a tag in a dry run."""

    row: int
    tag: Tag | None
    kind: Kind
    maker_serial: str | None
    fleet_number: str | None

    def to_json(self) -> dict[str, Any]:
        """The contract's object."""
        return {
            "row": self.row,
            "tag": str(self.tag) if self.tag else None,
            "kind": self.kind.noun,
            "maker_serial": self.maker_serial,
            "fleet_number": self.fleet_number,
        }


@dataclass(frozen=True)
class Received:
    """What became of a sheet."""

    delivery: str
    dry_run: bool
    as_stamped: bool
    taken: tuple[Taken, ...]
    rejected: tuple[Rejected, ...]
    warnings: tuple[str, ...] = ()
    """About the sheet, and row by row."""
    told: tuple[str, ...] = ()
    """The same for people: what holds for several rows is said once."""
    ignored: tuple[str, ...] = ()
    mending_file: Path | None = None
    would_take: int = field(default=0)

    def exit_code(self) -> Exit:
        """0 all taken, 14 part taken, 2 nothing taken."""
        if not self.rejected:
            return Exit.DONE
        return Exit.PART_TAKEN if self.taken else Exit.WRONG_INPUT


def receive(
    site: Site,
    path: Path,
    *,
    by: str,
    station: str,
    at: datetime | None = None,
    dry_run: bool = False,
    keep_good: bool = False,
    as_stamped: bool = False,
    kind: Kind | None = None,
    decimal_mark: DecimalMark | None = None,
    worksheet: str | None = None,
    leave_out: Sequence[str] = (),
    mending_file: Path | None = None,
    force: bool = False,
    before_commit: Callable[[tuple[Taken, ...]], None] | None = None,
) -> Received:
    """Read ``path`` and take its rows in.

    ``before_commit`` is called with what would be taken; raising there takes nothing. ``force``
    lets ``mending_file`` be overwritten. ``leave_out``: headers or letters of columns that are not
    to be read, where two state the same.
    ``as_stamped``: the sheet was copied from cases and nameplates of a fleet in use, so that no
    marrying is due. WrongInput when the sheet as a whole can't be read; rows that can't be taken
    are listed in the result.
    """
    delivery = understood(
        site,
        read_sheet(path, worksheet, kind, leave_out),
        as_stamped=as_stamped,
        kind=kind,
        decimal_mark=decimal_mark,
    )
    name = path.name
    stop = bool(delivery.rejected) and not keep_good
    if dry_run or stop or not delivery.rows:
        taken = tuple(_taken(row, None) for row in delivery.rows) if dry_run and not stop else ()
        return _result(delivery, name, dry_run, as_stamped, taken, None)
    rest = None
    if delivery.rejected:
        rest = mending_file or path.with_name(rejected_name(delivery))
        if rest.exists() and rest.samefile(path):
            raise WrongInput(
                f"{rest} is the delivery itself", "Name another file; nothing was taken", "--rest"
            )
        if rest.exists() and not force:
            raise WrongInput(
                f"{rest} is already there from an earlier delivery",
                "Mend and take it in, or move it away; nothing was taken",
            )
        write_rejected(delivery, rest, force=force)
    try:
        taken = take_in(
            site, delivery.rows, name, as_stamped=as_stamped, by=by, station=station, at=at,
            before_commit=before_commit,
        )  # fmt: skip
    except BaseException:
        if rest is not None:
            rest.unlink(missing_ok=True)
        raise
    return _result(delivery, name, dry_run, as_stamped, taken, rest)


def understood(
    site: Site,
    sheet: Sheet,
    *,
    as_stamped: bool = False,
    kind: Kind | None = None,
    decimal_mark: DecimalMark | None = None,
) -> Delivery:
    """The sheet's rows as assets, and what is wrong with the others, against the record too."""

    def known(of_kind: Kind, serial: str) -> str | None:
        state = site.record.by_maker_serial(of_kind, serial)
        return state.tag if state else None

    delivery = read_delivery(
        sheet,
        source=Source.STAMPED if as_stamped else Source.CATALOGUE,
        known_serials=known,
        kind=kind,
        decimal_mark=decimal_mark,
    )
    return _without_known_numbers(site, delivery)


def take_in(
    site: Site,
    rows: Sequence[DeliveryRow],
    name: str,
    *,
    as_stamped: bool,
    by: str,
    station: str,
    at: datetime | None = None,
    before_commit: Callable[[tuple[Taken, ...]], None] | None = None,
) -> tuple[Taken, ...]:
    """All of ``rows`` become assets, in this order of unloading, or none does.

    ``name`` is what the delivery is called in the record.
    """
    taken = []
    with site.record.writing(by=by, station=station, at=at) as writing:
        for order, row in enumerate(rows, start=1):
            # Somebody may have taken it in since the sheet was read.
            other = _in_the_record(site, row)
            if other is not None:
                raise WrongInput(
                    f"{other.maker_serial or other.fleet_number} was taken in as {other.tag} a "
                    "moment ago",
                    "Run it again; nothing was taken",
                    f"row {row.row}",
                )
            tag = writing.issue(row.kind)
            writing.append(
                "registered",
                [tag],
                {
                    "nameplate": stored_plate(row.plate),
                    "delivery": name,
                    "unloading": order,
                    "as_stamped": as_stamped,
                    "row": row.row,
                },
            )
            taken.append(_taken(row, tag))
        if before_commit is not None:
            before_commit(tuple(taken))
    return tuple(taken)


def _in_the_record(site: Site, row: DeliveryRow) -> AssetState | None:
    """The asset that the row states once more, by maker's serial or number in the fleet."""
    serial = row.plate.maker_serial
    known = site.record.by_maker_serial(row.kind, serial.value) if serial else None
    return known or _with_its_number(site, row)


def _with_its_number(site: Site, row: DeliveryRow) -> AssetState | None:
    fleet = getattr(row.plate, "fleet_number", None)
    known = site.record.by_fleet_number(fleet.value, row.kind) if fleet else None
    # The number of a truck that has left may go to the next one.
    return known if known and not known.retired_at else None


def _without_known_numbers(site: Site, delivery: Delivery) -> Delivery:
    """Rows whose own number another asset in service has are sent back for mending."""
    good, bad = [], list(delivery.rejected)
    for row in delivery.rows:
        known = _with_its_number(site, row)
        if known is None:
            good.append(row)
            continue
        column = delivery.sheet.columns.for_kind(row.kind).get("fleet_number")
        number = str(known.fleet_number)
        bad.append(
            Rejected(
                row.row,
                column.shown if column else "",
                number,
                f"a {row.kind.noun} with the number “{number}” is in the record already, as "
                f"{known.tag}",
                "Delete the row, or correct the number",
            )
        )
    bad.sort(key=lambda entry: entry.row)
    return replace(delivery, rows=tuple(good), rejected=tuple(bad))


def _row_notes(row: DeliveryRow) -> list[str]:
    return [f"row {row.row}: {warning}" for warning in row.warnings]


def _note(note: Note) -> str:
    if note.count > 1:
        return f"rows {note.rows}: {note.text}"
    return f"row {note.rows}: {note.text}"


def _taken(row: DeliveryRow, tag: Tag | None) -> Taken:
    serial = row.plate.maker_serial
    fleet = getattr(row.plate, "fleet_number", None)
    return Taken(
        row.row, tag, row.kind, serial.value if serial else None, fleet.value if fleet else None
    )


def _result(
    delivery: Delivery,
    name: str,
    dry_run: bool,
    as_stamped: bool,
    taken: tuple[Taken, ...],
    rest: Path | None,
) -> Received:
    return Received(
        name,
        dry_run,
        as_stamped,
        taken,
        tuple(delivery.rejected),
        (*delivery.warnings, *(note for row in delivery.rows for note in _row_notes(row))),
        (*delivery.warnings, *map(_note, grouped(delivery.rows))),
        tuple(f"row {row}: {why}" for row, why in delivery.ignored),
        rest,
        len(delivery.rows),
    )
