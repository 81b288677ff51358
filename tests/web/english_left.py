"""What of a page is still English: its visible text against the words that only English has."""

from __future__ import annotations

import re
from collections import Counter
from functools import cache
from html.parser import HTMLParser

from catalogue import spanish

_WORD = re.compile(r"[^\W\d_]{3,}")
_CODE = re.compile(r"“[^”]*”|«[^»]*»|tagkit \w+|[A-Z]-[A-Z]{2}-\S+|\S+\.(toml|csv|pdf|xlsx)\b")
_SHOWN_IN = ("alt", "title", "placeholder", "aria-label", "data-label", "data-over")


@cache
def english_words() -> frozenset[str]:
    """Words of the English sentences that no Spanish sentence has."""
    english: set[str] = set()
    said: set[str] = set()
    for message in spanish():
        if not message.id:
            continue
        ids = (message.id,) if isinstance(message.id, str) else message.id
        strings = (message.string,) if isinstance(message.string, str) else message.string
        for text in ids:
            english.update(_words(text))
        for text in strings:
            said.update(_words(text))
    return frozenset(english - said)


def english_left(html: str, forgiven: frozenset[str] = frozenset()) -> Counter[str]:
    """Pieces of visible text with an English word in them."""
    reading = _Visible()
    reading.feed(html)
    wrong = english_words() - forgiven
    return Counter(text for text in reading.texts if wrong & set(_words(_CODE.sub(" ", text))))


def _words(text: str) -> list[str]:
    plain = re.sub(r"%\(\w+\)s|\{\w+\}", " ", text)
    return [word.lower() for word in _WORD.findall(plain)]


class _Visible(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.texts: list[str] = []
        self._hidden = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "style", "dt") and (tag != "dt"):
            self._hidden += 1
        self.texts += [value for name, value in attrs if name in _SHOWN_IN and value]

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style"):
            self._hidden -= 1

    def handle_data(self, data: str) -> None:
        text = " ".join(data.split())
        if text and not self._hidden:
            self.texts.append(text)
