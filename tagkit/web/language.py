"""The visitor's language and units: sentences, times and quantities as this person reads them.

English is the language of the sources. Another language is one PO file in ``locale``, read when
the app starts; nothing is compiled beforehand.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo
from functools import cache
from pathlib import Path
from typing import Any

from babel.dates import format_datetime, format_timedelta
from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.support import NullTranslations, Translations

from tagkit.station.words import ENGLISH, Line, say
from tagkit.units import Quantity
from tagkit.web.figures import shown
from tagkit.web.spoken import Spoken
from tagkit.web.views.timeline import pieces

LOCALE = Path(__file__).parent / "locale"
LANGUAGES: Mapping[str, str] = {"en": "English", "es": "Español"}


@cache
def catalogue(language: str) -> Catalog:
    """The PO file of a language, read once; empty for the language of the sources."""
    path = LOCALE / f"{language}.po"
    if language == "en" or not path.exists():
        return Catalog(locale=language)
    with path.open("rb") as file:
        return read_po(file, locale=language)


@cache
def translations(language: str) -> NullTranslations:
    """The catalogue of a language; the sources' own words where there is none."""
    read = catalogue(language)
    if not len(read):
        return NullTranslations()
    made = io.BytesIO()
    write_mo(made, read)
    made.seek(0)
    return Translations(made, domain="messages")


@cache
def spoken(language: str) -> Spoken:
    """Sentences that rules and jobs made in English, in a language."""
    plain: dict[str, str] = {}
    made: dict[str, str] = {}
    for one in catalogue(language):
        if one.id and one.string:
            english, said = (
                (one.id, one.string) if isinstance(one.id, str) else (one.id[0], one.string[0])
            )
            (made if one.context == "made" else plain)[english] = str(said)
    return Spoken(plain, made)


@dataclass(frozen=True)
class Words:
    """How to say things to one visitor."""

    language: str
    units: str
    zone: tzinfo | None

    def __call__(self, sentence: str, **values: object) -> str:
        """The sentence in the visitor's language, with its {names} filled."""
        if not values:
            return spoken(self.language).say(sentence)
        said = translations(self.language).gettext(sentence)
        return said.format_map(self._said(values))

    def said(self, sentence: str) -> str:
        """A sentence of a mishap or a reason, begun with a capital and ended with a full stop."""
        text = self(sentence).strip()
        return f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '!', '?')) else '.'}"

    def line(self, line: Line) -> str:
        """A sentence of the station."""
        said = translations(self.language).gettext(ENGLISH[line.key])
        return say(line.key, self._said(line.values), {line.key: said})

    def line_of(self, key: str) -> str:
        """A sentence of the station that is filled with nothing, by its key."""
        return self(ENGLISH[key])

    def _said(self, values: Mapping[str, object]) -> dict[str, object]:
        """What fills a sentence, where it is itself a sentence or a word of the catalogue."""
        speaking = spoken(self.language)
        return {
            name: value if isinstance(value, int | float) else speaking.say(str(value))
            for name, value in values.items()
        }

    def when(self, moment: datetime | str | None, form: str = "EEE d MMM HH:mm") -> str:
        """A moment in the site's zone; an em dash when it is not known."""
        if moment is None:
            return "—"
        at = datetime.fromisoformat(moment) if isinstance(moment, str) else moment
        return str(format_datetime(at.astimezone(self.zone), form, locale=self.language))

    def figure(self, stored: Mapping[str, Any]) -> str:
        """A stored quantity (value, unit) in the visitor's units, the marked one beside it."""
        return shown(Quantity.from_stored(dict(stored)), self.units)

    def ago(self, moment: datetime | str | None, now: datetime) -> str:
        """How long ago, in words; an em dash when it is not known."""
        if moment is None:
            return "—"
        at = datetime.fromisoformat(moment) if isinstance(moment, str) else moment
        return str(format_timedelta(at - now, add_direction=True, locale=self.language))


def installed(environment: Any, language: str) -> Any:
    """The Jinja environment, speaking ``language``: ``_("… %(name)s …", name=…)``.

    What comes out is text like any other, so that the page escapes it; a sentence that is filled
    with nothing may hold a per cent sign. ``in_words(pieces)``: a text cut at its numbers, said
    and cut again.
    """
    words, speaking = translations(language), spoken(language)

    def said(sentence: str, **values: object) -> str:
        if not values:
            return speaking.say(sentence)
        filled = {
            name: speaking.say(value) if type(value) is str else value
            for name, value in values.items()
        }
        return words.gettext(sentence) % filled

    def counted(one: str, many: str, num: int, **values: object) -> str:
        return words.ngettext(one, many, num) % {"num": num, **values}

    def in_words(cut: Sequence[tuple[str, bool]]) -> tuple[tuple[str, bool], ...]:
        own = {text for text, leads in cut if not leads}
        told = pieces(speaking.say("".join(text for text, _ in cut)))
        return tuple((text, leads and text not in own) for text, leads in told)

    environment.newstyle_gettext = True
    environment.globals.update(
        {"_": said, "gettext": said, "ngettext": counted, "in_words": in_words}
    )
    return environment
