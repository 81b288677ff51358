"""A delivery on its way in: the sheet as it was sent, and what people mended in it.

A draft lies in the site's folder until it is taken in or thrown away, so that a page that is
closed, or a computer that goes off, loses nothing. The record knows nothing of it.
"""

from __future__ import annotations

import json
import re
import secrets
import shutil
import threading
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.errors import Busy, NotFound, WrongInput
from tagkit.intake.delivery import Delivery
from tagkit.intake.sheet import Sheet, mended, sheet_from_bytes
from tagkit.jobs.receive import Taken, take_in, understood
from tagkit.jobs.site import Site
from tagkit.units import DecimalMark
from tagkit.whole_file import whole_file

FOLDER = "deliveries"
LONGEST_CELL = 500
_ID = re.compile(r"[0-9a-f]{16}")
_ONE_AT_A_TIME = threading.RLock()


@dataclass(frozen=True)
class Choices:
    """What the sheet itself does not say."""

    as_stamped: bool = False
    kind: Kind | None = None
    decimal_mark: DecimalMark | None = None
    worksheet: str | None = None


@dataclass(frozen=True)
class Draft:
    """``written``: mended cells by row number and column index; ``left_out``: rows passed over;
    ``taken``: row number -> the number it was taken in under; ``headings``: other headers, by
    column index; ``without``: columns that are not read."""

    id: str
    name: str
    by: str
    begun_at: str
    choices: Choices = Choices()
    written: Mapping[tuple[int, int], str] = field(default_factory=dict)
    left_out: tuple[int, ...] = ()
    taken: Mapping[int, str] = field(default_factory=dict)
    headings: Mapping[int, str] = field(default_factory=dict)
    without: tuple[int, ...] = ()


def begin_draft(site: Site, data: bytes, name: str, choices: Choices, *, by: str) -> Draft:
    """Keeps a sheet that was sent; WrongInput when it can't be read at all."""
    name = Path(name.replace("\\", "/")).name[:120] or "delivery"
    sheet_from_bytes(data, name, choices.worksheet, choices.kind, asks=True)
    draft = Draft(secrets.token_hex(8), name, by, site.now().isoformat(), choices)
    folder = _folder(site, draft.id)
    with _room_on_the_disk():
        folder.mkdir(parents=True)
        (folder / "sheet").write_bytes(data)
    _keep(site, draft)
    return draft


def drafts(site: Site) -> list[Draft]:
    """Those that are not finished, the newest first."""
    folder = site.directory / FOLDER
    names = [path.name for path in folder.iterdir()] if folder.is_dir() else []
    found = [draft_named(site, name) for name in names if (folder / name / "draft.json").is_file()]
    return sorted(found, key=lambda draft: draft.begun_at, reverse=True)


def draft_named(site: Site, identity: str) -> Draft:
    """The draft with this id; NotFound when it was thrown away."""
    path = _folder(site, identity) / "draft.json"
    if not path.is_file():
        raise NotFound("there is no such delivery", "Send its sheet again")
    return _from_json(json.loads(path.read_text(encoding="utf-8")))


def sheet_of(site: Site, draft: Draft) -> Sheet:
    """The sheet as mended, without the rows that are left out or taken in already."""
    data = (_folder(site, draft.id) / "sheet").read_bytes()
    chosen = draft.choices
    sheet = sheet_from_bytes(
        data, draft.name, chosen.worksheet, chosen.kind, draft.headings, draft.without, asks=True
    )
    return mended(sheet, draft.written, {*draft.left_out, *draft.taken})


def delivery_of(site: Site, draft: Draft) -> Delivery:
    """What would be taken in now, and what is still to be mended."""
    chosen = draft.choices
    return understood(
        site, sheet_of(site, draft), as_stamped=chosen.as_stamped, kind=chosen.kind,
        decimal_mark=chosen.decimal_mark,
    )  # fmt: skip


def mend(site: Site, draft: Draft, row: int, written: Mapping[int, str]) -> Draft:
    """Other texts for cells of a row, by column index from 0. Only those that differ are kept."""
    with _latest(site, draft) as now:
        return _mend(site, now, row, written)


def _mend(site: Site, draft: Draft, row: int, written: Mapping[int, str]) -> Draft:
    sheet = sheet_of(site, draft)
    there = next((one for one in sheet.rows if one.number == row), None)
    if there is None:
        raise NotFound(f"row {row} is not in this delivery any more", "Look at the page again")
    cells = {
        (row, column): text.strip()
        for column, text in written.items()
        if 0 <= column < max(len(sheet.header.cells), len(there.cells))
        and text.strip() != there.cell(column).shown.strip()
    }
    if any(len(text) > LONGEST_CELL for text in cells.values()):
        raise WrongInput(
            f"a cell holds {LONGEST_CELL} characters at most", "Shorten it", f"row {row}"
        )
    return _keep(site, replace(draft, written={**draft.written, **cells}))


def leave_out(site: Site, draft: Draft, row: int) -> Draft:
    """This row is not taken in."""
    with _latest(site, draft) as now:
        return _keep(site, replace(now, left_out=tuple(sorted({*now.left_out, row}))))


def leave_out_the_rest(site: Site, draft: Draft) -> Draft:
    """None of the rows that are still to be mended is taken in."""
    with _latest(site, draft) as now:
        rest = delivery_of(site, now).rejected_rows
        return _keep(site, replace(now, left_out=tuple(sorted({*now.left_out, *rest}))))


def put_back(site: Site, draft: Draft, row: int | None = None) -> Draft:
    """A row that was left out counts again; without ``row`` all of them do."""
    with _latest(site, draft) as now:
        kept = tuple(n for n in now.left_out if row is not None and n != row)
        return _keep(site, replace(now, left_out=kept))


def head(site: Site, draft: Draft, headings: Mapping[int, str]) -> Draft:
    """Other headers for columns, by index from 0; WrongInput where they can't be read so."""
    with _latest(site, draft) as now:
        cells = sheet_of(site, now).header.cells
        if any(len(text) > LONGEST_CELL for text in headings.values()):
            raise WrongInput(f"a cell holds {LONGEST_CELL} characters at most", "Shorten it")
        other = {
            index: text.strip()
            for index, text in headings.items()
            if 0 <= index < len(cells) and text.strip() != cells[index].shown.strip()
        }
        changed = replace(now, headings={**now.headings, **other})
        sheet_of(site, changed)
        return _keep(site, changed)


def leave_columns(
    site: Site, draft: Draft, without: Collection[int], back: Collection[int] = ()
) -> Draft:
    """These columns, by index from 0, are not read; those of ``back`` are read again."""
    with _latest(site, draft) as now:
        width = len(sheet_of(site, now).header.cells)
        left = {*now.without, *without} - set(back)
        kept = tuple(sorted(index for index in left if 0 <= index < width))
        return _keep(site, replace(now, without=kept))


def choose(site: Site, draft: Draft, choices: Choices) -> Draft:
    """Say what the sheet does not."""
    with _latest(site, draft) as now:
        changed = replace(now, choices=choices)
        sheet_of(site, changed)
        return _keep(site, changed)


def take_draft(
    site: Site, draft: Draft, *, by: str, station: str
) -> tuple[Draft, tuple[Taken, ...]]:
    """All rows that can be taken in are; the others stay in the draft.

    Should the computer go off between the record and the draft, the rows are in the record, and
    the draft says of each that it is there already.
    """
    with _latest(site, draft) as now:
        delivery = delivery_of(site, now)
        if delivery.clashes:
            raise WrongInput(
                "several columns state the same, and nobody has said which counts",
                "Choose the column first; nothing was taken",
            )
        if not delivery.rows:
            raise WrongInput("no row can be taken in", "Mend the rows first")
        taken = take_in(
            site, delivery.rows, now.name, as_stamped=now.choices.as_stamped, by=by,
            station=station,
        )  # fmt: skip
        numbers = {one.row: str(one.tag) for one in taken}
        return _keep(site, replace(now, taken={**now.taken, **numbers})), taken


def throw_away(site: Site, draft: Draft) -> None:
    """Forget the sheet; what was taken in stays in the record."""
    with _ONE_AT_A_TIME:
        shutil.rmtree(_folder(site, draft.id), ignore_errors=True)


@contextmanager
def _latest(site: Site, draft: Draft) -> Iterator[Draft]:
    """The draft as it lies there now, for one person at a time: two who mend it at once do not
    undo each other's work."""
    with _ONE_AT_A_TIME:
        yield draft_named(site, draft.id)


def _folder(site: Site, identity: str) -> Path:
    if not _ID.fullmatch(identity):
        raise NotFound("there is no such delivery", "Send its sheet again")
    return site.directory / FOLDER / identity


def _keep(site: Site, draft: Draft) -> Draft:
    path = _folder(site, draft.id) / "draft.json"
    text = json.dumps(_to_json(draft), ensure_ascii=False)
    with _room_on_the_disk(), whole_file(path) as part:
        part.write_text(text, encoding="utf-8")
    return draft


@contextmanager
def _room_on_the_disk() -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise Busy(
            f"the delivery can't be kept: {error.strerror or error}",
            "Make room on the disk of the computer that serves, then repeat the last step",
        ) from error


def _to_json(draft: Draft) -> dict[str, Any]:
    chosen = draft.choices
    return {
        "id": draft.id,
        "name": draft.name,
        "by": draft.by,
        "begun_at": draft.begun_at,
        "as_stamped": chosen.as_stamped,
        "kind": chosen.kind.value if chosen.kind else None,
        "decimal_mark": chosen.decimal_mark,
        "worksheet": chosen.worksheet,
        "written": [[row, column, text] for (row, column), text in draft.written.items()],
        "left_out": list(draft.left_out),
        "taken": {str(row): tag for row, tag in draft.taken.items()},
        "headings": {str(index): text for index, text in draft.headings.items()},
        "without": list(draft.without),
    }


def _from_json(kept: dict[str, Any]) -> Draft:
    return Draft(
        kept["id"],
        kept["name"],
        kept["by"],
        datetime.fromisoformat(kept["begun_at"]).isoformat(),
        Choices(
            kept["as_stamped"],
            Kind(kept["kind"]) if kept["kind"] else None,
            kept["decimal_mark"],
            kept["worksheet"],
        ),
        {(row, column): text for row, column, text in kept["written"]},
        tuple(kept["left_out"]),
        {int(row): tag for row, tag in kept["taken"].items()},
        {int(index): text for index, text in kept.get("headings", {}).items()},
        tuple(kept.get("without", ())),
    )
