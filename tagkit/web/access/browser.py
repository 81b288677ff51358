"""One browser: its cookie, and the token that its forms carry.

The cookie is ``id.secret``. What somebody opens in this browser is bound to the secret, which is
made anew when a PIN proved who it is; the forms' token is made from the id, so that pages that
are open meanwhile still work.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from dataclasses import dataclass

from starlette.requests import HTTPConnection

from tagkit.web.access.store import AccessStore, hashed
from tagkit.web.options import ServeOptions

_COOKIE = re.compile(r"([A-Za-z0-9_-]{22})\.([A-Za-z0-9_-]{43})", re.ASCII)


@dataclass
class Browser:
    """Whoever holds this cookie; ``new`` while the cookie has not been given out."""

    id: str
    secret: str
    new: bool = False

    @property
    def cookie(self) -> str:
        """What the browser keeps."""
        return f"{self.id}.{self.secret}"

    @property
    def key(self) -> str:
        """Under which the store knows it."""
        return hashed(self.cookie)

    def renew(self) -> None:
        """Another secret, given out with the answer to this request."""
        self.secret, self.new = secrets.token_urlsafe(32), True


def browser_of(connection: HTTPConnection, options: ServeOptions) -> Browser:
    """The browser behind a request or WebSocket; a new one when it brings no cookie of ours."""
    if match := _COOKIE.fullmatch(connection.cookies.get(cookie_name("tagkit", options), "")):
        return Browser(match[1], match[2])
    return Browser(secrets.token_urlsafe(16), secrets.token_urlsafe(32), new=True)


def cookie_name(name: str, options: ServeOptions) -> str:
    """Under TLS with the prefix by which browsers guard that it came from this host, securely."""
    return f"__Host-{name}" if options.lan else name


def set_cookie(name: str, value: str, options: ServeOptions, days: int | None = None) -> str:
    """The header: not for scripts, not sent along from other sites."""
    age = f"; Max-Age={days * 86400}" if days is not None else ""
    secure = "; Secure" if options.lan else ""
    return f"{cookie_name(name, options)}={value}; Path=/; HttpOnly; SameSite=Lax{secure}{age}"


def form_token(browser: Browser, store: AccessStore) -> str:
    """What a form of this browser must carry."""
    made = hmac.new(store.secret, f"form {browser.id}".encode(), hashlib.sha256)
    return made.hexdigest()[:40]
