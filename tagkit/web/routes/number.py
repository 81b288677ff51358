"""The page that a label leads to, and what a person does there: report, hold, release."""

from __future__ import annotations

from contextlib import suppress
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request, UploadFile
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse, Response

from tagkit.assets.payload import tag_in
from tagkit.assets.tag import Kind
from tagkit.errors import NotFound, WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.hold import HeldAlready, hold, release
from tagkit.jobs.photos import LARGEST_BYTES, keep_photo, photo_path
from tagkit.jobs.report import MOST_PHOTOS, report_problem
from tagkit.jobs.whereabouts import whereabouts_of
from tagkit.record.state import AssetState
from tagkit.web.access.once import once
from tagkit.web.depends import Attendant, Supervisor, TheSite, TheVisitor
from tagkit.web.render import page
from tagkit.web.views.number import FIRST_ENTRIES, fits, number_page
from tagkit.web.views.states import LABEL_ROLES, SEVERITY_ROLES, VERDICT_ROLES

router = APIRouter()
links = APIRouter()
"""Addresses on labels that lead to the page; they show nothing themselves."""

DONE = {
    "reported": "Your report is recorded.",
    "held": "It is held: nobody will be told to use it.",
    "released": "It is released.",
    "amended": "The figures are amended. Check the fit again.",
    "voided": "The entry is cancelled. It stays in the timeline, struck.",
}


@links.get("/8004/{identifier}", include_in_schema=False)
@links.get("/{_before:path}/8004/{identifier}", include_in_schema=False)
def digital_link(request: Request, identifier: str, _before: str = "") -> RedirectResponse:
    """A GS1 Digital Link leads to the same page as the plain link."""
    tag = tag_in(f"HTTPS://LABEL{request.url.path}")
    return RedirectResponse(f"/A/{quote(str(tag) if tag else identifier, safe='')}", 303)


@router.get("/A/{number}", response_class=HTMLResponse)
@router.get("/a/{number}", response_class=HTMLResponse, include_in_schema=False)
def show(
    request: Request,
    number: str,
    site: TheSite,
    visitor: TheVisitor,
    entries: int = FIRST_ENTRIES,
    done: str = "",
) -> Response:
    """Readable in two seconds on a phone: what, where, since when, may it be used."""
    found = asset(site.record, number)
    if request.url.path != _address(found):
        return RedirectResponse(_address(found), 303)
    return _no_cache(
        page(
            request,
            "number.html",
            {
                "it": number_page(site, found, visitor.units, entries),
                "done": DONE.get(done, ""),
                "now": site.now(),
                "label_roles": LABEL_ROLES,
                "severity_roles": SEVERITY_ROLES,
                "entries_shown": max(entries, FIRST_ENTRIES),
            },
        )
    )


@router.get("/A/{number}/fits", response_class=HTMLResponse)
def show_fits(request: Request, number: str, site: TheSite, visitor: TheVisitor) -> Response:
    """Which trucks and chargers go with a battery, and why the others don't.

    Green is for fit and ready alone, so that of a battery that is not ready the fits are plain.
    """
    found = asset(site.record, number, Kind.BATTERY)
    part = request.headers.get("HX-Request") == "true"
    ready = whereabouts_of(site, found).state == "ready"
    roles = VERDICT_ROLES if ready else {**VERDICT_ROLES, "fit": "use"}
    values = {"tag": found.tag, "fits": fits(site, found, visitor.units), "roles": roles,
              "retired": found.retired_at is not None}  # fmt: skip
    return _no_cache(page(request, "parts/fits.html" if part else "fits.html", values))


@router.get("/A/{number}/photos/{name}")
def photo(number: str, name: str, site: TheSite, _visitor: TheVisitor) -> FileResponse:
    """A photo that was added to an entry of this asset."""
    found = asset(site.record, number)
    for event in site.record.timeline(found.tag):
        if name in (event.body.get("photos") or ()):
            return FileResponse(
                photo_path(site, name),
                media_type="image/jpeg",
                headers={"cache-control": "private, max-age=86400"},
            )
    raise NotFound("there is no such photo", "Open it from the page of its asset")


@router.get("/A/{number}/report", response_class=HTMLResponse)
def report_form(request: Request, number: str, site: TheSite, _person: Attendant) -> HTMLResponse:
    """The form for a problem."""
    return _report_page(request, asset(site.record, number))


@router.post("/A/{number}/report")
def report(
    request: Request,
    number: str,
    site: TheSite,
    person: Attendant,
    words: Annotated[str, Form()] = "",
    stop: Annotated[str, Form()] = "",
    photos: list[UploadFile] | None = None,
) -> Response:
    """Record what someone noticed."""
    found = asset(site.record, number)

    def act() -> Response:
        given = [one for one in photos or () if one.filename]
        if len(given) > MOST_PHOTOS:
            raise WrongInput("there are too many photos", f"Send {MOST_PHOTOS} at most", "photo")
        if len(" ".join(words.split())) < 3:
            raise WrongInput("the report is empty", "Say what you saw", "words")
        kept = [keep_photo(site, one.file.read(LARGEST_BYTES + 1)) for one in given]
        report_problem(
            site, found.tag, words, must_not_be_used=stop == "yes", photos=kept,
            by=str(person.person), station=person.station,
        )  # fmt: skip
        return _back(found, "reported")

    try:
        return once(request, act)
    except WrongInput as error:
        return _report_page(request, found, words, stop, error)


@router.post("/A/{number}/hold")
def put_hold(
    request: Request,
    number: str,
    site: TheSite,
    person: Attendant,
    reason: Annotated[str, Form()],
    safety: Annotated[str, Form()] = "",
) -> Response:
    """Take it out of use."""
    found = asset(site.record, number)

    def act() -> Response:
        with suppress(HeldAlready):
            hold(site, found.tag, reason, safety=safety == "yes",
                 by=str(person.person), station=person.station)  # fmt: skip
        return _back(found, "held")

    return once(request, act)


@router.post("/A/{number}/release")
def put_release(
    request: Request,
    number: str,
    site: TheSite,
    person: Supervisor,
    reason: Annotated[str, Form()],
    inspected: Annotated[str, Form()] = "",
) -> Response:
    """Let it be used again."""
    found = asset(site.record, number)

    def act() -> Response:
        release(site, found.tag, reason, inspected=inspected == "yes",
                by=str(person.person), station=person.station)  # fmt: skip
        return _back(found, "released")

    return once(request, act)


def _report_page(
    request: Request,
    found: AssetState,
    words: str = "",
    stop: str = "",
    error: WrongInput | None = None,
) -> HTMLResponse:
    values = {"tag": found.tag, "kind": Kind(found.kind), "given": words, "stop": stop,
              "error": error, "most_photos": MOST_PHOTOS}  # fmt: skip
    return page(request, "report.html", values, 400 if error else 200)


def _address(found: AssetState) -> str:
    return f"/A/{quote(found.tag)}"


def _back(found: AssetState, done: str) -> RedirectResponse:
    return RedirectResponse(f"{_address(found)}?done={done}", 303)


def _no_cache(response: HTMLResponse) -> HTMLResponse:
    """A page about what is so now is asked for anew each time."""
    response.headers["cache-control"] = "no-store"
    return response
