"""Putting the record right: what contradicts itself, wrong figures, wrong entries."""

from __future__ import annotations

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tagkit.assets.fields import fields_of
from tagkit.assets.kinds import PLATES
from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind
from tagkit.errors import NeedsAnswer, NotFound, TagkitError, WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.correct import amend
from tagkit.jobs.seen import log_seen
from tagkit.jobs.site import Site
from tagkit.jobs.void import BY_A_SUPERVISOR, by_two, refuse_voiding, void
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.web.access.once import once
from tagkit.web.depends import Attendant, Technician, TheSite, require_role
from tagkit.web.render import page
from tagkit.web.second import second_person
from tagkit.web.views.corrections import corrections
from tagkit.web.views.plates import plate_lines
from tagkit.web.views.timeline import entries

router = APIRouter()

DONE = {
    "seen": "It is recorded where that battery is.",
    "held": "It is recorded, and what it does not fit is held. Do not use it; take the battery out.",
    "voided": "The entry is cancelled. It stays in the record, struck.",
}
SOURCES = (Source.STAMPED, Source.WEIGHED, Source.NAMEPLATE, Source.CATALOGUE)


@router.get("/corrections", response_class=HTMLResponse)
def show(request: Request, site: TheSite, done: str = "") -> HTMLResponse:
    """The lead's list, and the trail of what was corrected."""
    values = {"it": corrections(site), "done": DONE.get(done, ""), "held": done == "held"}
    return page(request, "corrections.html", values)


@router.post("/corrections/seen")
def settle_seen(
    request: Request,
    site: TheSite,
    person: Attendant,
    battery: Annotated[str, Form()],
    place: Annotated[str, Form()] = "",
) -> Response:
    """One press: the battery is there, not where the record has it."""

    def act() -> Response:
        found = log_seen(site, battery, place, by=str(person.person), station=person.station)
        return RedirectResponse(f"/corrections?done={'held' if found.held else 'seen'}", 303)

    return once(request, act)


@router.get("/A/{number}/amend", response_class=HTMLResponse)
def amend_form(
    request: Request, number: str, site: TheSite, person: Technician, field: str = ""
) -> HTMLResponse:
    """The form for a figure that is wrong."""
    return _amend_page(request, asset(site.record, number), person.units, {"field": field})


@router.post("/A/{number}/amend")
def put_amend(
    request: Request,
    number: str,
    site: TheSite,
    person: Technician,
    field: Annotated[str, Form()] = "",
    value: Annotated[str, Form()] = "",
    unknown: Annotated[str, Form()] = "",
    source: Annotated[str, Form()] = "",
    reason: Annotated[str, Form()] = "",
    second: Annotated[str, Form()] = "",
    pin: Annotated[str, Form()] = "",
    answer: Annotated[str, Form()] = "",
) -> Response:
    """Replace a figure, with a reason and a second person."""
    found = asset(site.record, number)
    given = {"field": field, "value": value, "unknown": unknown, "source": source,
             "reason": reason, "second": second}  # fmt: skip

    def act() -> Response:
        if not field:
            raise WrongInput("no figure is chosen", "Choose which one is wrong", "field")
        if not value.strip() and unknown != "yes":
            raise WrongInput("the right figure is missing", "Write it with its unit", "value")
        amend(
            site,
            found.tag,
            {field: None if unknown == "yes" else value},
            reason,
            second_person(request, site, person, second, pin),
            source=_source(source),
            by=str(person.person),
            station=person.station,
            answer="as-shown" if answer == "as-shown" else None,
        )
        return RedirectResponse(f"/A/{quote(found.tag)}?done=amended", 303)

    try:
        return once(request, act)
    except TagkitError as error:
        return _amend_page(request, found, person.units, given, error)


@router.get("/corrections/void", response_class=HTMLResponse)
def void_form(request: Request, site: TheSite, _person: Attendant, entry: str = "") -> HTMLResponse:
    """The form for an entry that is wrong."""
    return _void_page(request, site, _entry(site, entry))


@router.post("/corrections/void")
def put_void(
    request: Request,
    site: TheSite,
    person: Attendant,
    entry: Annotated[str, Form()] = "",
    reason: Annotated[str, Form()] = "",
    second: Annotated[str, Form()] = "",
    pin: Annotated[str, Form()] = "",
) -> Response:
    """Cancel an entry, with a reason. The job says who may."""
    found = _entry(site, entry)

    def act() -> Response:
        if found.kind in BY_A_SUPERVISOR:
            require_role(person, "supervisor")  # the job knows the role, not whether it is proved
        two = by_two(found)
        void(
            site,
            found.id,
            reason,
            second_person(request, site, person, second, pin) if two else None,
            by=str(person.person),
            station=person.station,
        )
        about = next((tag for tag in found.tags if site.record.state(tag)), None)
        back = f"/A/{quote(about)}" if about else "/corrections"
        return RedirectResponse(f"{back}?done=voided", 303)

    try:
        return once(request, act)
    except TagkitError as error:
        return _void_page(request, site, found, reason, second, error)


def _entry(site: Site, identity: str) -> Event:
    found = site.record.event(identity)
    if found is None:
        raise NotFound("there is no such entry", "Open it from the timeline of its asset")
    return found


def _source(name: str) -> Source | None:
    try:
        return Source(name) if name else None
    except ValueError:
        raise WrongInput("that is not a source", "Choose where the figure comes from") from None


def _amend_page(
    request: Request,
    found: AssetState,
    units: str,
    given: dict[str, str],
    error: TagkitError | None = None,
) -> HTMLResponse:
    kind = Kind(found.kind)
    stated = {line.name: line for line in plate_lines(kind, found.nameplate, units)}
    values = {
        "tag": found.tag,
        "fields": fields_of(PLATES[kind]),
        "stated": stated,
        "sources": SOURCES,
        "default_source": "stamped" if kind is Kind.BATTERY else "nameplate",
        "given": given,
        "error": error,
        "asks": isinstance(error, NeedsAnswer),
        "wrong": _wrong_field(error, "value"),
    }
    return page(request, "amend.html", values, _status(error))


def _void_page(
    request: Request,
    site: Site,
    found: Event,
    reason: str = "",
    second: str = "",
    error: TagkitError | None = None,
) -> HTMLResponse:
    never = None
    try:
        refuse_voiding(found)
    except WrongInput as why:
        never = why
    values = {
        "entry": entries([found])[0],
        "event": found,
        "two": by_two(found),
        "reason": reason,
        "second": second,
        "error": error,
        "never": never,
        "wrong": _wrong_field(error),
        "about": next((tag for tag in found.tags if site.record.state(tag)), ""),
    }
    return page(request, "void.html", values, _status(error))


def _wrong_field(error: TagkitError | None, otherwise: str = "") -> str:
    """The field of the form that the mistake is in; ``otherwise``: the one for whatever names a
    figure."""
    if error is None or isinstance(error, NeedsAnswer) or not error.where:
        return ""
    return _FIELDS.get(error.where, otherwise)


_FIELDS = {"field": "field", "--reason": "reason", "--second": "second", "--by": ""}
"""By where the jobs say that a mistake is."""


def _status(error: TagkitError | None) -> int:
    if error is None:
        return 200
    return 409 if isinstance(error, NeedsAnswer) else 400
