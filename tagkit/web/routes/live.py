"""Where open pages listen for changes of the record."""

from __future__ import annotations

import asyncio

from fastapi import APIRouter, Request
from fastapi.responses import StreamingResponse

from tagkit.web.access.refused import NotAllowed
from tagkit.web.access.visitors import visitor_of
from tagkit.web.changes import Changes
from tagkit.web.visitor import Visitor

router = APIRouter()
"""It sees to the visitor itself: a line that stays open must not keep a site borrowed."""


@router.get("/live/changes")
async def changes(request: Request) -> StreamingResponse:
    """Server-sent events; “change” says only that something is new. Pages fetch it themselves."""
    visitor = await asyncio.to_thread(_visitor, request)
    if not visitor.at_station and visitor.person is None:
        raise NotAllowed("nobody has begun a shift here", "Begin a shift, then open the page again")
    told: Changes = request.app.state.changes
    return StreamingResponse(
        told.messages(),
        media_type="text/event-stream",
        headers={"cache-control": "no-store", "x-accel-buffering": "no"},
    )


def _visitor(request: Request) -> Visitor:
    with request.app.state.door.borrow() as site:
        return visitor_of(request, site)
