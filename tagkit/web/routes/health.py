"""For whoever watches the server: /health for a probe, /metrics in the OpenMetrics text form."""

from __future__ import annotations

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, PlainTextResponse, Response

from tagkit.errors import TagkitError
from tagkit.jobs.health import health, open_metrics
from tagkit.web.access.devices import stations
from tagkit.web.depends import TheSite, TheVisitor
from tagkit.web.door import SiteDoor

router = APIRouter()
open_router = APIRouter()
"""Answered without a visitor: a record that can't be opened is an answer, too."""

OPENMETRICS = "application/openmetrics-text; version=1.0.0; charset=utf-8"


@open_router.get("/health", response_class=JSONResponse)
def probe(request: Request) -> Response:
    """200 when the record can be relied on, else 503 with the reasons."""
    door: SiteDoor = request.app.state.door
    try:
        with door.borrow() as site:
            found = health(site)
    except (TagkitError, OSError) as error:
        reason = error.problem if isinstance(error, TagkitError) else "the site can't be read"
        return JSONResponse({"schema": 1, "ok": False, "troubles": [reason]}, 503)
    told: dict[str, Any] = {"schema": 1, **found.to_json()}
    return JSONResponse(told, 503 if found.troubles else 200)


@router.get("/metrics", response_class=PlainTextResponse)
def metrics(request: Request, site: TheSite, _visitor: TheVisitor) -> Response:
    """The same figures, and how many shifts and devices there are."""
    access = request.app.state.access
    (shifts,) = access.one("SELECT count(*) FROM shifts")
    text = open_metrics(health(site), {"shifts": shifts, "devices": len(stations(access))})
    return Response(text, media_type=OPENMETRICS)
