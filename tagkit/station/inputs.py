"""What a person (or the camera for them) can put into the conversation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from tagkit.assets.tag import Tag

AnswerGiven = Literal["as-shown", "as-recorded"]


@dataclass(frozen=True)
class Seen:
    """One label in view; ``recovered`` when it was identified beyond error correction."""

    tag: Tag
    recovered: bool = False


@dataclass(frozen=True)
class Shown:
    """The labels in view together."""

    labels: tuple[Seen, ...]


@dataclass(frozen=True)
class Certain:
    """Labels still in view that are decoded now, among them ones first made out by recovery."""

    tags: frozenset[Tag]


@dataclass(frozen=True)
class Foreign:
    """A code that is not one of ours."""

    text: str


@dataclass(frozen=True)
class Typed:
    """A number typed, or a line from a handheld scanner."""

    text: str


@dataclass(frozen=True)
class Choose:
    """Which of the several."""

    tag: Tag


@dataclass(frozen=True)
class Characters:
    """Last characters of the number, or the stamped serial, read off the case by a person."""

    text: str


@dataclass(frozen=True)
class Answer:
    """Which is right, what is shown or what is recorded. ``seen``: token of the screen."""

    seen: str
    given: AnswerGiven


@dataclass(frozen=True)
class Confirm:
    """The large button, Enter, the foot switch or the NEXT card.

    ``seen`` is the token of the screen that the person looked at: a press that comes after the
    screen has changed confirms nothing.
    """

    seen: str


@dataclass(frozen=True)
class PutOn:
    """The battery out goes to a place that is no charger."""

    kind: Literal["stand", "elsewhere"]
    name: str


@dataclass(frozen=True)
class NothingOut:
    """The truck was empty."""


@dataclass(frozen=True)
class Gauge:
    """Read off the truck, where somebody does: discharged share (%) and hour meter (h)."""

    discharged_percent: float | None = None
    hours: float | None = None


@dataclass(frozen=True)
class Release:
    """A supervisor lets an unready battery be used.

    ``seen``: token of the screen that the supervisor looked at; ``shown``: the sentences of the
    reasons that stood on it. Nothing else is lifted.
    """

    battery: Tag
    by: str
    reason: str
    seen: str
    shown: tuple[str, ...]


@dataclass(frozen=True)
class Undo:
    """Take back: what is under way, else the last logged change."""


@dataclass(frozen=True)
class Cancel:
    """Start again; nothing is logged."""


@dataclass(frozen=True)
class Logged:
    """The driver has written the order into the record."""

    event: str = ""


@dataclass(frozen=True)
class Refused:
    """The driver could not write the order; ``problem`` is a sentence for the person."""

    problem: str


Input = (
    Shown
    | Certain
    | Foreign
    | Typed
    | Choose
    | Characters
    | Answer
    | Confirm
    | PutOn
    | NothingOut
    | Gauge
    | Release
    | Undo
    | Cancel
    | Logged
    | Refused
)
