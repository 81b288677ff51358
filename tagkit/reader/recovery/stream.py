"""Recovery over the frames of a camera, in turn with everything else a frame has to pay for.

A search for labels takes many frames' worth of time: it works on the frame it was begun with, a
few milliseconds in each call. A label once located is followed instead of searched for again, and
its soft modules are averaged over the frames in which it was seen. Damage repeats from frame to
frame, so log likelihoods of frames are never added; averaging takes noise, a shaking hand and
glints away and leaves the damage as it is.

Alpha holds for the whole time a label is held up: search k alone spends 3 alpha / (pi k)² (their
sum over all k is alpha / 2), the averages of 2, 4, 8 … looks alpha / 4, alpha / 8, … A new
label's time begins when for some turns nothing in view looked like one.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Generator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from tagkit.assets.tag import Tag
from tagkit.reader.read import Read
from tagkit.reader.recovery.acceptance import ALPHA
from tagkit.reader.recovery.locating import Located, search
from tagkit.reader.recovery.recover import PLACES, Answer, as_read, as_roster, identify, settled
from tagkit.reader.recovery.roster import Roster
from tagkit.reader.recovery.sampling import Field, Place, corners_of, grey_modules
from tagkit.reader.recovery.settling import followed
from tagkit.reader.recovery.structure import Prepared
from tagkit.reader.regions import Region, label_like, whole
from tagkit.reader.symbols import Corners, centre, contains

if TYPE_CHECKING:
    from tagkit.reader.engines import Grey

_FORGOTTEN = 4  # turns without the label
_LEAST = 2  # looks that make an average
_LABEL_LIKE = 9.0  # standard deviations of a label's fixed modules
_POORER = 0.7  # of the best look so far: a look below it was misplaced
_ROOM = 9.0  # modules round a label that is followed
_SMALLEST = 400  # pixels of a frame in which anything can be followed
_LARGE = 620_000  # pixels of a frame that is searched in parts when time is short
_UNHURRIED = 500.0  # milliseconds a frame
_SEARCHES = 4  # a search after so many turns of following, at most


@dataclass(eq=False)
class _Track:
    located: Located
    best: float
    total: Field
    weight: float
    looks: int
    turn: int
    named: Read | None = None

    @property
    def mean(self) -> Field:
        average: Field = (self.total / self.weight).astype(np.float32)
        return average


class RecoveryStream:
    """Names labels in the frames of one camera or video; see the module's text.

    ``roster`` as for ``recover``; ``alpha`` is the risk of a wrong tag for each label held up.
    ``clock`` measures what a call may take: where nobody waits for the call, the processor's time
    (time.thread_time), or a turn on a busy computer would end before it has done anything.
    """

    def __init__(
        self,
        roster: Collection[Tag] = (),
        *,
        alpha: float = ALPHA,
        clock: Callable[[], float] = time.perf_counter,
    ) -> None:
        self._alpha = alpha
        self._clock = clock
        self._roster = as_roster(roster)
        self.reset()

    @property
    def roster(self) -> Roster:
        """What labels are identified against; a new one starts everything anew."""
        return self._roster

    @roster.setter
    def roster(self, roster: Collection[Tag]) -> None:
        changed = as_roster(roster)
        if changed is not self._roster:
            self._roster = changed
            self.reset()

    def reset(self) -> None:
        """Forgets all that was seen."""
        self._tracks: list[_Track] = []
        self._turn = 0
        self._held = 0
        self._without = 0
        self._since_search = 0
        self._part = 0
        self._in_parts = False
        self._work: Generator[None, None, None] | None = None

    def look(
        self,
        grey: Grey,
        reads: Sequence[Read] = (),
        *,
        budget_ms: float | None = None,
    ) -> list[Read]:
        """Labels that this frame (H × W, uint8), with those before it, is enough to name, and
        those named before that are still in view.

        ``reads`` is what was decoded in the frame: left alone. ``budget_ms`` is about how long
        the call may take (None: until this frame's turn is done); what is left over is taken up
        by the next call, on the frame it was begun with.
        """
        if not len(self._roster):
            return []
        until = None if budget_ms is None else self._clock() + budget_ms / 1e3
        if self._work is None:
            self._in_parts = budget_ms is not None and budget_ms < _UNHURRIED
            self._work = self._one_turn(grey, [read.corners for read in reads])
        for _ in self._work:
            if until is not None and self._clock() > until:
                break
        else:
            self._work = None
        named = [track.named for track in self._tracks if track.named is not None]
        return [read for read in named if not _read_already(read, reads)]

    def _one_turn(self, grey: Grey, taken: Sequence[Corners]) -> Generator[None, None, None]:
        """Follows the labels known into this frame; searches it where there are none, or when it
        is time to."""
        self._turn += 1
        seen: list[_Track] = []
        for track in self._tracks:
            if (yield from self._followed(grey, track)):
                seen.append(track)
        self._tracks = [track for track in self._tracks if self._turn - track.turn <= _FORGOTTEN]
        self._since_search += 1
        if not seen or self._since_search >= _SEARCHES:
            self._since_search = 0
            known = [corners_of(track.located.place) for track in seen if track.named]
            yield from self._searched(grey, [*taken, *known], seen)
        yield from self._averaged(seen)
        self._count(seen)

    def _followed(self, grey: Grey, track: _Track) -> Generator[None, None, bool]:
        """Whether a label known was found again, and its look added."""
        located = track.located
        if located.form is None:
            return False
        room = _ROOM * located.place.module
        x, y = located.place.corners.T
        part = _within(grey, x.min() - room, y.min() - room, x.max() + room, y.max() + room)
        if part.area < _SMALLEST:
            return False
        prepared = Prepared(part.cut(grey))
        yield
        before = _shifted(located.place, -part.left, -part.top)
        now = yield from followed(prepared, before, located.form)
        if now.standing < _POORER * track.best:
            return False
        place = _shifted(now.place, part.left, part.top)
        track.located = replace(located, place=place, score=now.standing)
        self._add(track, grey_modules(prepared.picture, now.place), now.standing)
        if track.named is not None:
            track.named = replace(track.named, corners=corners_of(place))
        return True

    def _searched(
        self, grey: Grey, taken: Sequence[Corners], seen: list[_Track]
    ) -> Generator[None, None, None]:
        """Places of labels in this frame: those that name one alone, and new ones to follow."""
        part = self._next_part(grey, taken)
        yield
        self._held += 1
        alone = self._alpha * 3 / (np.pi * self._held) ** 2
        found: list[tuple[Located, Field]] = []
        answers: list[Answer] = []
        prepared = Prepared(part.cut(grey))
        covered = [_moved(corners, -part.left, -part.top) for corners in taken]
        for one in search(prepared, self._roster, covered):
            if one is not None:
                modules = grey_modules(prepared.picture, one.place)
                there = replace(one, place=_shifted(one.place, part.left, part.top))
                found.append((there, modules))
                named = identify([there], [modules], self._roster, alone)
                answers += named
                covered += [
                    _moved(corners_of(answer.place), -part.left, -part.top) for answer in named
                ]
            if len(found) == PLACES:
                break
            yield
        for one, modules in sorted(found, key=lambda pair: -pair[0].score):
            # Of several guesses about one label only the best is followed.
            sure = one.score >= _LABEL_LIKE or any(answer.place is one.place for answer in answers)
            if sure and not any(_overlap(one, other.located) for other in seen):
                track = _Track(one, one.score, _nothing(), 0.0, 0, self._turn)
                self._add(track, modules, one.score)
                self._tracks.append(track)
                seen.append(track)
        self._name(answers)

    def _next_part(self, grey: Grey, taken: Sequence[Corners]) -> Region:
        """The part of a large frame whose turn it is: what looks like a label, then the rest."""
        if grey.size <= _LARGE or not self._in_parts:
            return whole(grey)
        parts = []
        for place in label_like(grey):
            x, y = (place.left + place.right) / 2, (place.top + place.bottom) / 2
            if any(contains(corners, (x, y)) for corners in taken):
                continue
            half = min(max(0.7 * max(place.right - place.left, place.bottom - place.top), 160), 340)
            parts.append(_within(grey, x - half, y - half, x + half, y + half))
        height, width = grey.shape
        # Everything comes to its turn, what looks like a label far more often.
        self._part += 1
        if not parts or self._part % 6 == 0:
            tiles = [(x, y) for y in range(0, height, 400) for x in range(0, width, 400)]
            x, y = tiles[self._part // (6 if parts else 1) % len(tiles)]
            return _within(grey, x - 100, y - 100, x + 500, y + 500)
        return parts[self._part % len(parts)]

    def _averaged(self, seen: Sequence[_Track]) -> Generator[None, None, None]:
        """Names what the looks so far are enough for together."""
        for looks in sorted({track.looks for track in seen}):
            if looks & (looks - 1) or looks < _LEAST:
                continue
            now = [track for track in seen if track.looks == looks and not track.named]
            if now:
                alpha = self._alpha / 2 ** looks.bit_length()
                places = [track.located for track in now[:PLACES]]
                means = [track.mean for track in now[:PLACES]]
                self._name(identify(places, means, self._roster, alpha))
                yield

    def _name(self, answers: list[Answer]) -> None:
        """Notes what was named with the label it was named for."""
        for answer in settled(answers):
            read = as_read(answer)
            here = [track for track in self._tracks
                    if contains(corners_of(track.located.place), centre(read.corners))]  # fmt: skip
            if any(track.named and track.named.tag != read.tag for track in here):
                # Two names for one label: none.
                for track in here:
                    track.named = None
                continue
            for track in here:
                track.named = read
                track.located = replace(track.located, place=answer.place)

    def _add(self, track: _Track, modules: Field, score: float) -> None:
        even = _evened(modules)
        if not track.weight:
            track.total = even * 0
        track.total = track.total + even * score
        track.weight += score
        track.best = max(track.best, score)
        track.turn, track.looks = self._turn, track.looks + 1

    def _count(self, seen: Sequence[_Track]) -> None:
        """Turns without a label end the time that one is held up for."""
        self._without = 0 if seen else self._without + 1
        if self._without > _FORGOTTEN:
            self._held = 0


def _overlap(one: Located, other: Located) -> bool:
    first, second = corners_of(one.place), corners_of(other.place)
    return contains(first, centre(second)) or contains(second, centre(first))


def _read_already(read: Read, reads: Sequence[Read]) -> bool:
    return any(contains(read.corners, centre(other.corners)) for other in reads)


def _within(grey: Grey, left: float, top: float, right: float, bottom: float) -> Region:
    height, width = grey.shape
    return Region(
        max(0, int(left)), max(0, int(top)),
        min(width, max(int(right), 0)), min(height, max(int(bottom), 0)),
    )  # fmt: skip


def _shifted(place: Place, right: float, down: float) -> Place:
    move = np.array([[1, 0, right], [0, 1, down], [0, 0, 1]], np.float64)
    return replace(place, matrix=move @ place.matrix)


def _moved(corners: Corners, right: float, down: float) -> Corners:
    first, second, third, fourth = ((x + right, y + down) for x, y in corners)
    return first, second, third, fourth


def _nothing() -> Field:
    return np.zeros(0, np.float32)


def _evened(grey: Field) -> Field:
    """Grey values of unit spread: frames of other exposure count alike."""
    even: Field = ((grey - grey.mean()) / (grey.std() + 1e-3)).astype(np.float32)
    return even
