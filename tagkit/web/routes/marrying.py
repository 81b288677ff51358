"""Marrying on a phone: scan the label on the case, key in what is stamped there."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request, UploadFile
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.datastructures import UploadFile as Sent

from tagkit.assets.tag import Kind
from tagkit.errors import NeedsAnswer, NotFound, TagkitError, WrongInput
from tagkit.jobs.assets import asset, is_married
from tagkit.jobs.label_behind import label_says
from tagkit.jobs.marry import REQUIRED, marry
from tagkit.jobs.photos import LARGEST_BYTES, keep_photo
from tagkit.jobs.scan import tag_in_photo
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState
from tagkit.web.access.once import once
from tagkit.web.depends import Technician, TheSite, TheVisitor
from tagkit.web.render import page
from tagkit.web.views.marrying import asked, waiting
from tagkit.web.views.plates import in_one_line

router = APIRouter()


@router.get("/marry", response_class=HTMLResponse)
def show(
    request: Request, site: TheSite, visitor: TheVisitor, number: str = "", done: str = ""
) -> Response:
    """Which labels wait; or, with a number, what is to be keyed in."""
    if not number:
        return _list(request, site, visitor.units, done)
    return _form(request, asset(site.record, number), visitor.units)


@router.post("/marry/scan")
def scan(request: Request, site: TheSite, visitor: TheVisitor, photo: UploadFile) -> Response:
    """The number on a photographed label."""
    try:
        tag = tag_in_photo(photo.file.read(LARGEST_BYTES + 1))
        found = asset(site.record, tag)
    except (WrongInput, NotFound) as error:
        return _list(request, site, visitor.units, "", error)
    return RedirectResponse(f"/marry?number={found.tag}", 303)


@router.post("/marry/{number}")
async def put(request: Request, number: str, site: TheSite, person: Technician) -> Response:
    """The label is on its case; a difference is asked about before anything is recorded."""
    form = await request.form()
    given = {name: str(text) for name, text in form.items() if not isinstance(text, Sent)}
    sent = form.get("photo")
    photo = await sent.read(LARGEST_BYTES + 1) if isinstance(sent, Sent) and sent.filename else b""

    def act() -> Response:
        found = asset(site.record, number)
        stamped = {
            name: given[name].strip()
            for name in REQUIRED[Kind(found.kind)]
            if given.get(name, "").strip()
        }
        photos = [keep_photo(site, photo)] if photo else []
        marry(
            site, found.tag, stamped, by=str(person.person), station=person.station,
            answer=given.get("answer") or None, photos=photos,
        )  # fmt: skip
        return RedirectResponse(f"/marry?done={found.tag}", 303)

    def answer() -> Response:
        try:
            return once(request, act)
        except (WrongInput, NeedsAnswer) as error:
            return _form(
                request, asset(site.record, number), person.units, given, error,
            )  # fmt: skip

    return await run_in_threadpool(answer)


def _list(
    request: Request, site: Site, units: str, done: str, error: TagkitError | None = None
) -> HTMLResponse:
    state = site.record.state(done) if done else None
    values = {"waiting": waiting(site, units), "known": next(site.record.states(), None) is not None,
              "done": done, "error": error,
              "says": label_says(state) if state else ()}  # fmt: skip
    return page(request, "marry.html", values, 422 if error else 200)


def _form(
    request: Request,
    found: AssetState,
    units: str,
    given: Mapping[str, str] | None = None,
    error: TagkitError | None = None,
) -> HTMLResponse:
    kind = Kind(found.kind)
    values = {
        "it": found,
        "kind": kind,
        "what": in_one_line(kind, found.nameplate, units),
        "asked": asked(kind),
        "labels": [spec.label for _, spec in asked(kind)],
        "given": given or {},
        "error": error,
        "differs": isinstance(error, NeedsAnswer) and not is_married(found),
        "married": is_married(found),
    }
    return page(request, "marry_one.html", values, 422 if error else 200)
