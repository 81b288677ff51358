"""What a station's camera sees over time: labels and cards newly shown, and where they are.

The reads of single frames come in, what a person means by them comes out. Times are handed in.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from tagkit.assets.card import Card, card_in
from tagkit.assets.tag import Tag
from tagkit.reader.read import Read
from tagkit.reader.symbols import Corners
from tagkit.reader.tracking import Tracker

AWAY = 3.0
"""Seconds after which something that left the picture counts as shown anew."""

_FOLLOWED = 0.6  # seconds for which a recovered read is drawn where it was
_SAME_PLACE = 0.02  # of the picture's width: nobody holds a card that still twice


@dataclass(frozen=True)
class Mark:
    """Where a label is in the picture: corners as shares of its width and height.

    ``number`` keeps back the end of one that a person is to read off the case unseen.
    """

    corners: tuple[tuple[float, float], ...]
    number: str
    sure: bool


@dataclass(frozen=True)
class Sight:
    """What is new: ``labels`` shown together, ``cards`` held up, ``lying`` cards that were left
    in view, ``foreign`` texts of codes that are not ours. ``around`` are labels in view that were
    shown before; ``marks`` is all that is in view."""

    labels: tuple[Read, ...] = ()
    around: tuple[Read, ...] = ()
    cards: tuple[Card, ...] = ()
    lying: tuple[Card, ...] = ()
    foreign: tuple[str, ...] = ()
    marks: tuple[Mark, ...] = ()


@dataclass
class _CardPlace:
    """Where a card was read last and when, and where it was when it was shown the time before."""

    corners: Corners
    at: float
    before: Corners | None = None


class Sightings:
    """One camera."""

    def __init__(self) -> None:
        self._tracker = Tracker(away=AWAY)
        self._last: tuple[Read, ...] = ()
        self._size = (1, 1)
        self._recovered: tuple[tuple[Read, ...], float] = ((), float("-inf"))
        self._cards: dict[str, _CardPlace] = {}
        self._passed_over: dict[Tag, float] = {}

    def frame(self, reads: Sequence[Read], size: tuple[int, int], at: float) -> Sight:
        """Take the reads of a frame of ``size`` (width, height) pixels."""
        self._last, self._size = tuple(reads), size
        return self._seen(self._last, at)

    def still(self, at: float) -> Sight:
        """Nothing has moved since the last frame."""
        return self._seen(self._last, at)

    def recovered(self, reads: Sequence[Read], at: float) -> Sight:
        """Labels that were made out in an earlier frame, beyond decoding."""
        self._recovered = (tuple(reads), at)
        return self._seen(self._last, at)

    def chosen(self, tag: Tag, among: Iterable[Tag]) -> None:
        """A person chose; while the others stay in view they are not shown anew."""
        self._passed_over = {other: float("inf") for other in among if other != tag}

    def _seen(self, reads: Sequence[Read], at: float) -> Sight:
        reads = self._with_recovered(reads, at)
        for one in reads:
            if one.tag is None and card_in(one.text) is not None:
                self._note_card(one, at)
        sighting = self._tracker.update(reads, at)
        labels = [one for choice in sighting.choices for one in choice.reads]
        labels += [one for one in sighting.seen if one not in labels]
        passed_over = self._still_passed_over(reads, at)
        labels = [one for one in labels if one.tag not in passed_over]
        cards: list[Card] = []
        lying: list[Card] = []
        foreign: list[str] = []
        for one in sighting.foreign:
            card = card_in(one.text)
            if card is None:
                foreign.append(one.text)
            elif self._lies_there(one):
                lying.append(card)
            else:
                cards.append(card)
        marks = tuple(self._mark(one) for one in reads)
        around = tuple(one for one in reads if one.tag in sighting.in_view and one not in labels)
        return Sight(tuple(labels), around, tuple(cards), tuple(lying), tuple(foreign), marks)

    def _still_passed_over(self, reads: Sequence[Read], at: float) -> set[Tag]:
        """Those not chosen, until they have been out of view for a while."""
        now = {one.tag for one in reads}
        for tag, last in list(self._passed_over.items()):
            if tag in now or last == float("inf"):
                self._passed_over[tag] = at
            elif at - last > AWAY:
                del self._passed_over[tag]
        return set(self._passed_over)

    def _note_card(self, read: Read, at: float) -> None:
        known = self._cards.get(read.text)
        if known is None:
            self._cards[read.text] = _CardPlace(read.corners, at)
            return
        if at - known.at > AWAY:
            known.before = known.corners
        known.corners, known.at = read.corners, at

    def _lies_there(self, read: Read) -> bool:
        """Whether a card comes back into view just where it was: uncovered, not held up."""
        before = self._cards[read.text].before
        if before is None:
            return False
        near = _SAME_PLACE * self._size[0]
        return all(
            abs(x - was_x) <= near and abs(y - was_y) <= near
            for (x, y), (was_x, was_y) in zip(read.corners, before, strict=True)
        )

    def _with_recovered(self, reads: Sequence[Read], at: float) -> list[Read]:
        """What was made out lately counts along: its bound holds as long as a label is held up."""
        known, since = self._recovered
        if at - since > _FOLLOWED:
            return list(reads)
        return [*reads, *(one for one in known if one not in reads)]

    def _mark(self, read: Read) -> Mark:
        width, height = self._size
        corners = tuple((round(x / width, 4), round(y / height, 4)) for x, y in read.corners)
        sure = read.method == "decoded"
        if read.tag is None:
            return Mark(corners, "" if card_in(read.text) is None else "card", sure)
        number = str(read.tag) if sure else f"{read.tag.kind.value}-{read.tag.site}-…"
        return Mark(corners, number, sure)
