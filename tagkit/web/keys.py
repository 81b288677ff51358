"""Remedies as a page says them: by its own keys and pages where they name commands."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tagkit.language.words import Words

KEYS = {
    "amend": "Correct a figure",
    "authorise": "People",
    "history": "What happened",
    "hold": "Take out of use",
    "marry": "Marry labels and cases",
    "receive": "Delivery",
    "retire": "Leaving the fleet",
    "seen": "Corrections",
}
"""The key or page that does what a command does. What only a command does keeps its name."""

FIELDS = {
    "--finding": "What was found, a line each",
    "--papers": "Transport papers",
    "--receipt": "Number of the recycler's receipt",
    "--set FIELD=VALUE": "What is right, with its unit",
}
"""The field that takes what an option takes."""

_OPTION = re.compile("|".join(FIELDS))
_QUOTED = re.compile(r"(?<=[“«])tagkit ([a-z]+)[^”»]*(?=[”»])")


def remedy_on_pages(remedy: str, words: Words) -> str:
    """The remedy in the reader's language, with “tagkit amend” as “Correct a figure”, and
    --receipt as the field that takes it."""

    def key(found: re.Match[str]) -> str:
        named = KEYS.get(found[1])
        return words(named) if named else found[0]

    told = _QUOTED.sub(key, words.said(remedy))
    return _OPTION.sub(lambda found: f"“{words(FIELDS[found[0]])}”", told)
