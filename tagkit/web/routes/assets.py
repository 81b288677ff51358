"""Every asset in a list, with search and paging."""

from __future__ import annotations

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from tagkit.web.render import page

router = APIRouter()


@router.get("/", response_class=HTMLResponse)
def start(request: Request) -> HTMLResponse:
    """The start page: the three moments, and what the room needs now."""
    return page(request, "start.html")
