"""Delivery day: a sheet is sent, looked at, mended in place and taken in."""

from __future__ import annotations

import re
from typing import Annotated

from fastapi import APIRouter, Form, Request, UploadFile
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tagkit.assets.tag import Kind
from tagkit.errors import TagkitError, WrongInput
from tagkit.intake import limits
from tagkit.jobs.assets import kind_named
from tagkit.jobs.draft import (
    Choices,
    Draft,
    begin_draft,
    choose,
    draft_named,
    drafts,
    head,
    leave_columns,
    leave_out,
    leave_out_the_rest,
    mend,
    put_back,
    take_draft,
    throw_away,
)
from tagkit.jobs.site import Site
from tagkit.units import DecimalMark
from tagkit.web.access.once import once
from tagkit.web.depends import Technician, TheSite, TheVisitor
from tagkit.web.render import page
from tagkit.web.views.delivery import LEFT_OUT_SHOWN, ROWS_SHOWN, draft_page

router = APIRouter()

KINDS = (Kind.BATTERY, Kind.TRUCK, Kind.CHARGER, Kind.LIFTING)
_CELL = re.compile(r"cell-[0-9]{1,4}")
_HEADING = re.compile(r"heading-[0-9]{1,4}")
_INDEX = re.compile(r"[0-9]{1,4}", re.ASCII)
MARKS: dict[str, DecimalMark] = {"comma": "comma", "point": "point"}


@router.get("/delivery", response_class=HTMLResponse)
def start(request: Request, site: TheSite, _visitor: TheVisitor) -> HTMLResponse:
    """Where a sheet is dropped, and the deliveries that are not finished."""
    return _start_page(request, site)


@router.post("/delivery")
def send(
    request: Request,
    site: TheSite,
    person: Technician,
    sheet: UploadFile,
    as_stamped: Annotated[str, Form()] = "",
    kind: Annotated[str, Form()] = "",
    worksheet: Annotated[str, Form()] = "",
) -> Response:
    """Keep the sheet, and show what is understood."""

    def act() -> Response:
        if not sheet.filename:
            raise WrongInput("no sheet was chosen", "Choose a CSV or XLSX file")
        data = sheet.file.read(limits.FILE_BYTES + 1)
        choices = _choices(as_stamped, kind, "", worksheet)
        draft = begin_draft(site, data, sheet.filename, choices, by=str(person.person))
        return RedirectResponse(f"/delivery/{draft.id}", 303)

    try:
        return once(request, act)
    except WrongInput as error:
        return _start_page(request, site, error)


@router.get("/delivery/{identity}", response_class=HTMLResponse)
def show(request: Request, identity: str, site: TheSite, visitor: TheVisitor) -> HTMLResponse:
    """The rows as understood."""
    return _draft_page(request, site, draft_named(site, identity), visitor.units)


@router.post("/delivery/{identity}/choices")
def say(
    identity: str,
    site: TheSite,
    _person: Technician,
    as_stamped: Annotated[str, Form()] = "",
    kind: Annotated[str, Form()] = "",
    decimal_mark: Annotated[str, Form()] = "",
    worksheet: Annotated[str, Form()] = "",
) -> Response:
    """What the sheet itself does not say."""
    draft = draft_named(site, identity)
    choose(site, draft, _choices(as_stamped, kind, decimal_mark, worksheet))
    return RedirectResponse(f"/delivery/{identity}", 303)


@router.post("/delivery/{identity}/rows/{row}")
async def write(
    request: Request, identity: str, row: int, site: TheSite, _person: Technician
) -> Response:
    """Mend the cells of a row; the fields of the form are called after the columns."""
    written = {
        int(name.removeprefix("cell-")): str(text)
        for name, text in (await request.form()).items()
        if _CELL.fullmatch(name)
    }

    def act() -> None:
        mend(site, draft_named(site, identity), row, written)

    await run_in_threadpool(act)
    return RedirectResponse(f"/delivery/{identity}#row-{row}", 303)


@router.post("/delivery/{identity}/headings")
async def name_columns(
    request: Request, identity: str, site: TheSite, _person: Technician
) -> Response:
    """Other headers; the fields of the form are called after the columns."""
    written = {
        int(name.removeprefix("heading-")): str(text)
        for name, text in (await request.form()).items()
        if _HEADING.fullmatch(name)
    }

    def act() -> None:
        head(site, draft_named(site, identity), written)

    await run_in_threadpool(act)
    return RedirectResponse(f"/delivery/{identity}", 303)


@router.post("/delivery/{identity}/counts")
def say_which_counts(
    identity: str,
    site: TheSite,
    _person: Technician,
    among: Annotated[str, Form()],
    counts: Annotated[str, Form()] = "",
) -> Response:
    """Of columns that state the same, the one that is read; none: neither of them."""
    claimed = {int(one) for one in among.split(",") if _INDEX.fullmatch(one)}
    chosen = {int(counts)} if _INDEX.fullmatch(counts) else set()
    leave_columns(site, draft_named(site, identity), claimed - chosen, claimed & chosen)
    return RedirectResponse(f"/delivery/{identity}", 303)


@router.post("/delivery/{identity}/columns/{column}/back")
def read_column(identity: str, column: int, site: TheSite, _person: Technician) -> Response:
    """A column that was passed over counts again."""
    leave_columns(site, draft_named(site, identity), (), (column,))
    return RedirectResponse(f"/delivery/{identity}", 303)


@router.post("/delivery/{identity}/leave-rest")
def leave_rest(identity: str, site: TheSite, _person: Technician) -> Response:
    """Pass over every row that is still to be mended."""
    leave_out_the_rest(site, draft_named(site, identity))
    return RedirectResponse(f"/delivery/{identity}", 303)


@router.post("/delivery/{identity}/back")
def all_back(identity: str, site: TheSite, _person: Technician) -> Response:
    """All rows that were passed over count again."""
    put_back(site, draft_named(site, identity))
    return RedirectResponse(f"/delivery/{identity}", 303)


@router.post("/delivery/{identity}/rows/{row}/leave")
def leave(identity: str, row: int, site: TheSite, _person: Technician) -> Response:
    """Pass a row over."""
    leave_out(site, draft_named(site, identity), row)
    return RedirectResponse(f"/delivery/{identity}", 303)


@router.post("/delivery/{identity}/rows/{row}/back")
def back(identity: str, row: int, site: TheSite, _person: Technician) -> Response:
    """A row that was passed over counts again."""
    put_back(site, draft_named(site, identity), row)
    return RedirectResponse(f"/delivery/{identity}", 303)


@router.post("/delivery/{identity}/take")
def take(request: Request, identity: str, site: TheSite, person: Technician) -> Response:
    """The good rows become assets with numbers."""

    def act() -> Response:
        draft = draft_named(site, identity)
        take_draft(site, draft, by=str(person.person), station=person.station)
        return RedirectResponse(f"/delivery/{identity}", 303)

    return once(request, act)


@router.post("/delivery/{identity}/throw-away")
def forget(identity: str, site: TheSite, _person: Technician) -> Response:
    """The sheet is not needed any more."""
    throw_away(site, draft_named(site, identity))
    return RedirectResponse("/delivery", 303)


def _choices(as_stamped: str, kind: str, decimal_mark: str, worksheet: str) -> Choices:
    return Choices(
        as_stamped == "yes",
        kind_named(kind) if kind else None,
        MARKS.get(decimal_mark),
        worksheet.strip() or None,
    )


def _start_page(request: Request, site: Site, error: TagkitError | None = None) -> HTMLResponse:
    values = {
        "drafts": drafts(site),
        "error": error,
        "kinds": KINDS,
        "largest": limits.FILE_BYTES,
    }
    return page(request, "delivery.html", values, 422 if error else 200)


def _draft_page(request: Request, site: Site, draft: Draft, units: str) -> HTMLResponse:
    values = {
        "it": draft_page(site, draft, units),
        "kinds": KINDS,
        "rows_shown": ROWS_SHOWN,
        "left_out_shown": LEFT_OUT_SHOWN,
    }
    return page(request, "delivery_draft.html", values)
