"""Incidents, kept apart from maintenance: what happened, and the list."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Annotated

from fastapi import APIRouter, Form, Query, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tagkit.errors import TagkitError
from tagkit.jobs.incidents import FIRST_AID, incidents, report_incident
from tagkit.jobs.moments import moment_of
from tagkit.jobs.site import Site
from tagkit.record.care_bodies import INCIDENTS
from tagkit.web.access.once import once
from tagkit.web.depends import Attendant, TheSite, TheVisitor
from tagkit.web.render import page

router = APIRouter()

HURT = {"yes": True, "no": False}


_FIELDS = {"--sort": "sort", "--what": "what", "--tag": "assets", "--at": "at", "at": "at"}
"""Which field a mistake is in, by where the job says that it is."""


@router.get("/incidents", response_class=HTMLResponse)
def show(
    request: Request,
    site: TheSite,
    _visitor: TheVisitor,
    done: str = "",
    held: Annotated[list[str] | None, Query()] = None,
) -> HTMLResponse:
    """The list and the form; ``held``: what the incident just recorded has held."""
    states = [site.record.state(tag) for tag in (held or ())[:20]]
    return _page(request, site, {}, done, held=[one.tag for one in states if one and one.holds])


@router.post("/incidents")
def put(
    request: Request,
    site: TheSite,
    person: Attendant,
    sort: Annotated[str, Form()],
    what: Annotated[str, Form()],
    assets: Annotated[str, Form()] = "",
    hurt: Annotated[str, Form()] = "",
    done: Annotated[str, Form()] = "",
    place: Annotated[str, Form()] = "",
    hold: Annotated[str, Form()] = "",
    at: Annotated[str, Form()] = "",
) -> Response:
    """Record what happened."""
    given = {"sort": sort, "what": what, "assets": assets, "hurt": hurt, "done": done,
             "place": place, "hold": hold, "at": at}  # fmt: skip

    def act() -> Response:
        told = report_incident(
            site, sort, what, assets=[one for one in re.split(r"[\s,;]+", assets) if one],
            hurt=HURT.get(hurt), done=done.strip() or None, place=place.strip() or None,
            hold=hold == "yes", by=str(person.person), station=person.station,
            at=moment_of(site, at, "at") if at.strip() else None,
        )  # fmt: skip
        held = "&".join(f"held={tag}" for tag in told.assets) if hold == "yes" else ""
        return RedirectResponse(f"/incidents?done=yes&{held}".rstrip("&"), 303)

    try:
        return once(request, act)
    except TagkitError as error:
        return _page(request, site, given, "", error)


def _page(
    request: Request,
    site: Site,
    given: dict[str, str],
    done: str,
    error: TagkitError | None = None,
    held: Sequence[str] = (),
) -> HTMLResponse:
    values = {"found": incidents(site), "sorts": INCIDENTS, "first_aid": FIRST_AID,
              "given": given, "done": done == "yes", "error": error, "held": held,
              "wrong": _FIELDS.get(error.where, "") if error else ""}  # fmt: skip
    return page(request, "incidents.html", values, 422 if error else 200)
