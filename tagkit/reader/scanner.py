"""Lines that a handheld scanner types, as a keyboard or over a serial port."""

from __future__ import annotations

import re
from dataclasses import dataclass

from tagkit.assets.payload import tag_in
from tagkit.assets.tag import Tag

# Symbology identifier that scanners can be set to send first (ISO/IEC 15424): ]Q1 for QR codes.
_IDENTIFIER = re.compile(r"\][A-Za-z][0-9A-Za-z]")

# A scanner set to US keys on a computer with another keyboard: what the person's keyboard makes
# of the keys for - : / and the letters. The check character guards the guess.
_GERMAN = str.maketrans("ßÖöYyZz-", "-::ZzYy/")
_SPANISH = str.maketrans("'’Ññ-", "--::/")
_FRENCH = str.maketrans(
    {
        **dict(zip("à&é\"'(-è_ç", "0123456789", strict=True)),
        **dict(zip("AQZWaqzwMm", "QAWZqawz::", strict=True)),
        ")": "-",
        "!": "/",
        ",": "M",
        "?": "M",
    }
)
_KEYBOARDS = (_GERMAN, _SPANISH, _FRENCH)


@dataclass(frozen=True)
class Foreign:
    """A code that is not one of ours; ``text`` is what the scanner sent."""

    text: str


def parse_line(line: str) -> Tag | Foreign | None:
    """The tag in a line from a handheld scanner, a foreign code, or None for an empty line.

    Forgiven: control characters and spaces round the code, a symbology identifier before it,
    capitals lock, and a scanner set to US keys on a German, Spanish or French keyboard. A
    number typed by hand goes through tagkit.assets.tag.parse_tag instead.
    """
    text = "".join(character for character in line if character.isprintable()).strip()
    if _IDENTIFIER.match(text):
        text = text[3:].strip()
    if not text:
        return None
    for meant in (text, *(text.translate(keyboard) for keyboard in _KEYBOARDS)):
        tag = tag_in(meant)
        if tag:
            return tag
    return Foreign(text)
