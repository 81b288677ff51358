"""For whoever watches the server: /health for a probe, /metrics in the OpenMetrics text form."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, PlainTextResponse, Response

from tagkit import __version__
from tagkit.errors import TagkitError
from tagkit.jobs.health import Health, health
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
        return JSONResponse({"schema": 1, "well": False, "reasons": [reason]}, 503)
    told: dict[str, Any] = {"schema": 1, **found.to_json()}
    return JSONResponse(told, 200 if found.well else 503)


@router.get("/metrics", response_class=PlainTextResponse)
def metrics(request: Request, site: TheSite, _visitor: TheVisitor) -> Response:
    """The same figures, and how many shifts and stations there are."""
    access = request.app.state.access
    (shifts,) = access.one("SELECT count(*) FROM shifts")
    lines = [*_lines(health(site), len(stations(access)), shifts), "# EOF", ""]
    return Response("\n".join(lines), media_type=OPENMETRICS)


def _lines(found: Health, enrolled: int, shifts: int) -> Iterator[str]:
    figures = (
        ("well", "1 when the record can be relied on.", int(found.well)),
        ("disk_free_bytes", "Free on the disk of the record.", found.free_disk),
        ("record_bytes", "Size of the record's file.", found.record_size),
        ("stations", "Enrolled devices.", enrolled),
        ("shifts", "Shifts that are open.", shifts),
        (
            "latest_event_timestamp_seconds",
            "Latest time in the record.",
            found.latest.timestamp() if found.latest else None,
        ),
    )
    yield "# TYPE tagkit_build info"
    yield f'tagkit_build_info{{version="{__version__}"}} 1'
    for name, about, value in figures:
        if value is None:
            continue
        yield f"# TYPE tagkit_{name} gauge"
        if name.endswith(("_bytes", "_seconds")):
            yield f"# UNIT tagkit_{name} {name.rpartition('_')[2]}"
        yield f"# HELP tagkit_{name} {about}"
        yield f"tagkit_{name} {value}"
