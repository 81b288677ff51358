"""A mishap as a page or as JSON: what happened, what to do; never a traceback."""

from __future__ import annotations

import logging
from urllib.parse import urlsplit

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import JSONResponse, Response
from starlette.exceptions import HTTPException

from tagkit.errors import Busy, NeedsAnswer, NotFound, TagkitError
from tagkit.web.access.gate import LARGEST_UPLOAD, TooLarge, too_large
from tagkit.web.access.refused import AlreadySent, NobodyHere, NotAllowed, TooManyTries
from tagkit.web.depends import meet
from tagkit.web.render import page

log = logging.getLogger(__name__)

_STATUS: tuple[tuple[type[TagkitError], int], ...] = (
    (TooManyTries, 429), (NotAllowed, 403), (NotFound, 404), (NeedsAnswer, 409), (AlreadySent, 409),
    (Busy, 503), (TagkitError, 400),
)  # fmt: skip


def add_handlers(app: FastAPI) -> None:
    """Tell every mishap in the form that was asked for."""
    app.add_exception_handler(TagkitError, _mishap)
    app.add_exception_handler(HTTPException, _http)
    app.add_exception_handler(RequestValidationError, _misshapen)
    app.add_exception_handler(Exception, _bug)


def status_of(error: TagkitError) -> int:
    """The HTTP status of a mishap."""
    return next(status for kind, status in _STATUS if isinstance(error, kind))


def _mishap(request: Request, error: Exception) -> Response:
    assert isinstance(error, TagkitError)
    told = _told(
        request, status_of(error), error.problem, error.remedy, error.where,
        begin=isinstance(error, NobodyHere),
    )  # fmt: skip
    if isinstance(error, TooManyTries):
        told.headers["Retry-After"] = str(error.wait)
    return told


def _http(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    if not hasattr(request.state, "words") and "text/html" in request.headers.get("accept", ""):
        with request.app.state.door.borrow() as site:
            meet(request, site)  # no page stood there that would have
    problem, remedy = _of_status(request, error)
    told = _told(request, error.status_code, problem, remedy)
    told.headers.update(error.headers or {})
    return told


def _of_status(request: Request, error: HTTPException) -> tuple[str, str]:
    """Problem and remedy in our own words; they are for people, whoever raised it."""
    if error.status_code == 404:
        return "there is no such page", "Look it up from the start page"
    if error.status_code == 405 and request.method == "GET":
        return (
            "this address only takes what a form sends; nothing was logged",
            "Open the page with the form",
        )
    if error.status_code == 405:
        return "this page takes nothing; nothing was logged", "Open it, and use its keys"
    if error.status_code == 413:
        return too_large(error.most if isinstance(error, TooLarge) else LARGEST_UPLOAD)
    if error.status_code == 400:
        return "what was sent can't be read; nothing was logged", "Send it again"
    return str(error.detail), ""


def _misshapen(request: Request, error: Exception) -> Response:
    assert isinstance(error, RequestValidationError)
    first = error.errors()[0]
    where = ".".join(str(part) for part in first["loc"][1:])
    problem = _WRONG.get(first["type"]) or "what was sent can't be taken"
    if _for_a_program(request):
        problem = f"{problem}: {first['msg']}"
    return _told(request, 422, problem, "Check what is sent", where)


_WRONG = {
    "missing": "something that is needed was not sent",
    "int_parsing": "a whole number was expected",
    "float_parsing": "a number was expected",
    "bool_parsing": "yes or no was expected",
}
"""By what the one who checks the shape of a request calls the mistake."""


def _bug(request: Request, error: Exception) -> Response:
    log.exception("request failed", exc_info=error)
    again = "Try again; if it stays so, tell whoever looks after the server"
    if request.method != "GET":
        again = "Before you do it again, look whether it was logged; tell whoever looks after the server"
    return _told(request, 500, "something went wrong in tagkit", again)


def _told(
    request: Request, status: int, problem: str, remedy: str, where: str = "", begin: bool = False
) -> Response:
    """``begin``: the way on is to begin a shift; it leads back to what was asked for."""
    if _for_a_program(request):
        return JSONResponse(
            {"schema": 1, "problem": problem, "remedy": remedy, "where": where}, status
        )
    values = {
        "problem": problem,
        "remedy": remedy,
        "where": where,
        "back": _before(request) or _above(request),
        "wanted": _wanted(request) if begin else None,
    }
    part = request.headers.get("HX-Request") == "true"
    return page(request, "parts/mishap.html" if part else "mishap.html", values, status)


def _for_a_program(request: Request) -> bool:
    return request.url.path.startswith("/api") or not hasattr(request.state, "words")


def _wanted(request: Request) -> str:
    """Where to go once a shift has begun: the page asked for, or the one whose form was sent."""
    if request.method != "GET":
        return _before(request) or "/"
    return request.url.path + (f"?{request.url.query}" if request.url.query else "")


def _before(request: Request) -> str | None:
    """The page of this site that led here, so that what was keyed in there is not far."""
    came = urlsplit(request.headers.get("referer", ""))
    if came.netloc != request.url.netloc or came.path[:1] != "/" or came.path[:2] == "//":
        return None
    before = came.path + (f"?{came.query}" if came.query else "")
    here = request.url.path + (f"?{request.url.query}" if request.url.query else "")
    return None if request.method == "GET" and before == here else before


def _above(request: Request) -> str | None:
    """The page that this address lies under, where one is: /guide for /guide/nothing."""
    first, _, below = request.url.path.strip("/").partition("/")
    return f"/{first}" if below and first in _PARTS else None


_PARTS = frozenset(
    ("station", "rotation", "today", "assets", "delivery", "labels", "care", "corrections",
     "guide", "planning", "steps", "shift", "marry", "people", "incidents", "stations")
)  # fmt: skip
