"""The guide: setting up, the first days, what the answers mean, and the cautions."""

from __future__ import annotations

import math

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from tagkit.errors import NotFound, TagkitError, WrongInput
from tagkit.jobs.printing import offered_template, offered_templates
from tagkit.web.depends import TheSite, TheVisitor
from tagkit.web.render import page
from tagkit.web.views.guide import TOPICS, Reach, picture_size, reach_of

router = APIRouter()


@router.get("/guide", response_class=HTMLResponse)
def contents(request: Request, _visitor: TheVisitor) -> HTMLResponse:
    """What the guide tells."""
    return page(request, "guide/contents.html", {"topics": TOPICS})


@router.get("/guide/{topic}", response_class=HTMLResponse)
def show(
    request: Request,
    topic: str,
    site: TheSite,
    visitor: TheVisitor,
    template: str = "",
    camera: str = "",
    angle: str = "",
    distance: str = "",
) -> HTMLResponse:
    """One topic; the one about the station works out the camera's distance."""
    if topic not in TOPICS:
        raise NotFound("there is no such page", "Look it up from the start page")
    names = list(TOPICS)
    at = names.index(topic)
    values: dict[str, object] = {
        "topics": TOPICS,
        "topic": topic,
        "size_of": picture_size,
        "before": names[at - 1] if at else None,
        "after": names[at + 1] if at + 1 < len(names) else None,
    }
    if topic == "station":
        chosen = offered_template(site, template or None)
        reach, error = None, None
        try:
            reach = _reach(chosen.name, visitor.units, camera, angle, distance)
        except TagkitError as wrong:
            error = wrong
        values |= {"template": chosen.name, "templates": offered_templates(), "reach": reach,
                   "error": error, "camera": camera, "angle": angle,
                   "distance": distance}  # fmt: skip
    return page(request, f"guide/{topic}.html", values)


def _reach(template: str, units: str, camera: str, angle: str, distance: str) -> Reach:
    pixels, degrees = _number(camera), _number(angle)
    return reach_of(
        template, units == "us", int(pixels) if pixels else None, degrees, distance[:40]
    )


def _number(text: str) -> float | None:
    if not text.strip():
        return None
    try:
        figure = float(text.replace(",", "."))
    except ValueError:
        figure = math.nan
    if not math.isfinite(figure):
        raise WrongInput(f"“{text[:40]}” is not a number", "Write digits")
    return figure
