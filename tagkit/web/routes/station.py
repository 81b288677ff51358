"""The change station, the check at the bay, and what a tablet noted while it was cut off."""

from __future__ import annotations

import asyncio
from typing import Annotated, Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request, WebSocket
from fastapi.params import Body
from fastapi.responses import HTMLResponse, JSONResponse, Response

from tagkit.web.access.devices import is_own_computer
from tagkit.web.access.once import once
from tagkit.web.access.refused import NobodyHere, NotAllowed
from tagkit.web.access.visitors import visitor_of
from tagkit.web.booth.bay import Bay
from tagkit.web.booth.floor import floor_of
from tagkit.web.booth.live import Live
from tagkit.web.booth.noted import Noted, log_noted
from tagkit.web.depends import Attendant, TheSite, TheVisitor
from tagkit.web.render import page
from tagkit.web.visitor import Visitor

router = APIRouter()
live = APIRouter()
"""WebSockets: they see to the visitor themselves."""

NOBODY = "nobody has begun a shift here"


@router.get("/station", response_class=HTMLResponse)
def station(request: Request, site: TheSite, visitor: TheVisitor) -> HTMLResponse:
    """The screen at which a battery is changed."""
    if not visitor.at_station:
        raise NotAllowed(
            "this device is no station of the site, so no change can be logged here",
            "Check a battery under “Check at the bay”, or have the device enrolled",
        )
    return page(request, "station.html", _values(request, site.settings.station.foot_switch,
                                                 "/station/live"))  # fmt: skip


@router.get("/check", response_class=HTMLResponse)
def check(
    request: Request, site: TheSite, visitor: TheVisitor, number: str = "", truck: str = ""
) -> HTMLResponse:
    """Fit and ready, asked where the battery stands; nothing is logged.

    ``number`` and ``truck``: what a link has shown already.
    """
    if not visitor.at_station and visitor.person is None:
        raise NobodyHere(NOBODY, "Begin a shift, then open the page again")
    shown = {name: text[:60] for name, text in (("number", number), ("truck", truck)) if text}
    line = f"/check/live?{urlencode(shown)}" if shown else "/check/live"
    return page(request, "check.html", _values(request, site.settings.station.foot_switch, line))


def _values(request: Request, foot_switch: str, line: str) -> dict[str, Any]:
    own = floor_of(request.app).camera is not None and is_own_computer(
        request, request.app.state.options
    )
    return {"foot_switch": foot_switch, "live": line, "own_camera": own}


@router.post("/station/noted")
def noted(
    request: Request, site: TheSite, visitor: Attendant, note: Annotated[Noted, Body()]
) -> Response:
    """What was done while the tablet was cut off: recorded as seen, each note once."""

    def act() -> JSONResponse:
        return JSONResponse({"schema": 1, "key": note.key, **log_noted(site, note, visitor)})

    return once(request, act, f"noted {note.key}")


@live.websocket("/station/live")
async def station_live(socket: WebSocket) -> None:
    """The line of a station's page."""
    visitor = await _visitor(socket)
    if not visitor.at_station:
        await socket.close(1008, "this device is not a station")
        return
    floor = floor_of(socket.app)
    wants_own = socket.query_params.get("camera") == "own"
    own = floor.camera if wants_own and is_own_computer(socket, socket.app.state.options) else None
    await socket.accept()
    await Live(socket, floor.booth(visitor.station), own).run()


@live.websocket("/check/live")
async def check_live(socket: WebSocket) -> None:
    """The line of a check at the bay."""
    visitor = await _visitor(socket)
    if not visitor.at_station and visitor.person is None:
        await socket.close(1008, NOBODY)
        return
    await socket.accept()
    bay = Bay(visitor.station, floor_of(socket.app).waiting_trucks)
    for name in ("truck", "number"):
        if text := socket.query_params.get(name, "")[:60]:
            await _shown(socket, bay, visitor, text)
    await Live(socket, bay).run()


async def _shown(socket: WebSocket, bay: Bay, visitor: Visitor, text: str) -> None:
    """What a link leads with counts as typed."""

    def work() -> None:
        with socket.app.state.door.borrow() as site:
            bay.typed(site, visitor.person, text)

    await asyncio.to_thread(work)


async def _visitor(socket: WebSocket) -> Visitor:
    def work() -> Visitor:
        with socket.app.state.door.borrow() as site:
            return visitor_of(socket, site)

    return await asyncio.to_thread(work)
