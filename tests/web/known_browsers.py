"""Browsers that the app has given its cookie to."""

from __future__ import annotations

from fastapi import FastAPI
from fastapi.testclient import TestClient
from tagkit.web.access.browser import Browser, form_token


def known_browser(app: FastAPI, asking: TestClient, word: str = "t") -> Browser:
    """Give the client a browser's cookie; its forms carry the token from now on."""
    browser = Browser((word * 22)[:22], (word * 43)[:43])
    lan = app.state.options.lan
    name = "__Host-tagkit" if lan else "tagkit"
    asking.cookies.set(name, browser.cookie, asking.base_url.host, "/")
    asking.headers["X-CSRF"] = form_token(browser, app.state.access)
    return browser
