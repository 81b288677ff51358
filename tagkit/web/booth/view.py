"""What a station shows, in one person's language, as a page needs it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tagkit.jobs.steps import StepList
from tagkit.language.words import Words
from tagkit.station.change import CHARACTERS_NEEDED
from tagkit.station.words import Line
from tagkit.web.booth.booth import Facing
from tagkit.web.booth.says import HOLD_REASONS


@dataclass(frozen=True)
class Row:
    """A line under the answer; ``kind`` is what it is about (truck, battery, check, step …)."""

    kind: str
    text: str


@dataclass(frozen=True)
class View:
    """``word`` is the answer, ``more`` goes below it; ``offers`` are the presses. ``leads``: the
    first of them is the next step, which Enter, the foot switch and the NEXT card do too; of
    several to choose from none is."""

    number: int
    stage: str
    posture: str
    shape: str
    sound: str
    word: str
    more: str
    pair: tuple[Row, ...]
    rows: tuple[Row, ...]
    steps: tuple[str, ...]
    todo: str
    offers: tuple[str, ...]
    leads: bool
    cautions: tuple[str, ...]
    notice: str
    asks: str
    typed: str
    holding: bool
    procedure: StepList | None = None
    """The site's steps of the change, beside the finishing steps."""


def view_of(facing: Facing, words: Words) -> View:
    """``facing`` said in ``words``."""
    screen = facing.screen
    if facing.holding is not None:
        return _holding(facing, words)
    word, _, more = words.line(screen.headline).partition(": ")
    if screen.posture == "go":
        released = screen.readiness is not None and screen.readiness.lifted
        more = more or (words("released for this use") if released else words("and ready"))
    rows = tuple(Row(_kind(line), words.line(line)) for line in screen.lines)
    return View(
        number=facing.number,
        stage=screen.stage,
        posture=screen.posture,
        shape=screen.shape,
        sound=screen.sound,
        word=word,
        more=more,
        pair=tuple(row for row in rows if row.kind in ("truck", "battery")),
        rows=tuple(row for row in rows if row.kind not in ("truck", "battery", "step")),
        steps=tuple(row.text for row in rows if row.kind == "step"),
        todo=words.line(screen.todo) if screen.todo else "",
        offers=tuple(words.line(offer.label) for offer in screen.offers),
        leads=facing.leads,
        cautions=tuple(words.line(line) for line in screen.cautions),
        notice=_notice(facing, words),
        asks=screen.asks or "",
        typed=_typed(facing, words),
        holding=False,
    )


def _holding(facing: Facing, words: Words) -> View:
    reasons = tuple(words(reason.words) for reason in HOLD_REASONS)
    return View(
        number=facing.number,
        stage="hold",
        posture="ask",
        shape="question",
        sound="ask",
        word=words("HOLD"),
        more=words("What is wrong with it?"),
        pair=(Row("battery", str(facing.holding)),),
        rows=(),
        steps=(),
        todo=words("Held, it must not be used. The first four are lifted by an inspection only"),
        offers=(*reasons, words("Don’t hold it")),
        leads=False,
        cautions=(),
        notice=_notice(facing, words),
        asks="",
        typed=_typed(facing, words),
        holding=True,
    )


def _kind(line: Line) -> str:
    head, _, rest = line.key.partition(".")
    return head if head != "line" else rest.partition("_")[0]


def _notice(facing: Facing, words: Words) -> str:
    said = ""
    if facing.said is not None:
        said = words(facing.said.sentence, **facing.said.values)
    elif facing.screen.notice:
        said = words.line(facing.screen.notice)
    return said[:1].upper() + said[1:]


def _typed(facing: Facing, words: Words) -> str:
    if facing.screen.asks == "characters":
        return words(
            "Last {count} letters and digits of the number, or the stamped serial",
            count=CHARACTERS_NEEDED,
        )
    return words("Type a number")


def as_message(view: View, html: str, person: str, initials: str) -> dict[str, Any]:
    """What goes to the browser."""
    return {
        "is": "screen",
        "number": view.number,
        "stage": view.stage,
        "posture": view.posture,
        "sound": view.sound,
        "heard": f"{view.posture} {view.word} {view.more}",
        "asks": view.asks,
        "typed": view.typed,
        "person": person,
        "initials": initials,
        "html": html,
    }
