"""People: who may do what until when; a supervisor authorises."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tagkit.errors import TagkitError
from tagkit.jobs.people import ROLES, authorise
from tagkit.jobs.people_report import NOTE, people_list
from tagkit.jobs.site import Site
from tagkit.web.access.once import once
from tagkit.web.depends import Supervisor, TheSite
from tagkit.web.render import page

router = APIRouter()


@router.get("/people", response_class=HTMLResponse)
def show(request: Request, site: TheSite, _person: Supervisor, done: str = "") -> HTMLResponse:
    """Everyone who was ever authorised here, and the form."""
    return _page(request, site, {}, done)


@router.post("/people")
def put(
    request: Request,
    site: TheSite,
    person: Supervisor,
    code: Annotated[str, Form()],
    role: Annotated[str, Form()],
    initials: Annotated[str, Form()] = "",
    until: Annotated[str, Form()] = "",
    reference: Annotated[str, Form()] = "",
) -> Response:
    """Authorise somebody, or change what somebody may do."""
    given = {"code": code, "role": role, "initials": initials, "until": until,
             "reference": reference}  # fmt: skip

    def act() -> Response:
        authorise(
            site, code, initials, role, until.strip() or None, reference.strip() or None,
            by=str(person.person), station=person.station,
        )  # fmt: skip
        return RedirectResponse("/people?done=yes", 303)

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
) -> HTMLResponse:
    values = {"it": people_list(site), "roles": ROLES, "given": given, "note": NOTE,
              "done": done == "yes", "error": error}  # fmt: skip
    return page(request, "people.html", values, 422 if error else 200)
