"""Step lists by procedure: gone through and confirmed by whoever works, edited by a supervisor."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tagkit.errors import NotFound
from tagkit.jobs.steps import NOTE, all_steps, confirm_steps, keep_steps, step_list
from tagkit.record.care_bodies import PROCEDURES
from tagkit.web.access.once import once
from tagkit.web.depends import Attendant, Supervisor, TheSite, TheVisitor
from tagkit.web.render import page

router = APIRouter()

Numbers = Annotated[list[int] | None, Form()]


@router.get("/steps", response_class=HTMLResponse)
def show(request: Request, site: TheSite, _visitor: TheVisitor, done: str = "") -> HTMLResponse:
    """Every procedure."""
    language = request.state.words.language
    values = {"lists": all_steps(site, language), "note": NOTE, "done": done == "yes"}
    return page(request, "steps.html", values)


@router.get("/steps/{procedure}", response_class=HTMLResponse)
def one(request: Request, procedure: str, site: TheSite, _visitor: TheVisitor) -> HTMLResponse:
    """The steps of one, to be ticked off."""
    if procedure.strip().lower().replace("-", " ") not in PROCEDURES:
        raise NotFound(f"“{procedure}” is no procedure", "Choose one of the list")
    found = step_list(site, procedure, request.state.words.language)
    return page(request, "steps_one.html", {"it": found, "note": NOTE})


@router.post("/steps/{procedure}")
def confirm(
    request: Request,
    procedure: str,
    site: TheSite,
    person: Attendant,
    done: Numbers = None,
    assets: Annotated[str, Form()] = "",
) -> Response:
    """Record which steps were done; those not ticked are recorded as left out."""
    language = request.state.words.language

    def act() -> Response:
        steps = step_list(site, procedure, language).steps
        left_out = [n for n in range(1, len(steps) + 1) if n not in (done or ())]
        confirm_steps(
            site, procedure, left_out=left_out, assets=assets.replace(",", " ").split(),
            language=language, by=str(person.person), station=person.station,
        )  # fmt: skip
        return RedirectResponse("/steps?done=yes", 303)

    return once(request, act)


@router.post("/steps/{procedure}/edit")
def edit(
    request: Request,
    procedure: str,
    site: TheSite,
    _person: Supervisor,
    steps: Annotated[str, Form()] = "",
) -> Response:
    """The site's own steps, a line each; none: the list that comes with tagkit."""
    kept = keep_steps(site, procedure, request.state.words.language, steps.splitlines())
    return RedirectResponse(f"/steps/{kept.procedure}", 303)
