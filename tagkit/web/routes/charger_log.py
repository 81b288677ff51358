"""A charger's log taken in on a screen: sent, looked at row by row, then recorded."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response

from tagkit.errors import TagkitError, WrongInput
from tagkit.jobs.charge_import import LogTaken, import_charges
from tagkit.jobs.log_columns import CHARGES, LogHead
from tagkit.jobs.log_file import look_at
from tagkit.jobs.site import Site
from tagkit.site_toml import LOG_UNITS
from tagkit.web.access.once import once
from tagkit.web.depends import Technician, TheSite
from tagkit.web.render import page
from tagkit.web.views.sent_log import SentLog, checked_log, sent_log
from tagkit.web.visitor import Visitor

router = APIRouter()

NAMES = {
    "battery": "Battery", "charger": "Charger", "started": "Charge began",
    "ended": "Charge ended", "ah": "Ampere-hours that the charger counted",
    "start_temperature": "Temperature at start", "highest_temperature": "Highest temperature",
    "end_temperature": "Temperature at the end", "kind": "Kind of charge",
}  # fmt: skip
OUTCOMES = {
    "logged": ("go", "It is new"), "completed": ("go", "It completes a scan"),
    "here already": ("off", "Here already"), "refused": ("stop", "It is refused"),
}  # fmt: skip
"""Of a row: the role of its mark, and its word."""


@router.get("/charger-log", response_class=HTMLResponse)
def ask(request: Request, _person: Technician) -> HTMLResponse:
    """Which file."""
    return _page(request, None)


@router.post("/charger-log")
async def put(request: Request, site: TheSite, person: Technician) -> Response:
    """Look at it; or take it in, once somebody has looked."""
    came = await sent_log(request)

    def answer() -> Response:
        try:
            sent = checked_log(*came)
        except WrongInput as error:
            return _page(request, None, error=error)
        head = None
        try:
            head = sent.as_file(lambda path: look_at(site, path, CHARGES))
            if not sent.to_take:
                return _page(request, sent, head, _taken(site, sent, head, person, dry_run=True))
            return once(
                request,
                lambda: _page(request, None, None, _taken(site, sent, head, person, dry_run=False)),
            )
        except TagkitError as error:
            return _page(request, sent, head, error=error)

    return await run_in_threadpool(answer)


def _taken(
    site: Site, sent: SentLog, head: LogHead | None, person: Visitor, *, dry_run: bool
) -> LogTaken:
    known = head.known if head else None
    columns = {} if known else sent.columns(CHARGES.columns)
    return sent.as_file(
        lambda path: import_charges(
            site, path, columns, known or sent.given.get("as") or None,
            temperature_unit=sent.chosen("degrees", LOG_UNITS),
            by=str(person.person), station=person.station, dry_run=dry_run,
            keep_good=sent.good_alone, called=sent.name,
        )
    )  # fmt: skip


def _page(
    request: Request,
    sent: SentLog | None,
    head: LogHead | None = None,
    taken: LogTaken | None = None,
    error: TagkitError | None = None,
) -> HTMLResponse:
    said = sent.columns(CHARGES.columns) if sent else {}
    values = {
        "sent": sent, "head": head, "taken": taken, "error": error, "names": NAMES,
        "needed": CHARGES.needed, "units": LOG_UNITS, "outcomes": OUTCOMES,
        "given": sent.given if sent else {}, "columns": {**(head.columns if head else {}), **said},
        "missing": error is not None and error.where == "--column",
    }  # fmt: skip
    return page(request, "charger_log.html", values, 422 if error else 200)
