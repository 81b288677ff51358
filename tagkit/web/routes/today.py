"""The morning list and its calendar."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from tagkit.jobs.calendar import calendar_text
from tagkit.jobs.today import today
from tagkit.web.depends import TheSite, TheVisitor
from tagkit.web.render import page
from tagkit.web.views.dues import due_groups
from tagkit.web.views.timeline import pieces

router = APIRouter()

MOST = 200


@router.get("/today", response_class=HTMLResponse)
def show(request: Request, site: TheSite, _visitor: TheVisitor) -> HTMLResponse:
    """What is overdue and due, what was flagged, what changed since yesterday."""
    listed = today(site, most=MOST)
    values = {"it": listed, "due_groups": due_groups(listed.dues), "pieces": pieces}
    return page(request, "today.html", values)


@router.get("/today.ics")
def calendar(site: TheSite, _visitor: TheVisitor) -> Response:
    """What falls due, for a calendar program to follow (iCalendar, RFC 5545)."""
    return Response(
        calendar_text(site),
        media_type="text/calendar; charset=utf-8",
        headers={"content-disposition": 'attachment; filename="due.ics"'},
    )
