"""The API: the same answers as the command line's --json, over HTTP.

Described by OpenAPI at /api/openapi.json. Mishaps are objects, too: ``problem``, ``remedy``,
``where``.
"""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from fastapi.responses import Response
from pydantic import BaseModel, Field

from tagkit.assets.tag import Kind
from tagkit.jobs.fit import judge
from tagkit.jobs.fleet import fleet_page
from tagkit.jobs.tables import Cell, Table, csv_text
from tagkit.jobs.whereabouts import where_is
from tagkit.web.depends import TheSite

SCHEMA = 1


class Mishap(BaseModel):
    """What went wrong and what to do about it."""

    schema_: Literal[1] = Field(alias="schema")
    problem: str
    remedy: str
    where: str


MISHAPS: dict[int | str, dict[str, Any]] = {
    400: {"model": Mishap, "description": "A number or value that can't be one."},
    403: {"model": Mishap, "description": "This device or person may not."},
    404: {"model": Mishap, "description": "Not in the record."},
    422: {"model": Mishap, "description": "A parameter that can't be taken."},
    503: {"model": Mishap, "description": "The record is busy; try again."},
}

router = APIRouter(prefix="/api", tags=["look-up"], responses=MISHAPS)

Number = Annotated[
    str, Path(max_length=64, description="The number on a label.", examples=["B-QM-00417-D"])
]
KindName = Literal["battery", "truck", "charger", "lifting", "room"]


class Where(BaseModel):
    """Where an asset is; absent facts are null, times ISO 8601 with offset."""

    schema_: Literal[1] = Field(1, alias="schema")
    tag: str
    place: str | None
    in_truck: str | None
    on_charger: str | None
    state: str
    reasons: list[str]
    since: str | None
    last_charged_at: str | None
    last_changed_at: str | None
    holds: list[str] = Field(description="Batteries that this truck or charger holds.")


class Assets(BaseModel):
    """A page of the fleet, by number."""

    schema_: Literal[1] = Field(1, alias="schema")
    total: int
    page: int
    pages: int
    assets: list[dict[str, Any]]


@router.get("/where/{number}", response_model=Where)
def where(site: TheSite, number: Number) -> dict[str, Any]:
    """Where it is, when it was last charged, what state it is in."""
    return {"schema": SCHEMA, **where_is(site, number).to_json()}


@router.get("/fit/{battery}/{other}")
def fit(site: TheSite, battery: Number, other: Number) -> dict[str, Any]:
    """The verdict on a battery and a truck, charger or lifting gear, in either order.

    ``verdict`` is fit, no_fit or not_confirmed; only fit together with ``readiness.ready`` means
    go. Not confirmed is never a fit.
    """
    return {"schema": SCHEMA, **judge(site, battery, other).to_json()}


@router.get("/assets", response_model=Assets)
def assets(
    site: TheSite,
    q: Annotated[str, Query(max_length=80, description="Words in number, serial, name.")] = "",
    kind: KindName | None = None,
    page: Annotated[int, Query(ge=1, le=1_000_000)] = 1,
) -> dict[str, Any]:
    """The fleet, fifty at a time."""
    found = fleet_page(site, q, Kind[kind.upper()] if kind else None, page)
    rows = [{**row.to_json(), "known_as": row.known_as} for row in found.rows]
    return {
        "schema": SCHEMA, "total": found.total, "page": found.number, "pages": found.pages,
        "assets": rows,
    }  # fmt: skip


@router.get(
    "/assets.csv",
    response_class=Response,
    responses={200: {"content": {"text/csv": {}}, "description": "The whole fleet."}},
)
def assets_as_csv(site: TheSite, kind: KindName | None = None) -> Response:
    """The whole fleet as a table for a spreadsheet."""
    wanted = Kind[kind.upper()] if kind else None
    rows: list[tuple[Cell, ...]] = []
    number, pages = 1, 1
    while number <= pages:
        found = fleet_page(site, "", wanted, number)
        pages, number = found.pages, number + 1
        rows += [
            (row.tag, row.known_as, row.state, row.place, row.last_charged_at, row.last_changed_at)
            for row in found.rows
        ]
    headers = ("number", "known as", "state", "place", "last charged", "last changed")
    return Response(
        csv_text([Table("assets", headers, tuple(rows))]).encode("utf-8-sig"),
        media_type="text/csv; charset=utf-8",
        headers={"Content-Disposition": 'attachment; filename="assets.csv"'},
    )
