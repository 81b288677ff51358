"""Text as it may be kept and shown: nothing in it that can't be seen and does something.

Control characters steer terminals and break tables and XML; marks that turn the direction of
reading (Unicode Standard Annex #9, 2.1 to 2.5) make a line read as another one; half characters
(surrogates) can't be written at all. Letters of every script, joiners and line breaks stay.
"""

from __future__ import annotations

import re
from typing import Any

from tagkit.errors import WrongInput

LONGEST = 4_000
"""Letters of one text that a person may record: two pages."""

_UNSEEN = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\xad\u200b\u2028-\u202e\u2060-\u206f\ufeff\ufff9-\ufffb"
    "\U000e0000-\U000e007f\ud800-\udfff]"
)
_HALF = re.compile("[\ud800-\udfff]")
_BREAKS = "\x0b\x0c\x85\u2028\u2029"


def legible(text: str) -> str:
    """The text without what can't be seen; breaks of lines and pages all become ``\\n``."""
    if text.isprintable():  # no letter of _UNSEEN is
        return text
    return _UNSEEN.sub(lambda found: "\n" if found[0] in _BREAKS else "", text)


def all_legible(value: Any) -> Any:
    """The same for every text within lists and objects; WrongInput for one that is too long, or
    that holds half characters: bytes typed or sent that are no text are told, not swallowed."""
    if isinstance(value, str):
        if len(value) > LONGEST:
            raise WrongInput(
                f"a text of {len(value)} characters is too long",
                f"Say it in at most {LONGEST} characters",
            )
        if half := _HALF.search(value):
            around = value[max(0, half.start() - 10) : half.end() + 10]
            raise WrongInput(
                f"{around!a} is no text",
                "Type it again, or check which character set this terminal uses",
            )
        return legible(value)
    if isinstance(value, dict):
        return {name: all_legible(inner) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [all_legible(inner) for inner in value]
    return value
