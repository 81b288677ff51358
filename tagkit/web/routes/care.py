"""Battery care on a screen: what can be done to an asset, each as a short form."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tagkit.assets.room import EQUIPMENT
from tagkit.errors import NeedsAnswer, NotFound, TagkitError
from tagkit.jobs.assets import asset
from tagkit.jobs.charge import ChargeRefused
from tagkit.jobs.fleet import one_meant
from tagkit.jobs.inspecting import equipment
from tagkit.jobs.label_behind import label_says
from tagkit.jobs.moments import moment_of
from tagkit.jobs.site import Site
from tagkit.jobs.whereabouts import whereabouts_of
from tagkit.record.state import AssetState
from tagkit.web.access.once import once
from tagkit.web.depends import Attendant, TheSite, TheVisitor, require_role
from tagkit.web.render import page
from tagkit.web.views.care_acts import WHEN, CareAct, Who, act_named, acts_for, field_named
from tagkit.web.views.number import why_not
from tagkit.web.views.states import role_of

router = APIRouter()

AS_SHOWN = {"as-shown": "It is as I say: record it"}
"""The answer to a question that has no more to it."""


@router.get("/care", response_class=HTMLResponse)
def hub(request: Request, site: TheSite, _visitor: TheVisitor, number: str = "") -> Response:
    """Which asset; then what can be done to it."""
    if number.strip():
        tag = one_meant(site, number.strip()[:80])
        if tag is not None:
            return RedirectResponse(f"/care/{tag}", 303)
        error = NotFound("no one asset is called that", "Type its whole number, or look it up")
        return _hub(request, site, error, number.strip()[:80])
    return _hub(request, site)


@router.get("/care/{number}", response_class=HTMLResponse)
def choose(request: Request, number: str, site: TheSite, _visitor: TheVisitor) -> HTMLResponse:
    """What can be done to this asset."""
    found = asset(site.record, number)
    where = whereabouts_of(site, found)
    values = {"it": found, "acts": acts_for(found), "where": where, "role": role_of(where.state)}
    return page(request, "care_asset.html", values)


@router.get("/care/{number}/{key}", response_class=HTMLResponse)
def form(
    request: Request, number: str, key: str, site: TheSite, _person: Attendant
) -> HTMLResponse:
    """The form of one act."""
    found, act = _act(site, number, key)
    return _form(request, found, act, {})


@router.post("/care/{number}/{key}", response_class=HTMLResponse)
async def put(
    request: Request, number: str, key: str, site: TheSite, person: Attendant
) -> Response:
    """Record it, and say at once what it means."""
    given = {name: str(text) for name, text in (await request.form()).items()}

    def act() -> Response:
        found, wanted = _act(site, number, key)
        require_role(person, wanted.role_for(given))
        when = given.get(WHEN.name, "").strip()
        at = moment_of(site, when, WHEN.name) if when else None
        who = Who(by=str(person.person), station=person.station, at=at)
        told = wanted.act(site, found.tag, given, who)
        now = asset(site.record, found.tag)
        where = whereabouts_of(site, now)
        values = {
            "it": now, "act": wanted, "told": told, "says": label_says(now), "where": where,
            "role": role_of(where.state),
        }  # fmt: skip
        return page(request, "care_done.html", values)

    def answer() -> Response:
        try:
            return once(request, act)
        except TagkitError as error:
            found, wanted = _act(site, number, key)
            return _form(request, found, wanted, given, error)

    return await run_in_threadpool(answer)


def _act(site: Site, number: str, key: str) -> tuple[AssetState, CareAct]:
    found = asset(site.record, number)
    act = act_named(found, key)
    if act is None:
        raise NotFound("that can't be done to it now", f"Look at /care/{found.tag}")
    return found, act


def _hub(
    request: Request, site: Site, error: TagkitError | None = None, asked: str = ""
) -> HTMLResponse:
    values = {
        "equipment": equipment(site), "names": EQUIPMENT, "error": error, "asked": asked,
    }  # fmt: skip
    return page(request, "care.html", values, 404 if error else 200)


def _form(
    request: Request,
    found: AssetState,
    act: CareAct,
    given: Mapping[str, str],
    error: TagkitError | None = None,
) -> HTMLResponse:
    fields, asks = (*act.fields(found), WHEN), isinstance(error, NeedsAnswer)
    values = {
        "it": found,
        "act": act,
        "fields": fields,
        "given": given,
        "error": error,
        "asks": asks,
        "answers": (error.answers or AS_SHOWN) if isinstance(error, NeedsAnswer) else {},
        "wrong": field_named(fields, error) if error and not asks else "",
        "against": why_not(error.judgement) if isinstance(error, ChargeRefused) else (),
    }
    return page(request, "care_form.html", values, 422 if error else 200)
