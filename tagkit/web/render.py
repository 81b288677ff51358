"""Pages from templates: the one Jinja environment, and what every page is given."""

from __future__ import annotations

import secrets
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from markupsafe import Markup

from tagkit.assets.legible import legible
from tagkit.web.firm import by_name, firm
from tagkit.web.keys import remedy_on_pages

TEMPLATES = Path(__file__).parent / "templates"


def environment() -> Environment:
    """Everything is escaped; a name that is not given is an error, not an empty string."""
    made = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        extensions=["jinja2.ext.i18n", "jinja2.ext.do"],
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(firm=firm, by_name=by_name)
    return made


def hidden(name: str, value: str) -> Markup:
    """A hidden field of a form."""
    return Markup('<input type="hidden" name="{}" value="{}">').format(name, value)


def page(
    request: Request,
    template: str,
    values: Mapping[str, Any] | None = None,
    status: int = 200,
) -> HTMLResponse:
    """The page, in the visitor's language. ``values`` are the template's own names.

    Marks that can't be seen are left out of it, whoever sent or recorded them.
    """
    from tagkit.language.words import Words

    words: Words = request.state.words
    visitor = request.state.visitor
    made = request.app.state.environments[words.language].get_template(template)
    html = made.render(
        request=request,
        visitor=visitor,
        words=words,
        mend=lambda remedy: remedy_on_pages(remedy, words),
        site_name=request.state.site_name,
        clock_behind=request.state.clock_behind,
        bar=request.state.bar,
        here=request.url.path,
        csrf_field=lambda: hidden("csrf", visitor.csrf),
        once_field=lambda: hidden("once", secrets.token_urlsafe(16)),
        now_seconds=round(request.app.state.door.clock().timestamp(), 1),
        **(values or {}),
    )
    return HTMLResponse(legible(html), status_code=status)
