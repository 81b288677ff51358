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
from tagkit.jobs.leaving_report import report_leaving
from tagkit.jobs.month_report import report_month
from tagkit.jobs.people_report import report_people
from tagkit.jobs.plan_report import (
    air_figures,
    write_acid,
    write_pool,
    write_retirement,
    write_ventilation,
)
from tagkit.jobs.room_air import acid_total
from tagkit.jobs.scratch import scratch_file
from tagkit.jobs.site import Site
from tagkit.language.words import Words
from tagkit.web.depends import Attendant, Supervisor, TheSite, TheVisitor
from tagkit.web.render import page
from tagkit.web.views.plans import VentilationAsked, pool_asked
from tagkit.web.views.pool_charts import changes_chart

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
def ventilation(request: Request, site: TheSite, _visitor: TheVisitor) -> HTMLResponse:
    """Air for the charging room, with its derivation."""
    asked = _air_asked(request)
    found = asked.plan(site)
    values = {"it": found, "asked": asked, "figures": air_figures(found, request.state.words)}
    return page(request, "ventilation.html", values | _files(request))


@router.get("/planning/pool", response_class=HTMLResponse)
def pool(request: Request, site: TheSite, _visitor: TheVisitor) -> HTMLResponse:
    """The pool played through, once it is asked for; without shifts as the record has them."""
    asked = pool_asked(request.query_params.multi_items())
    found = asked.plan(site)
    charts = {
        name: changes_chart(request.state.words, found.result.changes_by_hour, narrow)
        for name, narrow in (("changes", False), ("changes_narrow", True))
    } if found else {}  # fmt: skip
    values = {"it": found, "asked": asked, **charts}
    return page(request, "pool.html", values | _files(request))


@router.get("/planning/retirement", response_class=HTMLResponse)
def retirement(request: Request, site: TheSite, _visitor: TheVisitor) -> HTMLResponse:
    """Which to retire first, each sign of age with its share."""
    values = {"it": plan_retirement(site), "most": MOST}
    return page(request, "retirement.html", values | _files(request))


@router.get("/planning/acid", response_class=HTMLResponse)
def acid(request: Request, site: TheSite, _visitor: TheVisitor) -> HTMLResponse:
    """Sulphuric acid in the fleet."""
    return page(request, "acid.html", {"it": acid_total(site)} | _files(request))


@router.get("/planning/{name}.{ending}")
def plan_file(
    request: Request, name: str, ending: str, site: TheSite, _visitor: TheVisitor
) -> Response:
    """A plan as a file, in the reader's language: what its page shows at the same address."""
    words: Words = request.state.words

    def make(path: Path) -> None:
        if name == "ventilation":
            write_ventilation(site, _air_asked(request).plan(site), path, words)
        elif name == "pool":
            found = pool_asked(request.query_params.multi_items()).plan(site)
            if found is None:
                raise WrongInput(
                    "nothing was played through yet", "Open /planning/pool and play it through"
                )
            write_pool(site, found, path, words)
        elif name == "retirement":
            write_retirement(site, plan_retirement(site), path, words)
        elif name == "acid":
            write_acid(site, acid_total(site), path, words)
        else:
            raise NotFound("there is no such plan", "Choose one at /planning")

    return _made(ending, name, make)


def _air_asked(request: Request) -> VentilationAsked:
    given = request.query_params
    return VentilationAsked(
        given.get("room", ""), given.get("opening", ""),
        given.get("units", request.state.words.units),
    )  # fmt: skip


def _files(request: Request) -> dict[str, object]:
    """Where the page's plan can be had as a file."""
    query = f"?{request.url.query}" if request.url.query else ""
    return {"files": [(ending, f"{request.url.path}.{ending}{query}") for ending in FORMS]}


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


@router.get("/reports/leaving/{number}.{ending}")
def leaving(
    request: Request, number: str, ending: str, site: TheSite, _person: Attendant
) -> Response:
    """The receipt of leaving, to be signed by whoever takes it."""
    return _made(
        ending,
        f"leaving-{number}",
        lambda path: report_leaving(site, number, path, request.state.words),
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


def _months(site: Site) -> list[str]:
    """This month and the eleven before it, as YYYY-MM."""
    now = site.now().astimezone(site.timezone())
    count = now.year * 12 + now.month - 1
    return [f"{month // 12}-{month % 12 + 1:02}" for month in range(count, count - 12, -1)]
