"""A form or call that is sent twice acts once, and the second gets the first's answer.

Each form carries a random key (``{{ once_field() }}``); a program sends it in the header
Idempotency-Key. The key is claimed, on the disk, before anything is done: whatever breaks in
between, it is not done twice.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from contextlib import suppress

from fastapi import HTTPException, Request, Response
from starlette.datastructures import UploadFile

from tagkit.errors import Busy, TagkitError
from tagkit.web.access.browser import Browser
from tagkit.web.access.refused import AlreadySent
from tagkit.web.access.store import AccessStore, hashed

KEPT_HOURS = 72
"""A tablet that was cut off may send what it kept after a long weekend."""

_LARGEST = 2_000_000
_KEPT_HEADERS = ("content-type", "location", "hx-redirect", "hx-trigger", "hx-location")


def once(request: Request, act: Callable[[], Response], key: str = "") -> Response:
    """The answer of ``act``, which is called at the first time only.

    Without a key it is simply called. ``key`` is for calls that carry theirs elsewhere (in a
    JSON body). A refusal (an error with a remedy, an answer of 400 and above) frees the key:
    nothing was done, so that it may be mended and sent again. Raises AlreadySent while the first
    is being worked on, when its outcome is not known, and when another content comes under the
    same key.
    """
    key = key or request.state.once_key
    if not key:
        return act()
    store: AccessStore = request.app.state.access
    now: float = request.app.state.door.clock().timestamp()
    named = _named(request, key)
    content = _content(request)
    if answered := _claim(store, named, content, now):
        return answered
    try:
        response = act()
    except (TagkitError, HTTPException):
        _free(store, named)
        raise
    if response.status_code >= 400:
        _free(store, named)
    else:
        with suppress(Busy):  # it is done: whoever asks again is told that it was sent before
            _keep(store, named, response)
    return response


def _free(store: AccessStore, named: str) -> None:
    store.run("DELETE FROM answers WHERE key = ? AND status IS NULL", (named,))


def _named(request: Request, key: str) -> str:
    """Keys of one browser or program do not meet those of another, nor of another page."""
    browser: Browser = request.state.browser
    whose = "" if browser.new else browser.id
    return hashed("\n".join((whose, request.method, request.url.path, key)))


def _content(request: Request) -> str:
    """What was sent, but for the tokens, in short."""
    form = request._form
    if form is None:
        body: bytes = getattr(request, "_body", b"")
        return hashlib.sha256(body).hexdigest()
    fields = [
        (name, f"{value.filename} {value.size}" if isinstance(value, UploadFile) else value)
        for name, value in form.multi_items()
        if name not in ("csrf", "once")
    ]
    return hashlib.sha256(json.dumps(fields).encode()).hexdigest()


def _claim(store: AccessStore, named: str, content: str, now: float) -> Response | None:
    """The kept answer; None when it is ours to act."""
    with store.writing():
        store.run("DELETE FROM answers WHERE at < ?", (now - KEPT_HOURS * 3600,))
        row = store.one(
            "SELECT content, status, headers, body FROM answers WHERE key = ?", (named,)
        )
        if row is None:
            store.run(
                "INSERT INTO answers (key, content, at) VALUES (?, ?, ?)", (named, content, now)
            )
            return None
    first, status, headers, body = row
    if first != content:
        raise AlreadySent(
            "this form was sent before, with something else in it",
            "Look at what was logged, open the page again, and repeat what is missing",
        )
    if status is None:
        raise AlreadySent(
            "this was sent before, and is being worked on or was cut off",
            "Look at what was logged before repeating it",
        )
    return Response(body, status, json.loads(headers))


def _keep(store: AccessStore, named: str, response: Response) -> None:
    body = bytes(getattr(response, "body", b""))
    if len(body) > _LARGEST:  # a file that was asked for: asking again is what its sender does
        body = b""
    headers = {name: value for name, value in response.headers.items() if name in _KEPT_HEADERS}
    store.run(
        "UPDATE answers SET status = ?, headers = ?, body = ? WHERE key = ?",
        (response.status_code, json.dumps(headers), body, named),
    )
