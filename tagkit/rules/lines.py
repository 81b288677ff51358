"""One line of a verdict from the figures it compares.

The rules of the house stand here once: an unknown figure is not confirmed, a figure that is
merely assumed never confirms, and the line names the source of every figure.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence

from tagkit.rules.figures import Figure, in_unit
from tagkit.rules.verdict import Check, Result
from tagkit.units import Quantity


def line(
    name: str,
    result: Result,
    figures: Iterable[Figure],
    *,
    required: str | None = None,
    found: str | None = None,
    margin: str | Quantity | None = None,
    note: str = "",
    code: str = "",
) -> Check:
    """A line with this result; it drops to not confirmed when it rests on an assumed figure."""
    used = tuple(figures)
    assumed = [figure for figure in used if figure.known and figure.assumed]
    if result == "fit" and assumed:
        result, code = "not_confirmed", "assumed"
        note = _joined(
            *(
                f"{figure.owner}: {figure.label} is assumed, nobody has read it"
                for figure in assumed
            )
        )
    return Check(name, result, required, found, margin, sources(used), note, code)


def unknown(
    name: str,
    figures: Iterable[Figure],
    *,
    required: str | None = None,
    found: str | None = None,
    note: str = "",
) -> Check:
    """A line that can't be decided because a figure is not known or not possible."""
    used = tuple(figures)
    troubles = [figure.trouble for figure in used if not figure.known]
    return Check(
        name,
        "not_confirmed",
        required,
        found,
        None,
        sources(used),
        _joined(*troubles, note),
        "unknown",
    )


def compared(
    name: str,
    fits: bool,
    figures: Iterable[Figure],
    *,
    required: str,
    found: str,
    margin: str | Quantity | None = None,
    note: str = "",
) -> Check:
    """A line whose figures are all known; ``note`` says what is wrong when it does not fit."""
    if fits:
        return line(name, "fit", figures, required=required, found=found, margin=margin)
    return line(
        name,
        "no_fit",
        figures,
        required=required,
        found=found,
        margin=margin,
        note=note,
        code="outside",
    )


def at_most(name: str, limit: Figure, has: Figure, note: str) -> Check:
    """A line for a figure that may reach ``limit`` but not pass it."""
    return _limited(name, limit, has, note, "at most", 1)


def at_least(name: str, limit: Figure, has: Figure, note: str) -> Check:
    """A line for a figure that must reach ``limit``."""
    return _limited(name, limit, has, note, "at least", -1)


def _limited(name: str, limit: Figure, has: Figure, note: str, words: str, sign: int) -> Check:
    required = f"{words} {limit.value}" if limit.known else None
    if not limit.known or not has.known:
        return unknown(name, (has, limit), required=required, found=has.words or None)
    inside = sign * (limit.exact() - has.exact())
    return compared(
        name,
        inside >= 0,
        (has, limit),
        required=f"{words} {limit.value}",
        found=has.words,
        margin=in_unit(inside, has.value.unit),
        note=note,
    )


def same_words(name: str, needed: Figure, has: Figure) -> Check:
    """A line for texts that must say the same; case, spaces and punctuation don't count."""
    if not needed.known or not has.known:
        return unknown(name, (has, needed), required=needed.words or None, found=has.words or None)
    wanted, there = plain(needed.value), plain(has.value)
    if not wanted or not there:
        return unknown(
            name,
            (has, needed),
            required=needed.words,
            found=has.words,
            note=f"the {needed.label} can't be compared: it has neither letters nor digits",
        )
    return compared(
        name,
        wanted == there,
        (has, needed),
        required=needed.words,
        found=has.words,
        note=f"another {needed.label} than the {needed.owner} requires",
    )


def same_choice(name: str, needed: Figure, has: Figure) -> Check:
    """A line for one of a few values that must be the same on both sides."""
    if not needed.known or not has.known:
        return unknown(name, (has, needed), required=needed.words or None, found=has.words or None)
    return compared(
        name,
        needed.value == has.value,
        (has, needed),
        required=needed.words,
        found=has.words,
        note=f"another {needed.label} than the {needed.owner} requires",
    )


def not_married(battery_married: bool, other: str = "", other_married: bool = True) -> list[Check]:
    """The line "married", when one of the two has not been looked at yet."""
    who = [name for name, married in (("battery", battery_married), (other, other_married))
           if not married]  # fmt: skip
    if not who:
        return []
    required = " and ".join(name for name in ("battery", other) if name) + " married"
    return [
        Check(
            "married",
            "not_confirmed",
            required,
            f"{' and '.join(who)} not married",
            None,
            ", ".join(f"{name} catalogue" for name in who),
            f"nobody has yet compared the figures with the {' and the '.join(who)} itself",
            "not_married",
        )
    ]


def jumpered_cells(jumpered: Sequence[int]) -> list[Check]:
    """The line "cells", when a cell of the battery is bridged.

    A bridged cell is a temporary repair: the battery has two volts less than its case says, less
    energy, and no charger's profile is meant for it. Whatever its other figures say, what the
    truck's maker approved is not what stands there (29 CFR 1910.178(a)(4)), so it is never a fit.
    """
    if not jumpered:
        return []
    cells = ", ".join(str(cell) for cell in sorted(jumpered))
    return [
        Check(
            "cells",
            "not_confirmed",
            "every cell in service",
            f"jumpered: {cells}",
            None,
            "battery repairs",
            "a jumpered cell is a temporary repair: voltage and energy are no longer those the "
            "maker approved; have the cell replaced and record that",
            "jumpered",
        )
    ]


def sources(figures: Iterable[Figure]) -> str:
    """Where the figures come from, each said once: "battery stamped, truck nameplate"."""
    return ", ".join(dict.fromkeys(figure.said_by for figure in figures))


def plain(words: str) -> str:
    """Words reduced to their letters and digits, in one case."""
    folded = unicodedata.normalize("NFKC", words).casefold()
    return "".join(character for character in folded if character.isalnum())


def _joined(*notes: str) -> str:
    return "; ".join(dict.fromkeys(note for note in notes if note))
