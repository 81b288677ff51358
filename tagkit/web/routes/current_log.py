"""The current of a charge taken in on a screen: its log sent, its curve looked at, then recorded."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from tagkit.jobs.charge import CHARGE_KINDS
from tagkit.jobs.current_log import CurrentCharge, CurrentTaken, import_current
from tagkit.jobs.log_columns import CURRENT, LogHead
from tagkit.jobs.log_file import moment_in
from tagkit.jobs.site import Site
from tagkit.site_toml import LOG_UNITS, TIME_UNITS
from tagkit.web.depends import Technician, TheSite
from tagkit.web.log_page import LogShown, answered
from tagkit.web.views.curves import Curve, curve_of
from tagkit.web.views.sent_log import SentLog
from tagkit.web.visitor import Visitor

router = APIRouter()

NAMES = {
    "time": "Time, or time since the start", "current": "Current", "battery": "Battery",
    "charger": "Charger", "temperature": "Temperature",
}  # fmt: skip
OUTCOMES = {
    "logged": ("go", "It is new"), "completed": ("go", "It completes a scan"),
    "ended": ("go", "It ends the charge that is under way"), "here already": ("off", "Here already"),
}  # fmt: skip
"""Of a charge: the role of its mark, and its word."""


@dataclass(frozen=True)
class _Drawn:
    """A charge of the log with its curve."""

    it: CurrentCharge
    curve: Curve


@router.get("/current-log", response_class=HTMLResponse)
def ask(request: Request, _person: Technician, battery: str = "") -> HTMLResponse:
    """Which file, and of which battery."""
    return _page(request, LogShown(CURRENT, {"battery": battery}))


@router.post("/current-log")
async def put(request: Request, site: TheSite, person: Technician) -> Response:
    """Look at it; or take it in, once somebody has looked."""
    return await answered(
        request, site, CURRENT,
        lambda sent, head, dry_run: _taken(site, sent, head, person, dry_run=dry_run),
        lambda shown: _page(request, shown),
    )  # fmt: skip


def _taken(
    site: Site, sent: SentLog, head: LogHead | None, person: Visitor, *, dry_run: bool
) -> CurrentTaken:
    known = head.known if head else None
    given = sent.given
    began: datetime | None = None
    if text := given.get("began", "").strip():
        began = moment_in(site, text.replace("T", " "), "began")
    columns = {} if known else sent.columns(CURRENT.columns)
    return sent.as_file(
        lambda path: import_current(
            site, path, columns, known or given.get("as") or None,
            battery=given.get("battery", "").strip() or None,
            charger=given.get("charger", "").strip() or None,
            began=began, charge_kind=sent.chosen("kind", CHARGE_KINDS) or "conventional",
            time_unit=sent.chosen("times", TIME_UNITS),
            temperature_unit=sent.chosen("degrees", LOG_UNITS),
            by=str(person.person), station=person.station, dry_run=dry_run, called=sent.name,
        )
    )  # fmt: skip


def _page(request: Request, shown: LogShown[CurrentTaken]) -> HTMLResponse:
    return shown.page(
        request, "current_log.html", NAMES, times=TIME_UNITS, charge_kinds=CHARGE_KINDS,
        outcomes=OUTCOMES,
        curves=[_Drawn(one, curve_of(one.curve)) for one in shown.taken.charges] if shown.taken else [],
    )  # fmt: skip
