"""The rotation list: what goes next and why, time left to cool, what is overdue; live."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from tagkit.assets.tag import Kind
from tagkit.jobs.assets import meant
from tagkit.jobs.site import Site
from tagkit.web.depends import TheSite, TheVisitor
from tagkit.web.render import page
from tagkit.web.shared import Shared
from tagkit.web.views.rotation import rotation_page, truck_rotation
from tagkit.web.visitor import Visitor

router = APIRouter()


@router.get("/rotation", response_class=HTMLResponse)
def show(request: Request, site: TheSite, visitor: TheVisitor, truck: str = "") -> Response:
    """The whole room, or what goes into one truck; a fleet number leads to the truck's number."""
    if truck.strip():
        found = meant(site.record, truck, Kind.TRUCK)
        if found.name is not None:
            return RedirectResponse(f"/rotation?truck={found.tag}", 303)
        return page(request, "rotation_truck.html", {"it": truck_rotation(site, truck)})
    return _list(request, site, visitor, "rotation.html")


@router.get("/rotation/now", response_class=HTMLResponse)
def now(request: Request, site: TheSite, visitor: TheVisitor) -> HTMLResponse:
    """The list alone, for a page that is open and was told of a change. Nothing in it is the
    visitor's own, so that all open pages share what one of them has had made."""
    shared: Shared = request.app.state.shared
    body = shared.answer(
        ("rotation", _number(request), visitor.language, visitor.units),
        site.now(),
        lambda: bytes(_list(request, site, visitor, "parts/rotation.html").body),
    )
    return _fresh(HTMLResponse(body))


def _list(request: Request, site: Site, visitor: Visitor, template: str) -> HTMLResponse:
    it = rotation_page(site, visitor.units, _number(request))
    return _fresh(page(request, template, {"it": it}))


def _number(request: Request) -> int:
    text = request.query_params.get("page", "1")
    return max(1, int(text)) if text.isascii() and text.isdigit() and len(text) < 7 else 1


def _fresh(answer: HTMLResponse) -> HTMLResponse:
    answer.headers["cache-control"] = "no-store"
    return answer
