"""The start page, the fleet in pages, and finding one asset by anything that it is called."""

from __future__ import annotations

from urllib.parse import quote, urlencode

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.jobs.assets import kind_named
from tagkit.jobs.fleet import FleetPage, fleet_page, one_meant
from tagkit.record.search import STATES
from tagkit.web.depends import TheSite, TheVisitor
from tagkit.web.judged import up_to_date
from tagkit.web.render import page
from tagkit.web.views.room import room_now
from tagkit.web.views.states import role_of

router = APIRouter()

LONGEST_WORDS = 80


@router.get("/", response_class=HTMLResponse)
def start(request: Request, site: TheSite, visitor: TheVisitor) -> HTMLResponse:
    """The start page: the three moments, and what the room needs now.

    A device that nobody knows is told where to begin a shift, and nothing of the room.
    """
    known = visitor.at_station or visitor.person is not None
    return page(request, "start.html", {"room": room_now(site) if known else None})


@router.get("/assets", response_class=HTMLResponse)
def fleet(
    request: Request, site: TheSite, q: str = "", kind: str = "", state: str = ""
) -> HTMLResponse:
    """Every asset, 50 at a time."""
    number = _number(request.query_params.get("page", "1"))
    words, wanted = q.strip()[:LONGEST_WORDS], _kind(kind)
    state = state if state in STATES else ""
    current = up_to_date(site) if state else True
    found = fleet_page(site, words, wanted, number, state)
    return page(
        request,
        "assets.html",
        {
            "found": found,
            "q": words,
            "kind": wanted.noun if wanted else "",
            "kinds": list(Kind),
            "state": state,
            "states": list(STATES),
            "current": current,
            "role_of": role_of,
            "address": _addresses(words, wanted, state, found),
            "now": site.now(),
        },
    )


@router.get("/find")
def find(site: TheSite, q: str = "") -> Response:
    """Straight to the one asset that is meant, else to the list of those that may be."""
    words = q.strip()[:LONGEST_WORDS]
    tag = one_meant(site, words) if words else None
    if tag is None and words:
        hits = fleet_page(site, words)
        tag = hits.rows[0].tag if hits.total == 1 else None
    if tag is not None:
        return RedirectResponse(f"/A/{quote(tag)}", 303)
    return RedirectResponse(f"/assets?{urlencode({'q': words})}" if words else "/assets", 303)


def _kind(words: str) -> Kind | None:
    """The kind that is meant; an address typed wrongly lists everything."""
    try:
        return kind_named(words) if words else None
    except WrongInput:
        return None


def _number(text: str) -> int:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 7 else 1


def _addresses(words: str, kind: Kind | None, state: str, found: FleetPage) -> dict[str, str]:
    """Where the neighbours of this page of the list are."""
    near = {"previous": found.number - 1, "next": found.number + 1, "last": found.pages}
    asked = {"q": words, "kind": kind.noun if kind else "", "state": state}
    return {
        name: f"/assets?{urlencode({**{k: v for k, v in asked.items() if v}, 'page': number})}"
        for name, number in near.items()
        if 1 <= number <= found.pages
    }
