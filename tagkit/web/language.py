"""The pages' templates, speaking a visitor's language."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import TYPE_CHECKING, Any

from tagkit.language.catalogue import spoken, translations
from tagkit.language.words import with_days
from tagkit.web.render import environment
from tagkit.web.views.timeline import pieces

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def templates(language: str) -> Environment:
    """The pages' templates in this language: made once, and each compiled once, for all sites
    that this process serves."""
    made: Environment = installed(environment(), language)
    return made


def installed(environment: Any, language: str) -> Any:
    """The Jinja environment, speaking ``language``: ``_("… %(name)s …", name=…)``.

    What comes out is text like any other, so that the page escapes it; a sentence that is filled
    with nothing may hold a per cent sign. ``in_words(pieces)``: a text cut at its numbers, said
    and cut again.
    """
    words, speaking = translations(language), spoken(language)

    def said(sentence: str, **values: object) -> str:
        if not values:
            return with_days(speaking.say(sentence), language)
        filled = {
            name: speaking.say(value) if type(value) is str else value
            for name, value in values.items()
        }
        return words.gettext(sentence) % filled

    def counted(one: str, many: str, num: int, **values: object) -> str:
        return words.ngettext(one, many, num) % {"num": num, **values}

    def in_words(cut: Sequence[tuple[str, bool]]) -> tuple[tuple[str, bool], ...]:
        own = {text for text, leads in cut if not leads}
        told = pieces(with_days(speaking.say("".join(text for text, _ in cut)), language))
        return tuple((text, leads and text not in own) for text, leads in told)

    environment.newstyle_gettext = True
    environment.globals.update(
        {"_": said, "gettext": said, "ngettext": counted, "in_words": in_words}
    )
    return environment
