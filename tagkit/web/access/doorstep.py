"""What is told to whoever is turned away before any page: as JSON, or as a page to a person.

Nothing of the site stands in it, and nothing that the address asked for. Its look comes with it:
where the host is not one of ours, a stylesheet would be refused as the page was. What the browser
takes as style is this one by its hash, and nothing else.
"""

from __future__ import annotations

import base64
import hashlib
import json

from markupsafe import Markup

from tagkit.language.words import Words

_STYLE = """
:root {
  color-scheme: light dark;
  --ground: #eeece6; --panel: #fff; --ink: #1b1f22; --stop: #a3161f; --accent: #1d4d66; --on: #fff;
  font: 100%/1.45 system-ui, "Segoe UI", "Noto Sans", "DejaVu Sans", sans-serif;
}
@media (prefers-color-scheme: dark) {
  :root {
    --ground: #121517; --panel: #1b2023; --ink: #eceeee; --stop: #ff8a84; --accent: #9fd0e6;
    --on: #0f1d24;
  }
}
body { margin: 0; padding: 1rem; background: var(--ground); color: var(--ink); overflow-wrap: break-word; }
main { max-width: 40rem; margin: 0 auto; }
h1 { font-size: 1.6rem; line-height: 1.2; }
.mishap { padding: .3rem 1rem; background: var(--panel); border: 3px solid var(--stop); border-radius: 3px; }
.mishap b { color: var(--stop); }
.mishap svg { width: 1.35em; height: 1.35em; vertical-align: -.3em; margin-right: .3em; fill: var(--stop); }
.press {
  display: inline-flex; align-items: center; min-height: 44px; padding: 0 1.1rem; color: var(--on);
  background: var(--accent); border-radius: 3px; font-weight: 650; text-decoration: none;
}
"""
POLICY = (
    "default-src 'none'; style-src 'sha256-"
    f"{base64.b64encode(hashlib.sha256(_STYLE.encode()).digest()).decode()}'; base-uri 'none'; "
    "form-action 'none'; frame-ancestors 'none'"
)
"""Content-Security-Policy of the page."""
_PAGE = Markup(
    '<!doctype html>\n<html lang="{language}">\n<head><meta charset="utf-8">'
    '<meta name="viewport" content="width=device-width, initial-scale=1">'
    '<meta name="color-scheme" content="light dark"><title>{title}</title>'
    "<style>{style}</style></head>\n"
    '<body><main id="main"><h1>{title}</h1>\n'
    '<div class="mishap" role="alert"><p><svg viewBox="0 0 24 24" aria-hidden="true">'
    '<path fill-rule="evenodd" d="M7.5 1h9L23 7.5v9L16.5 23h-9L1 16.5v-9zM6 10.3v3.4h12v-3.4z"/>'
    "</svg><b>{problem}</b></p><p>{remedy}</p></div>\n"
    "{way}</main></body>\n</html>\n"
)
_WAY = Markup('<p class="presses"><a class="press" href="/">{}</a></p>\n')


def told(language: str | None, problem: str, remedy: str, way: bool) -> tuple[bytes, bytes]:
    """Media type and body. ``language``: of the person who reads it, None for a program;
    ``way``: whether the start page may be offered."""
    if language is None:
        body = {"schema": 1, "problem": problem, "remedy": remedy, "where": ""}
        return b"application/json", json.dumps(body).encode()
    words = Words(language, "metric", None)
    page = _PAGE.format(
        language=language, style=Markup(_STYLE), title=words("That did not work"),
        problem=words.said(problem), remedy=words.said(remedy),
        way=_WAY.format(words("To the start page")) if way else "",
    )  # fmt: skip
    return b"text/html; charset=utf-8", str(page).encode()
