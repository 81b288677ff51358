"""What people write into one cell: unknown, a range, a capacity with its rate, three dimensions.

Each function takes the text apart; reading the figures themselves is left to units.py.
"""

from __future__ import annotations

import re
from functools import cache

from tagkit.assets.chemistry import CHEMISTRIES, CHEMISTRY_WORDS
from tagkit.assets.tag import Kind
from tagkit.intake.words import plain, vocabulary

_UNKNOWN = vocabulary(
        "? ?? ??? - -- --- . .. ... / n/a n.a. n.a n/d n.d. n.v. s/d na nd #n/a unknown unk "
        "unkn tbd t.b.d. tba tbc unbekannt k.a. k.a desconocido desconocida pendiente offen "
        "missing fehlt null nil"
) | {
    "not known", "not available", "not stated", "to be confirmed", "to be determined",
    "to be advised", "keine angabe", "k. a.", "nicht bekannt", "sin datos", "no data",
    "no disponible", "por confirmar", "n. a.", "n / a", "not given",
}  # fmt: skip
_ERRORS = vocabulary(
    "#ref! #value! #div/0! #name? #num! #null! #wert! #bezug! #zahl! #valor! "
    "#getting_data #spill! #calc!"
)
_DASHES = re.compile("[\u2010-\u2015\u2212]")

_RATE = re.compile(
    r"""[\s,;/@-]*(?:\(|\[)?\s*
        (?:(?:at|@|bei|a|in|for)\s+)?(?:the\s+)?
        (?: \b[CK]\s?(?P<c>\d{1,2})\b(?![.,]\d)
          | (?<![\d.,])(?P<h>\d{1,2})\s*[- ]?\s*(?:hours?|hrs?|hr|h|std|stunden|stündig|horas)\b\.?
        )
        (?:\s*[- ]?\s*(?:rate|rating|discharge|entladung))?\s*(?:\)|\])?""",
    re.IGNORECASE | re.VERBOSE,
)
_RANGE = re.compile(
    r"""\s*(?:min(?:imum|imo|\.)?|from|von|de|desde|between|≥|>=)?[\s:=]*
        (?P<low>\d[\d.,' \u00a0\u2009\u202f]*)\s*(?P<low_unit>[^\W\d_]+\.?|\#)?\s*
        (?:-|–|—|‒|−|\.\.+|…|/|;|\bto\b|\bbis\b|\bhasta\b|\ba\b|\band\b|\bund\b|\by\b|,\s)
        \s*(?:max(?:imum|imo|\.)?|≤|<=)?[\s:=]*
        (?P<high>\d[\d.,' \u00a0\u2009\u202f]*)\s*(?P<high_unit>[^\W\d_]+\.?|\#)?\s*""",
    re.IGNORECASE | re.VERBOSE,
)
_BY = re.compile(r"\s*(?:[x×*]|\bby\b|\bpor\b)\s*", re.IGNORECASE)

_KINDS: dict[str, Kind] = {
    word: kind
    for kind, words in {
        Kind.BATTERY: "b|battery|batteries|traction battery|batterie|traktionsbatterie|"
        "antriebsbatterie|bateria|bateria de traccion|akku",
        Kind.TRUCK: "t|truck|trucks|lift truck|forklift|fork lift|forklift truck|reach truck|"
        "pallet truck|counterbalance|counterbalance truck|stapler|gabelstapler|schubmaststapler|"
        "fahrzeug|flurforderzeug|carretilla|carretilla elevadora|montacargas|vehicle",
        Kind.CHARGER: "c|charger|battery charger|ladegerat|ladegeraet|batterieladegerat|cargador|"
        "cargador de baterias",
        Kind.LIFTING: "l|lifting gear|lifting beam|beam|hoist|spreader beam|crane|hebezeug|"
        "traverse|kran|balancin|polipasto|equipo de elevacion",
        Kind.ROOM: "r|room equipment|eyewash|eye wash|shower|emergency shower|spill kit|"
        "hydrogen detector|fire extinguisher|extinguisher|hydrometer|augendusche|notdusche|"
        "lavaojos|ducha|extintor|feuerloscher",
    }.items()
    for word in words.split("|")
}


def is_unknown(text: str) -> bool:
    """Whether a cell says, in so many words, that nobody knows."""
    return _DASHES.sub("-", plain(text)) in _UNKNOWN


def is_error(text: str) -> bool:
    """Whether a cell holds the error of a formula."""
    return plain(text) in _ERRORS


def kind_named(text: str) -> Kind | None:
    """The kind of asset that a word like "battery", "Stapler" or "cargador" names."""
    return _KINDS.get(" ".join(re.split(r"[\s_-]+", plain(text))).strip(" ."))


def states_chemistry(text: str) -> bool:
    """Whether a cell holds a word for a chemistry."""
    return _squeezed(text) in _chemistry_words()


@cache
def _chemistry_words() -> frozenset[str]:
    words = [*CHEMISTRIES, *CHEMISTRIES.values(), *CHEMISTRY_WORDS]
    return frozenset(_squeezed(word) for word in words)


def _squeezed(text: str) -> str:
    return re.sub(r"[\s_/().-]+", "", plain(text))


def rate_in(text: str) -> tuple[str, int | None]:
    """A text without the rate named in it, and that rate in hours.

    "775 Ah / 5 h" -> ("775 Ah", 5); "1000 Ah (6 h rate)" -> ("1000 Ah", 6); "775 Ah C5" too.
    """
    match = _RATE.search(text)
    if not match:
        return text, None
    hours = int(match["c"] or match["h"])
    rest = f"{text[: match.start()]} {text[match.end() :]}".strip(" ,;:/@")
    for opening, closing in ("()", "[]"):  # "(Ah, 6 h)" leaves "(Ah"
        if rest.count(opening) > rest.count(closing):
            rest += closing
    return (" ".join(rest.split()), hours) if 1 <= hours <= 20 else (text, None)


def range_in(text: str) -> tuple[str, str] | None:
    """The two ends of a range, each with the unit, or None when the text is no range.

    "1100-1300 kg" -> ("1100 kg", "1300 kg"); "1100 to 1300" -> ("1100", "1300").
    """
    match = _RANGE.fullmatch(text.strip())
    if not match:
        return None
    low_unit, high_unit = match["low_unit"] or "", match["high_unit"] or ""
    return (
        f"{match['low'].strip()} {low_unit or high_unit}".strip(),
        f"{match['high'].strip()} {high_unit or low_unit}".strip(),
    )


def three_in(text: str) -> tuple[str, str, str] | None:
    """The three figures of "830 x 630 x 627 mm", each with the unit, or None."""
    parts = [part.strip() for part in _BY.split(text.strip())]
    if len(parts) != 3 or not all(part[:1].isdigit() for part in parts):
        return None
    units = [re.sub(r"^[\d.,' /\u00a0]+", "", part) for part in parts]
    last = units[2]
    first, second, third = (
        part if unit or not last else f"{part} {last}"
        for part, unit in zip(parts, units, strict=True)
    )
    return first, second, third
