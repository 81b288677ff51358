"""A reader's language and units: sentences, times and quantities as this person reads them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from typing import Any

from babel.dates import format_date, format_datetime, format_skeleton, format_timedelta

from tagkit.language.catalogue import spoken, translations
from tagkit.language.figures import litres_shown, shown
from tagkit.station.words import ENGLISH, Line, say
from tagkit.units import Quantity

_DAY = re.compile(r"(?<![\w/-])20\d\d-\d\d-\d\d(?![\w/-])|[“«][^”»]*[”»]")


def with_days(text: str, language: str) -> str:
    """The text with the days in it as people write them: 2026-11-26 is 26 Nov 2026.

    What stands between quotation marks stays as somebody wrote it.
    """
    return _DAY.sub(lambda found: _day(found.group(), language), text) if "-" in text else text


def _day(text: str, language: str) -> str:
    try:
        return str(format_date(date.fromisoformat(text), "d MMM y", locale=language))
    except ValueError:
        return text


@dataclass(frozen=True)
class Words:
    """How to say things to one reader."""

    language: str
    units: str
    zone: tzinfo | None

    def __call__(self, sentence: str, **values: object) -> str:
        """The sentence in the reader's language, with its {names} filled."""
        if not values:
            return with_days(spoken(self.language).say(sentence), self.language)
        said = translations(self.language).gettext(sentence)
        return said.format_map(self._said(values))

    def said(self, sentence: str) -> str:
        """A sentence of a mishap or a reason, begun with a capital and ended with a full stop."""
        text = self(sentence).strip()
        return f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '!', '?')) else '.'}"

    def line(self, line: Line) -> str:
        """A sentence of the station."""
        said = translations(self.language).gettext(ENGLISH[line.key])
        return with_days(say(line.key, self._said(line.values), {line.key: said}), self.language)

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

    def minute(self, moment: datetime | str | None) -> str:
        """A moment with its year, to the minute."""
        return self.when(moment, "d MMM y, HH:mm")

    def day(self, moment: datetime | date | str | None, form: str = "d MMM y") -> str:
        """The day of a moment in the site's zone, or a day on the calendar; a year or a month
        alone, as some plates have them, stays one. An em dash when it is not known."""
        if moment is None:
            return "—"
        if isinstance(moment, datetime):
            return self.when(moment, form)
        if isinstance(moment, date):
            return str(format_date(moment, form, locale=self.language))
        if len(moment) > 10:
            return self.when(moment, form)
        try:
            if len(moment) == 7:
                return self.month(date.fromisoformat(f"{moment}-01"))
            return self.day(date.fromisoformat(moment), form)
        except ValueError:
            return moment

    def weekday(self, moment: datetime) -> str:
        """A moment of these days: Wednesday 25 November, 06:30."""
        day = "EEEE d 'de' MMMM" if self.language == "es" else "EEEE d MMMM"
        return self.when(moment, f"{day}, HH:mm")

    def month(self, day: date) -> str:
        """A month with its year: October 2026, octubre de 2026."""
        return str(format_skeleton("yMMMM", day, locale=self.language))

    def litres(self, litres: float) -> str:
        """An amount of water in the reader's units; the record counts litres."""
        return litres_shown(litres, self.units)

    def temperature(self, celsius: float) -> str:
        """A temperature in the reader's unit."""
        return f"{celsius * 1.8 + 32:.0f} °F" if self.units == "us" else f"{celsius:.0f} °C"

    def figure(self, stored: Mapping[str, Any]) -> str:
        """A stored quantity (value, unit) in the reader's units, the marked one beside it."""
        return shown(Quantity.from_stored(dict(stored)), self.units)

    def ago(self, moment: datetime | str | None, now: datetime) -> str:
        """How long ago, in words; an em dash when it is not known."""
        if moment is None:
            return "—"
        at = datetime.fromisoformat(moment) if isinstance(moment, str) else moment
        return str(format_timedelta(at - now, add_direction=True, locale=self.language))
