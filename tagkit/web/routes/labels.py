"""Labels and cards: choose, look, print, fetch; what was printed before."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import FileResponse, HTMLResponse, RedirectResponse, Response

from tagkit.assets.tag import Kind, Tag, parse_tag
from tagkit.errors import NotFound, WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.cards import print_badges, print_command_cards, print_out_of_service
from tagkit.jobs.label_behind import label_says
from tagkit.jobs.label_sets import never_printed, of_delivery, revisions, to_reprint
from tagkit.jobs.preview import preview_bytes
from tagkit.jobs.printing import (
    Progress,
    check_form,
    offered_template,
    offered_templates,
    print_labels,
)
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState
from tagkit.web.access.once import once
from tagkit.web.depends import Attendant, Supervisor, TheSite, TheVisitor
from tagkit.web.render import page
from tagkit.web.runs import Runs
from tagkit.web.views.plates import in_one_line

router = APIRouter()

MOST_SHOWN = 500
KIND_TITLES = {"B": "Batteries", "T": "Trucks", "C": "Chargers"}
FORMS = {"pdf": "application/pdf", "svg": "image/svg+xml", "png": "image/png"}


@router.get("/labels", response_class=HTMLResponse)
def show(
    request: Request,
    site: TheSite,
    visitor: TheVisitor,
    number: str = "",
    delivery: str = "",
    which: str = "",
) -> HTMLResponse:
    """What to print labels for."""
    found, in_all = _chosen(site, number, delivery, which)
    values = {
        "groups": _grouped(found[:MOST_SHOWN], visitor.units, by_kind=not delivery),
        "shown": len(found[:MOST_SHOWN]),
        "in_all": in_all,
        "number": found[0].tag if number else "",
        "delivery": delivery,
        "which": which,
        "history": revisions(site, number) if number else [],
        "templates": offered_templates(),
        "default": offered_template(site, None).name,
    }  # fmt: skip
    return page(request, "labels.html", values)


@router.get("/labels/look", response_class=HTMLResponse)
def look(request: Request, _site: TheSite, template: str) -> HTMLResponse:
    """A template as a picture, in the page."""
    names = dict(offered_templates())
    if template not in names:
        raise NotFound("there is no such template", "Choose one of the list")
    return page(request, "parts/template_look.html", {"name": template, "what": names[template]})


@router.get("/labels/looks/{template}.png")
def look_picture(template: str, site: TheSite, _visitor: TheVisitor) -> Response:
    """The picture itself: samples, marked as such."""
    if template not in dict(offered_templates()):
        raise NotFound("there is no such template", "Choose one of the list")
    language = site.settings.labels.language or site.settings.site.language
    data = preview_bytes(template, language, dpi=100)
    return Response(data, media_type="image/png", headers={"cache-control": "private, max-age=600"})


@router.post("/labels")
def put(
    request: Request,
    site: TheSite,
    person: Attendant,
    template: Annotated[str, Form()],
    numbers: Annotated[list[str] | None, Form()] = None,
    typed: Annotated[str, Form()] = "",
    form: Annotated[str, Form()] = "pdf",
) -> Response:
    """Print them; what was printed is recorded."""
    tags = [str(tag) for tag in _tags(site, numbers or [], typed)]
    if form not in FORMS:
        raise WrongInput(f"labels can't be written as {form}", "Choose PDF, SVG or PNG")
    runs: Runs = request.app.state.runs
    chosen = offered_template(site, template)
    check_form(site.directory / f"labels.{form}", chosen, len(tags))
    by, station = str(person.person), person.station

    def act() -> Response:
        run = runs.start(
            "Labels", "labels", form,
            lambda own, path, step: _print(own, tags, path, template, by, station, step),
        )  # fmt: skip
        return RedirectResponse(f"/labels/runs/{run.id}", 303)

    return once(request, act)


@router.post("/labels/cards")
def put_cards(
    request: Request,
    _person: Attendant,
    what: Annotated[str, Form()],
    number: Annotated[str, Form()] = "",
) -> Response:
    """Command cards, or the card for something out of service."""
    runs: Runs = request.app.state.runs

    def act() -> Response:
        if what == "commands":
            run = runs.start(
                "Command cards", "command-cards", "pdf",
                lambda site, path, step: _done(print_command_cards(site, path, progress=step)),
            )  # fmt: skip
        elif what == "out-of-service":
            run = runs.start(
                "Out-of-service card", "out-of-service", "pdf",
                lambda site, path, step: _done(print_out_of_service(site, number, path,
                                                                    progress=step)),
            )  # fmt: skip
        else:
            raise WrongInput("there is no such card", "Choose one of the list")
        return RedirectResponse(f"/labels/runs/{run.id}", 303)

    return once(request, act)


@router.post("/labels/badges")
def put_badges(
    request: Request, _person: Supervisor, people: Annotated[str, Form()] = ""
) -> Response:
    """Badges open shifts, so a supervisor prints them."""
    runs: Runs = request.app.state.runs
    codes = re.split(r"[\s,;]+", people.strip()) if people.strip() else []

    def act() -> Response:
        run = runs.start(
            "Badges", "badges", "pdf",
            lambda site, path, step: _done(print_badges(site, codes, path, progress=step)),
        )  # fmt: skip
        return RedirectResponse(f"/labels/runs/{run.id}", 303)

    return once(request, act)


@router.get("/labels/runs/{identity}", response_class=HTMLResponse)
def run(request: Request, identity: str, _person: Attendant) -> HTMLResponse:
    """How far it is; then where to fetch it."""
    runs: Runs = request.app.state.runs
    part = request.headers.get("HX-Request") == "true"
    values = {"run": runs.run(identity)}
    return page(request, "parts/run.html" if part else "run.html", values)


@router.get("/labels/files/{name}")
def fetch(request: Request, name: str, _person: Attendant) -> FileResponse:
    """A file that was made."""
    runs: Runs = request.app.state.runs
    path = runs.file(name)
    return FileResponse(path, media_type=FORMS[path.suffix[1:]], filename=name)


def _chosen(site: Site, number: str, delivery: str, which: str) -> tuple[Sequence[AssetState], int]:
    """Those that are shown (of many only the first), and how many there are."""
    if which == "unprinted" and not number and not delivery:
        hits = never_printed(site, MOST_SHOWN)
        return hits.states, hits.total
    found: list[AssetState] = []
    if number:
        found = [asset(site.record, number)]
    elif delivery:
        found = of_delivery(site, delivery)
    elif which == "reprint":
        hits = to_reprint(site, MOST_SHOWN)
        return hits.states, hits.total
    return found, len(found)


def _grouped(
    found: Sequence[AssetState], units: str, *, by_kind: bool
) -> list[tuple[str, list[tuple[str, list[str], str]]]]:
    """Title, and of each its number, what it is and why its label is to be printed anew.

    ``by_kind``: other kinds go on other stock; a delivery stays in the order of unloading.
    """
    groups: dict[str, list[tuple[str, list[str], str]]] = {}
    for one in sorted(found, key=lambda one: (*KIND_TITLES, one.kind).index(one.kind) * by_kind):
        what = in_one_line(Kind(one.kind), one.nameplate, units)
        title = KIND_TITLES.get(one.kind, "Other") if by_kind else ""
        groups.setdefault(title, []).append((one.tag, what, _why_anew(one)))
    return list(groups.items())


def _why_anew(one: AssetState) -> str:
    said = label_says(one)
    found = [f"it still says: {'; '.join(said)}"] if said else []
    verdict = (one.label_condition or {}).get("verdict")
    if verdict in ("reprint now", "reprint soon"):
        found.insert(0, f"label: {verdict}")
    return " · ".join(found)


def _tags(site: Site, numbers: list[str], typed: str) -> list[Tag]:
    words = [*numbers, *re.split(r"[\s,;]+", typed.strip())]
    tags = [parse_tag(asset(site.record, word).tag) for word in words if word]
    if not tags:
        raise WrongInput("nothing is chosen", "Choose an asset, or type its number")
    return list(dict.fromkeys(tags))


def _print(
    site: Site,
    numbers: list[str],
    path: Path,
    template: str,
    by: str,
    station: str,
    progress: Progress,
) -> None:
    print_labels(site, numbers, path, template, by=by, station=station, progress=progress)


def _done(_printed: object) -> None:
    """A run answers with its file alone."""
