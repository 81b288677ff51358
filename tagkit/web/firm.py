"""Text in which no number of a label and no figure is broken over two lines."""

from __future__ import annotations

import re

from markupsafe import Markup, escape

_NUMBER = re.compile(r"\b[BTCLR]-[A-Z]{2,4}-(?:[0-9A-Z]{5,7}-[0-9A-Z]\b|…)")
_DESIGNATION = re.compile(r"(?<![-\w])\d{1,2}-\d{2,4}-\d{1,3}(?![-\w])")
_MOMENT = re.compile(r"\b\d{4}-\d\d-\d\d(?: \d\d:\d\d)?\b")
_FIGURE = re.compile(r"(?<=\d) (?=(?:V|Ah|A|kg|lb|mm|cm|m|in|ft|h|l|gal|°C|°F|%|SG)(?![\w]))")
_RANGE = re.compile(r" – (?=\d)")
_NAMED = re.compile(r"\b[BTCLR]-[A-Z]{2,4}-[0-9A-Z]{5,7}-[0-9A-Z] \(([^()]+)\)")


def firm(text: object) -> Markup:
    """The text, escaped; a number such as B-QM-00417-D, a designation such as 18-125-17, a date and
    a figure with its unit stay whole, and no line begins with the dash of a range."""
    said = _FIGURE.sub("\N{NO-BREAK SPACE}", str(escape(text)))
    said = _RANGE.sub("\N{NO-BREAK SPACE}– ", said)
    for whole in (_NUMBER, _DESIGNATION, _MOMENT):
        said = whole.sub(lambda found: f'<span class="nowrap">{found[0]}</span>', said)
    return Markup(said)


def by_name(text: str) -> str:
    """“at charger C-QM-00010-P (A10)” as people say it: “at charger A10”. What has no name of its
    own keeps its number."""
    return _NAMED.sub(lambda found: found[1], text)
