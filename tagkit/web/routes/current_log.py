"""The current of a charge taken in on a screen: its log sent, its curve looked at, then recorded."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, Response

from tagkit.errors import TagkitError, WrongInput
from tagkit.jobs.charge import CHARGE_KINDS
from tagkit.jobs.current_log import CurrentCharge, CurrentTaken, import_current
from tagkit.jobs.log_columns import CURRENT, LogHead
from tagkit.jobs.log_file import look_at, moment_in
from tagkit.jobs.site import Site
from tagkit.site_toml import LOG_UNITS, TIME_UNITS
from tagkit.web.access.once import once
from tagkit.web.depends import Technician, TheSite
from tagkit.web.render import page
from tagkit.web.views.sent_log import SentLog, checked_log, sent_log
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
_WIDE, _HIGH = 600.0, 160.0


@dataclass(frozen=True)
class _Curve:
    """A charge with its curve as points of a drawing, from the top left."""

    it: CurrentCharge
    points: str
    hours: float


@router.get("/current-log", response_class=HTMLResponse)
def ask(request: Request, _person: Technician, battery: str = "") -> HTMLResponse:
    """Which file, and of which battery."""
    return _page(request, None, given={"battery": battery})


@router.post("/current-log")
async def put(request: Request, site: TheSite, person: Technician) -> Response:
    """Look at it; or take it in, once somebody has looked."""
    came = await sent_log(request)

    def answer() -> Response:
        try:
            sent = checked_log(*came)
        except WrongInput as error:
            return _page(request, None, error=error, given=dict(came[0]))
        head = None
        try:
            head = sent.as_file(lambda path: look_at(site, path, CURRENT))
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


def _curve(charge: CurrentCharge) -> _Curve:
    hours, high = charge.curve[-1][0], charge.highest_amperes
    points = " ".join(
        f"{at / hours * _WIDE if hours else 0:.1f},{_HIGH - amperes / high * _HIGH:.1f}"
        for at, amperes in charge.curve
    )
    return _Curve(charge, points, hours)


def _page(
    request: Request,
    sent: SentLog | None,
    head: LogHead | None = None,
    taken: CurrentTaken | None = None,
    error: TagkitError | None = None,
    given: dict[str, str] | None = None,
) -> HTMLResponse:
    said = sent.columns(CURRENT.columns) if sent else {}
    values = {
        "sent": sent, "head": head, "taken": taken, "error": error, "names": NAMES,
        "needed": CURRENT.needed, "units": LOG_UNITS, "times": TIME_UNITS,
        "charge_kinds": CHARGE_KINDS, "outcomes": OUTCOMES,
        "curves": [_curve(one) for one in taken.charges] if taken else [],
        "given": sent.given if sent else given or {},
        "columns": {**(head.columns if head else {}), **said},
        "missing": error is not None and error.where == "--column",
    }  # fmt: skip
    return page(request, "current_log.html", values, 422 if error else 200)
