"""From reads in single frames to "this label is being shown".

A tag counts as seen after agreeing reads, is not repeated while it stays in view, and may be
shown again after it has been away. Several of one kind in view (two batteries side by side) are
a choice for the person, never a guess. Times are handed in; there is no clock here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from tagkit.assets.tag import Kind, Tag
from tagkit.errors import WrongInput
from tagkit.reader.read import Read


@dataclass(frozen=True)
class Choice:
    """Several labels of one kind in view: the person says which is meant."""

    kind: Kind
    reads: tuple[Read, ...]

    @property
    def tags(self) -> tuple[Tag, ...]:
        """The tags to choose from, in order of their numbers."""
        return tuple(read.tag for read in self.reads if read.tag)


@dataclass(frozen=True)
class Sighting:
    """What one frame changed.

    ``seen``: tags newly shown. ``choices``: several of a kind in view, given once for each set.
    ``foreign``: codes that are not ours, newly shown. ``in_view``: every tag now in view.
    """

    seen: tuple[Read, ...] = ()
    choices: tuple[Choice, ...] = ()
    foreign: tuple[Read, ...] = ()
    in_view: tuple[Tag, ...] = ()


@dataclass
class _Presence:
    """One label (a tag, or the text of a foreign code) that was read lately."""

    read: Read
    times: list[float] = field(default_factory=list)
    confirmed: bool = False
    told: bool = False

    def read_again(self, read: Read, at: float, within: float) -> None:
        self.times = [time for time in self.times if at - time <= within] + [at]
        # What a decoder read is worth more than what was recovered a moment ago.
        if read.method == "decoded" or self.read.method == "recovered" or len(self.times) == 1:
            self.read = read


class Tracker:
    """Follows labels over the frames of one camera.

    ``agreeing`` reads of a tag, each in another frame, within ``within`` seconds make it seen.
    A tag not read for ``within`` seconds is out of view; after ``away`` seconds it is forgotten
    and counts as shown anew.
    """

    def __init__(self, agreeing: int = 2, within: float = 1.0, away: float = 3.0) -> None:
        if agreeing < 1 or within <= 0 or away < within:
            raise WrongInput(
                f"a tracker can't work with {agreeing} reads within {within} s, away {away} s",
                "Give at least one read, and an absence at least as long as the window",
            )
        self._agreeing, self._within, self._away = agreeing, within, away
        self._present: dict[Tag | str, _Presence] = {}
        self._open: dict[Kind, frozenset[Tag]] = {}
        self._chosen: dict[Kind, Tag] = {}
        self._at = float("-inf")

    def update(self, reads: Sequence[Read], at: float, still: bool = False) -> Sighting:
        """Take the reads of the frame at ``at`` seconds; say what is new.

        A ``still`` picture stands alone: one read is enough, and nothing is carried over from
        or to other frames. A time before the last one starts anew, as for another video.
        """
        if still:
            return Tracker(1, self._within, self._away).update(reads, 0.0)
        if at < self._at:
            self._present.clear()
            self._open.clear()
            self._chosen.clear()
        self._at = at
        self._forget()
        for read in reads:
            self._note(read)
        seen: list[Read] = []
        choices: list[Choice] = []
        for kind in Kind:
            self._decide(kind, seen, choices)
        return Sighting(tuple(seen), tuple(choices), self._new_foreign(), self.in_view)

    @property
    def in_view(self) -> tuple[Tag, ...]:
        """The tags that are confirmed and still in view, in order of their numbers."""
        return tuple(
            sorted(
                key
                for key, one in self._present.items()
                if isinstance(key, Tag) and one.confirmed and self._is_near(one)
            )
        )

    def choose(self, tag: Tag) -> Read:
        """The person chose ``tag`` among those in view; the choice is not asked again for them.

        WrongInput when it is no longer there.
        """
        one = self._present.get(tag)
        if one is None or not one.confirmed:
            raise WrongInput(f"{tag} is not in view", "Show its label again")
        self._chosen[tag.kind] = tag
        one.told = True
        return one.read

    def _note(self, read: Read) -> None:
        key = read.tag or read.text
        one = self._present.setdefault(key, _Presence(read))
        if one.times and one.times[-1] == self._at:
            return  # the same number twice in one frame, from two labels of one battery
        one.read_again(read, self._at, self._within)
        one.confirmed = one.confirmed or len(one.times) >= self._agreeing

    def _forget(self) -> None:
        self._present = {
            key: one for key, one in self._present.items() if self._at - one.times[-1] <= self._away
        }
        for kind, tags in list(self._open.items()):
            if not any(tag in self._present for tag in tags):
                del self._open[kind]
                self._chosen.pop(kind, None)

    def _is_near(self, one: _Presence) -> bool:
        return self._at - one.times[-1] <= self._within

    def _decide(self, kind: Kind, seen: list[Read], choices: list[Choice]) -> None:
        """What the labels of one kind in view mean."""
        near = {
            key: one
            for key, one in self._present.items()
            if isinstance(key, Tag) and key.kind is kind and self._is_near(one)
        }
        confirmed = {tag: one for tag, one in near.items() if one.confirmed}
        if len(confirmed) > 1:
            self._offer(kind, confirmed, choices)
        # One alone, but another was glimpsed: wait until that is confirmed or gone.
        elif len(confirmed) == 1 and len(near) == 1:
            ((tag, one),) = confirmed.items()
            answered = kind in self._open and self._chosen.get(kind) != tag
            if answered or not one.told:
                one.told = True
                seen.append(one.read)
            self._open.pop(kind, None)
            self._chosen.pop(kind, None)

    def _offer(self, kind: Kind, confirmed: dict[Tag, _Presence], choices: list[Choice]) -> None:
        tags = frozenset(confirmed)
        before = self._open.get(kind, frozenset())
        if tags == before or (kind in self._chosen and tags <= before):
            return  # asked already
        self._open[kind] = tags
        self._chosen.pop(kind, None)
        choices.append(Choice(kind, tuple(confirmed[tag].read for tag in sorted(tags))))

    def _new_foreign(self) -> tuple[Read, ...]:
        new = []
        for key, one in self._present.items():
            if isinstance(key, str) and one.confirmed and not one.told:
                one.told = True
                new.append(one.read)
        return tuple(new)
