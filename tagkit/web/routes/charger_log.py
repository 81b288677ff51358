"""A charger's log taken in on a screen: sent, looked at row by row, then recorded."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from tagkit.jobs.charge_import import LogTaken, import_charges
from tagkit.jobs.log_columns import CHARGES, LogHead
from tagkit.jobs.site import Site
from tagkit.site_toml import LOG_UNITS
from tagkit.web.depends import Technician, TheSite
from tagkit.web.log_page import LogShown, answered
from tagkit.web.views.sent_log import SentLog
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
    return _page(request, LogShown(CHARGES))


@router.post("/charger-log")
async def put(request: Request, site: TheSite, person: Technician) -> Response:
    """Look at it; or take it in, once somebody has looked."""
    return await answered(
        request, site, CHARGES,
        lambda sent, head, dry_run: _taken(site, sent, head, person, dry_run=dry_run),
        lambda shown: _page(request, shown),
    )  # fmt: skip


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


def _page(request: Request, shown: LogShown[LogTaken]) -> HTMLResponse:
    return shown.page(request, "charger_log.html", NAMES, outcomes=OUTCOMES)
