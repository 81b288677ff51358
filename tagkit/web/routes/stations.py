"""Stations: which devices write into the record, and enrolling one by a one-time code."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tagkit.errors import TagkitError
from tagkit.web.access.browser import set_cookie
from tagkit.web.access.devices import (
    CODE_MINUTES,
    STATION_COOKIE,
    STATION_DAYS,
    address_of,
    end_station,
    enrol,
    new_code,
    stations,
)
from tagkit.web.access.refused import TooManyTries
from tagkit.web.access.shifts import end_shift, open_shifts
from tagkit.web.depends import Supervisor, TheSite
from tagkit.web.problems import status_of
from tagkit.web.render import page

router = APIRouter(prefix="/stations", default_response_class=HTMLResponse)

Text = Annotated[str, Form(max_length=100)]


@router.get("")
def every(request: Request, _who: Supervisor) -> Response:
    """Every enrolled station, and the form for a one-time code."""
    return _list(request)


@router.post("/code")
def code(request: Request, site: TheSite, who: Supervisor, name: Text = "") -> Response:
    """A one-time code; shown once, to the supervisor who asked for it."""
    made = new_code(
        request.app.state.access, name.strip(), who.person or "", site.now().timestamp()
    )
    return _list(request, made)


@router.post("/{name}/end")
def end(request: Request, name: str, _who: Supervisor) -> Response:
    """The device is no station any more."""
    end_station(request.app.state.access, name)
    return RedirectResponse("/stations", 303)


@router.post("/shifts/{key}/end")
def end_one(request: Request, key: str, _who: Supervisor) -> Response:
    """End somebody's shift: a tablet that was lost, a browser left open."""
    end_shift(request.app.state.access, key)
    return RedirectResponse("/stations", 303)


@router.get("/enrol")
def form(request: Request) -> Response:
    """At the device itself: type the code."""
    return page(request, "enrol.html", {"error": None, "code": "", "name": ""})


@router.post("/enrol")
def become(request: Request, site: TheSite, code: Text, name: Text = "") -> Response:
    """This device becomes a station."""
    try:
        _, token = enrol(
            request.app.state.access, code, name, address_of(request), site.now().timestamp()
        )
    except TagkitError as refused:
        values = {"error": refused, "code": code, "name": name}
        shown = page(request, "enrol.html", values, status_of(refused))
        if isinstance(refused, TooManyTries):
            shown.headers["Retry-After"] = str(refused.wait)
        return shown
    answer = RedirectResponse("/shift", 303)
    answer.headers.append(
        "set-cookie", set_cookie(STATION_COOKIE, token, request.app.state.options, STATION_DAYS)
    )
    return answer


def _list(request: Request, code: str | None = None) -> Response:
    options = request.app.state.options
    return page(
        request,
        "stations.html",
        {
            "stations": stations(request.app.state.access),
            "shifts": open_shifts(request.app.state.access),
            "code": code,
            "minutes": CODE_MINUTES,
            "lan": options.lan,
        },
    )
