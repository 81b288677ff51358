"""Requests that another site made this browser send are turned away.

Three guards, each enough by itself in a browser of today: what the browser says of where a
request comes from (Sec-Fetch-Site, Origin), cookies that do not travel along from elsewhere
(SameSite), and a token in every form.
"""

from __future__ import annotations

import hmac

from fastapi import Request
from starlette.datastructures import Headers

from tagkit.web.access.browser import Browser, form_token
from tagkit.web.access.refused import ForgedForm
from tagkit.web.options import ServeOptions

SAFE = frozenset(("GET", "HEAD", "OPTIONS"))
_FORMS = ("application/x-www-form-urlencoded", "multipart/form-data")


def from_elsewhere(headers: Headers, options: ServeOptions) -> bool:
    """Whether a browser says that the request comes from another site than ours."""
    if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
        return True
    origin = headers.get("origin")
    return origin is not None and origin != f"{options.scheme}://{headers.get('host', '')}"


async def check_form(request: Request) -> None:
    """ForgedForm for an unsafe request without the token of this browser's pages.

    The token stands in the field ``csrf`` or the header X-CSRF. A program that sends JSON to
    the API, bears no cookie and is no browser needs none: there is nothing it could ride on.
    Leaves the idempotency key in ``request.state.once_key``.
    """
    fields: dict[str, object] = {}
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if request.method not in SAFE and kind in _FORMS:
        fields = dict(await request.form())
    request.state.once_key = str(
        fields.get("once") or request.headers.get("idempotency-key") or ""
    )[:200]
    if request.method in SAFE or _is_program(request, kind):
        return
    browser: Browser = request.state.browser
    given = str(request.headers.get("x-csrf") or fields.get("csrf") or "")
    wanted = form_token(browser, request.app.state.access)
    if browser.new or not hmac.compare_digest(given.encode(), wanted.encode()):
        raise ForgedForm(
            "this page is out of date, or was not one of ours; nothing was logged",
            "Open it again and repeat what you did",
        )


def _is_program(request: Request, kind: str) -> bool:
    return (
        request.url.path.startswith("/api/")
        and kind == "application/json"
        and not any(name in request.headers for name in ("cookie", "origin", "sec-fetch-site"))
    )
