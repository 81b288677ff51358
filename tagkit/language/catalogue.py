"""The languages people read, and the catalogue of each.

English is the language of the sources. Another language is one PO file in ``locale``, read when
it is first asked for; nothing is compiled beforehand.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.support import NullTranslations, Translations

from tagkit.language.spoken import Spoken

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
