"""A single asset by form."""

from __future__ import annotations

from collections.abc import Mapping

from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tagkit.assets.fields import fields_of
from tagkit.assets.kinds import PLATES
from tagkit.assets.tag import Kind
from tagkit.jobs.assets import kind_named
from tagkit.jobs.new_asset import WrongFields, take_in_one
from tagkit.web.access.once import once
from tagkit.web.depends import Technician, TheSite
from tagkit.web.render import page

router = APIRouter()

# What people have at hand on the day comes first; the rest is folded away.
FIRST: Mapping[Kind, tuple[str, ...]] = {
    Kind.BATTERY: ("maker_serial", "fleet_number", "designation", "voltage", "capacity",
                   "capacity_rate", "weight", "chemistry", "connector"),
    Kind.TRUCK: ("fleet_number", "maker_serial", "model", "voltage", "weight_min", "weight_max",
                 "chemistries", "connector"),
    Kind.CHARGER: ("bay", "maker_serial", "voltages", "capacity_min", "capacity_max", "chemistries",
                   "connector"),
    Kind.LIFTING: ("maker_serial", "fleet_number", "gear", "rated_load", "inspection_due"),
    Kind.ROOM: ("maker_serial", "equipment"),
}  # fmt: skip


@router.get("/assets/new", response_class=HTMLResponse)
def form(request: Request, _person: Technician, kind: str = "battery") -> HTMLResponse:
    """An empty form."""
    return _form(request, kind_named(kind), {}, False, {})


@router.post("/assets/new")
async def take(request: Request, site: TheSite, person: Technician) -> Response:
    """The asset gets its number."""
    form = await request.form()
    given = {name: ", ".join(map(str, form.getlist(name))) for name in form}
    kind = kind_named(given.get("kind", ""))
    names = fields_of(PLATES[kind])
    written = {name: text for name, text in given.items() if name in names}
    stamped = given.get("as_stamped") == "yes"

    def act() -> Response:
        taken = take_in_one(
            site, kind, written, as_stamped=stamped, by=str(person.person), station=person.station
        )
        return RedirectResponse(f"/A/{taken.tag}", 303)

    def answer() -> Response:
        try:
            return once(request, act)
        except WrongFields as error:
            return _form(request, kind, written, stamped, error.by_field)

    return await run_in_threadpool(answer)


def _form(
    request: Request,
    kind: Kind,
    written: Mapping[str, str],
    as_stamped: bool,
    wrong: Mapping[str, Exception],
) -> HTMLResponse:
    fields = fields_of(PLATES[kind])
    first = [name for name in FIRST[kind] if name in fields]
    values = {
        "kind": kind,
        "kinds": list(Kind),
        "first": [(name, fields[name]) for name in first],
        "more": [(name, spec) for name, spec in fields.items() if name not in first],
        "written": written,
        "as_stamped": as_stamped,
        "wrong": wrong,
    }
    return page(request, "new_asset.html", values, 422 if wrong else 200)
