"""Stands before every page: which host is asked for, how much is sent, from where; and what
every answer says to the browser about itself.

Pure ASGI, so that live pictures and events pass through it without delay.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Mapping
from urllib.parse import urlsplit

from fastapi import HTTPException
from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import HTTPConnection
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from tagkit.web.access.browser import Browser, browser_of, set_cookie
from tagkit.web.access.crossing import SAFE, from_elsewhere
from tagkit.web.access.doorstep import POLICY as DOORSTEP
from tagkit.web.access.doorstep import told
from tagkit.web.access.visitors import asked_for
from tagkit.web.options import ServeOptions

log = logging.getLogger("tagkit.web.request")

MEGABYTE = 1_000_000
LARGEST_UPLOAD = 25 * MEGABYTE
"""Of a form with files: a supplier's sheet, a photograph. They go to the disk, not into memory."""
LARGEST_BODY = MEGABYTE
"""Of anything else: fields, JSON, a frame of a camera."""

POLICY = (
    "default-src 'self'; img-src 'self' data: blob:; media-src 'self' blob:; object-src 'none'; "
    "base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)
SECURITY: Mapping[str, str] = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(self), microphone=(), geolocation=(), payment=(), usb=()",
}


class Gate:
    """The middleware."""

    def __init__(self, app: ASGIApp, options: ServeOptions) -> None:
        self.app = app
        self.options = options

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Turn away what must not come in; let the rest pass, and sign the answer."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        browser = browser_of(HTTPConnection(scope), self.options)
        scope.setdefault("state", {})["browser"] = browser
        turned_away = self._turned_away(scope, headers)
        if scope["type"] == "websocket":
            if turned_away:
                log.warning("turned away", extra={"path": scope["path"], "why": turned_away[1]})
                await send({"type": "websocket.close", "code": 1008, "reason": turned_away[1]})
            else:
                await self.app(scope, receive, send)
            return
        answer = _Answer(scope, send, browser, self.options, turned_away is not None)
        for_a_person = "text/html" in headers.get("accept", "")
        if turned_away and not (turned_away[0] == 413 and for_a_person):
            language = asked_for(headers.get("accept-language", "")) or "en"
            await _refuse(answer, turned_away, language if for_a_person else None)
            return
        largest = _largest(headers)
        limited = _too_much(largest) if turned_away else _limited(receive, largest)
        await self.app(scope, limited, answer)

    def _turned_away(self, scope: Scope, headers: Headers) -> tuple[int, str, str] | None:
        """Status, problem and remedy; None when it may come in."""
        if _host(headers.get("host", "")) not in self.options.hosts:
            return (
                421,
                "this address is not one of ours",
                "Open the address that “tagkit serve” told; whoever looks after the server has it",
            )
        unsafe = scope["type"] == "websocket" or scope["method"] not in SAFE
        if unsafe and from_elsewhere(headers, self.options):
            return 403, "this came from a page of another site", "Open the page here"
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > _largest(headers):
            return 413, *too_large(_largest(headers))
        return None


class TooLarge(HTTPException):
    """A body of more than ``most`` bytes."""

    def __init__(self, most: int) -> None:
        super().__init__(413, ". ".join(too_large(most)))
        self.most = most


def too_large(largest: int) -> tuple[str, str]:
    """Problem and remedy."""
    return "this is too large", f"Send at most {largest // MEGABYTE} MB"


def _host(header: str) -> str:
    """The host's name or address without the port; empty for what is none."""
    try:
        return (urlsplit(f"//{header}").hostname or "").lower()
    except ValueError:
        return ""


def _largest(headers: Headers) -> int:
    files = headers.get("content-type", "").lower().startswith("multipart/form-data")
    return LARGEST_UPLOAD if files else LARGEST_BODY


def _limited(receive: Receive, largest: int) -> Receive:
    """The body as it comes, cut off with an error where it is longer than it may be."""
    taken = 0

    async def limited() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > largest:
            raise TooLarge(largest)
        return message

    return limited


def _too_much(largest: int) -> Receive:
    """In place of a body that is announced too large: the page that a person gets says so."""

    async def too_much() -> Message:
        raise TooLarge(largest)

    return too_much


async def _refuse(send: Send, turned_away: tuple[int, str, str], language: str | None) -> None:
    status, problem, remedy = turned_away
    kind, body = told(language, problem, remedy, way=status != 421)
    await send(
        {
            "type": "http.response.start",
            "status": status,
            "headers": [
                (b"content-type", kind),
                (b"content-length", str(len(body)).encode()),
                (b"content-security-policy", DOORSTEP.encode()),
                (b"connection", b"close"),
            ],
        }
    )
    await send({"type": "http.response.body", "body": body})


class _Answer:
    """Sends the answer on, with the headers that all answers bear and a cookie where one is new."""

    def __init__(
        self,
        scope: Scope,
        send: Send,
        browser: Browser,
        options: ServeOptions,
        turned_away: bool,
    ) -> None:
        self.scope = scope
        self.turned_away = turned_away
        self.send = send
        self.browser = browser
        self.options = options
        self.began = time.perf_counter()

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self._sign(MutableHeaders(scope=message))
            self._log(message["status"])
        await self.send(message)

    def _sign(self, headers: MutableHeaders) -> None:
        static = self.scope["path"].startswith("/static/")
        for name, value in SECURITY.items():
            headers.setdefault(name, value)
        # Static files are asked about again and mostly not sent again; pages are not kept.
        headers.setdefault("cache-control", "no-cache" if static else "no-store")
        if self.browser.new and not static and not self.turned_away:
            headers.append("set-cookie", set_cookie("tagkit", self.browser.cookie, self.options))

    def _log(self, status: int) -> None:
        visitor = self.scope["state"].get("visitor")
        log.info(
            "request",
            extra={
                "method": self.scope["method"],
                "path": self.scope["path"],
                "status": status,
                "ms": round((time.perf_counter() - self.began) * 1000, 1),
                "person": visitor.person if visitor else None,
                "station": visitor.station if visitor else None,
            },
        )
