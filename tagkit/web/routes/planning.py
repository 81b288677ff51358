"""Planning and reports: ventilation, the pool, retirement, acid; sheets to print and to send."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from fastapi import APIRouter, Request
from fastapi.responses import FileResponse, HTMLResponse, Response
from starlette.background import BackgroundTask

from tagkit.errors import NotFound, WrongInput
from tagkit.jobs.ageing import plan_retirement
from tagkit.jobs.history_sheet import report_battery
from tagkit.jobs.month_report import report_month
from tagkit.jobs.people_report import report_people
from tagkit.jobs.pool_plan import plan_pool
from tagkit.jobs.room_air import acid_total, plan_ventilation
from tagkit.jobs.scratch import scratch_file
from tagkit.jobs.site import Site
from tagkit.web.depends import Attendant, Supervisor, TheSite, TheVisitor
from tagkit.web.render import page
from tagkit.web.views.pool_charts import changes_chart, shift_hours

router = APIRouter()

FORMS = {
    "pdf": "application/pdf",
    "csv": "text/csv",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "json": "application/json",
}
MOST = 25


@router.get("/planning", response_class=HTMLResponse)
def start(request: Request, site: TheSite, _visitor: TheVisitor) -> HTMLResponse:
    """What can be planned and reported."""
    months = _months(site)
    return page(request, "planning.html", {"months": months, "forms": list(FORMS)})


@router.get("/planning/ventilation", response_class=HTMLResponse)
def ventilation(
    request: Request, site: TheSite, _visitor: TheVisitor, room: str = "", opening: str = ""
) -> HTMLResponse:
    """Air for the charging room, with its derivation."""
    found = plan_ventilation(
        site, room_m3=_figure(room, "room"), opening_cm2=_figure(opening, "opening")
    )
    values = {"it": found, "room": room, "opening": opening}
    return page(request, "ventilation.html", values)


@router.get("/planning/pool", response_class=HTMLResponse)
def pool(
    request: Request,
    site: TheSite,
    _visitor: TheVisitor,
    shifts: str | None = None,
    use: str = "",
    price: str = "",
    service: str = "99",
    least: str = "",
) -> HTMLResponse:
    """The pool played through, once it is asked for; without shifts as the record has them."""
    found = None
    if shifts is not None:
        found = plan_pool(
            site,
            shifts=shift_hours(shifts) if shifts.strip() else None,
            use_percent_per_hour=_figure(use, "use"),
            price_per_kwh=_figure(price, "price"),
            service_percent=_figure(service, "service") or 99.0,
            seek_least=least == "yes",
        )
    values = {"it": found, "shifts": shifts or "", "use": use, "price": price,
              "service": service, "least": least,
              "chart": changes_chart(request.state.words, found.result.changes_by_hour)
              if found else ""}  # fmt: skip
    return page(request, "pool.html", values)


@router.get("/planning/retirement", response_class=HTMLResponse)
def retirement(request: Request, site: TheSite, _visitor: TheVisitor) -> HTMLResponse:
    """Which to retire first, each sign of age with its share."""
    return page(request, "retirement.html", {"it": plan_retirement(site), "most": MOST})


@router.get("/planning/acid", response_class=HTMLResponse)
def acid(request: Request, site: TheSite, _visitor: TheVisitor) -> HTMLResponse:
    """Sulphuric acid in the fleet."""
    return page(request, "acid.html", {"it": acid_total(site)})


@router.get("/reports/battery/{number}.{ending}")
def battery_sheet(
    request: Request, number: str, ending: str, site: TheSite, _person: Attendant
) -> Response:
    """The history sheet of a battery."""
    return _made(
        ending,
        f"history-{number}",
        lambda path: report_battery(site, number, path, request.state.words),
    )


@router.get("/reports/month.{ending}")
def month(
    request: Request, ending: str, site: TheSite, _person: Attendant, month: str = ""
) -> Response:
    """The monthly report of the room."""
    return _made(ending, f"month-{month or 'now'}",
                 lambda path: report_month(site, month or None, path, request.state.words))  # fmt: skip


@router.get("/reports/people.{ending}")
def people(request: Request, ending: str, site: TheSite, _person: Supervisor) -> Response:
    """Who may do what until when."""
    return _made(
        ending, "authorisations", lambda path: report_people(site, path, request.state.words)
    )


def _made(ending: str, name: str, make: Callable[[Path], object]) -> Response:
    if ending not in FORMS:
        raise NotFound(f"there is no report as {ending}", f"Take one of: {', '.join(FORMS)}")
    path = scratch_file(f".{ending}")
    try:
        make(path)
    except BaseException:
        path.unlink(missing_ok=True)
        raise
    return FileResponse(
        path, media_type=FORMS[ending], filename=f"{name}.{ending}",
        background=BackgroundTask(path.unlink, missing_ok=True),
    )  # fmt: skip


def _figure(text: str, where: str) -> float | None:
    if not text.strip():
        return None
    try:
        figure = float(text.strip().replace(",", "."))
    except ValueError:
        raise WrongInput(f"“{text}” is not a number", "Write digits", where) from None
    if not 0 <= figure <= 1_000_000:
        raise WrongInput(f"{text} is not possible", "Write a figure above nought", where)
    return figure


def _months(site: Site) -> list[str]:
    """This month and the eleven before it, as YYYY-MM."""
    now = site.now().astimezone(site.timezone())
    count = now.year * 12 + now.month - 1
    return [f"{month // 12}-{month % 12 + 1:02}" for month in range(count, count - 12, -1)]
