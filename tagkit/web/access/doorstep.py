"""What is told to whoever is turned away before any page: as JSON, or as a page to a person.

Nothing of the site stands in it, and nothing that the address asked for.
"""

from __future__ import annotations

import json

from markupsafe import Markup

from tagkit.language.words import Words

_PAGE = Markup(
    '<!doctype html>\n<html lang="{language}">\n<head><meta charset="utf-8">'
    '<meta name="viewport" content="width=device-width, initial-scale=1">'
    '<meta name="color-scheme" content="light dark"><title>{title}</title>'
    '<link rel="stylesheet" href="/static/app.css"></head>\n'
    '<body><main id="main"><h1>{title}</h1>\n'
    '<div class="mishap" role="alert"><p><b>{problem}</b></p><p>{remedy}</p></div>\n'
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
        language=language, title=words("That did not work"), problem=words.said(problem),
        remedy=words.said(remedy), way=_WAY.format(words("To the start page")) if way else "",
    )  # fmt: skip
    return b"text/html; charset=utf-8", str(page).encode()
