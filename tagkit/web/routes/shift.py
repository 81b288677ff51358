"""The shift: who is at work at this device, and how this person reads (language, units)."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tagkit.errors import WrongInput
from tagkit.jobs.people import authorise
from tagkit.language.catalogue import LANGUAGES
from tagkit.web.access.browser import set_cookie
from tagkit.web.access.devices import is_own_computer
from tagkit.web.access.refused import NotAllowed, TooManyTries
from tagkit.web.access.shifts import close_shift, open_shift
from tagkit.web.access.visitors import LANGUAGE, UNITS
from tagkit.web.depends import TheSite, TheVisitor
from tagkit.web.problems import status_of
from tagkit.web.render import page

router = APIRouter(prefix="/shift", default_response_class=HTMLResponse)

Text = Annotated[str, Form(max_length=100)]
YEAR = 365


@router.get("")
def shift(request: Request, site: TheSite, back: str = "/") -> Response:
    """Who is at work here, and the forms to begin and end a shift."""
    return _page(request, site, back)


@router.post("/open")
def begin(request: Request, site: TheSite, who: Text, pin: Text = "", back: Text = "/") -> Response:
    """Begin a shift: by code or badge, with the PIN where it is needed."""
    try:
        open_shift(request, site, who, pin=pin or None)
    except NotAllowed as refused:
        if request.headers.get("HX-Request") == "true":
            raise
        return _page(request, site, back, refused, who)
    return RedirectResponse(on_this_site(back), 303)


@router.post("/close")
def end(request: Request, back: Text = "/shift") -> Response:
    """End the shift."""
    close_shift(request)
    return RedirectResponse(on_this_site(back), 303)


@router.post("/first")
def first(request: Request, site: TheSite, who: Text, initials: Text = "") -> Response:
    """The first person of a site: a supervisor, recorded by themselves at the server's computer."""
    if not is_own_computer(request, request.app.state.options):
        raise NotAllowed("the first person is recorded at the computer that serves", "Do it there")
    code = who.strip().upper()
    try:
        authorise(
            site, code, initials, "supervisor", None, None,
            by=code, station=site.settings.station.name,
        )  # fmt: skip
    except WrongInput as refused:
        return _page(request, site, "/", refused, who)
    open_shift(request, site, code)
    return RedirectResponse("/shift", 303)


@router.post("/reading")
def reading(
    request: Request, visitor: TheVisitor, language: Text = "", units: Text = "", back: Text = "/"
) -> Response:
    """Language and units: for the person where there is one, else for this browser."""
    language = language if language in LANGUAGES else visitor.language
    units = units if units in ("metric", "us") else visitor.units
    if visitor.person is not None:
        request.app.state.access.run(
            "INSERT OR REPLACE INTO preferences VALUES (?, ?, ?)",
            (visitor.person, language, units),
        )
    answer = RedirectResponse(on_this_site(back), 303)
    options = request.app.state.options
    for name, value in ((LANGUAGE, language), (UNITS, units)):
        answer.headers.append("set-cookie", set_cookie(name, value, options, YEAR))
    return answer


def on_this_site(back: str) -> str:
    """Where to go on: a path of ours, never another host."""
    plain = back.isprintable() and back.startswith("/") and "\\" not in back
    return back if plain and not back.startswith("//") else "/"


def _page(
    request: Request, site: TheSite, back: str, refused: WrongInput | None = None, who: str = ""
) -> Response:
    shown = page(
        request,
        "shift.html",
        {
            "back": on_this_site(back),
            "error": refused,
            "who": who,
            "nobody_yet": not site.record.people(),
            "own_computer": is_own_computer(request, request.app.state.options),
            "languages": LANGUAGES,
        },
        200 if refused is None else status_of(refused),
    )
    if isinstance(refused, TooManyTries):
        shown.headers["Retry-After"] = str(refused.wait)
    return shown
