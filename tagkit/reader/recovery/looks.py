"""Several looks at one label: its soft modules averaged over the frames of a video.

Damage repeats from frame to frame, so log likelihoods of frames are never added; what is
averaged are the registered samples, which takes noise, a shaking hand and glints away and
leaves the damage as it is. Every frame is tested alone, and every average at 2, 4, 8, … looks.
Alpha holds for the whole time a label is held up: frame k alone spends 3 alpha / (pi k)² (their
sum over all k is alpha / 2), the averages of 2, 4, 8 … looks alpha / 4, alpha / 8, … A new
label's time begins when for some frames nothing in view looked like one.
"""

from __future__ import annotations

import time
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from tagkit.assets.tag import Tag
from tagkit.reader.read import Read
from tagkit.reader.recovery.acceptance import ALPHA
from tagkit.reader.recovery.locating import Located, locate
from tagkit.reader.recovery.recover import PLACES, SECONDS, as_read, as_roster, identify, settled
from tagkit.reader.recovery.sampling import Field, Place, grey_modules
from tagkit.reader.recovery.structure import Prepared

if TYPE_CHECKING:
    from numpy.typing import NDArray

_NEAR = 5.0  # modules that a label may move from look to look
_FORGOTTEN = 4  # frames without the label
_LEAST = 2  # looks that make an average
_LABEL_LIKE = 9.0  # standard deviations of a label's fixed modules
_POORER = 0.75  # of the best agreement so far: a look below it was misplaced


@dataclass(eq=False)
class _Track:
    place: Place
    best: float
    total: Field
    weight: float
    looks: int
    frame: int

    @property
    def mean(self) -> Field:
        average: Field = (self.total / self.weight).astype(np.float32)
        return average


class Looks:
    """A recovery for read_picture or Watch that remembers what earlier frames showed.

    One for each video or camera. ``seconds`` limits the search in each frame; ``alpha`` is the
    risk of a wrong tag for each label held up.
    """

    def __init__(self, *, seconds: float = SECONDS, alpha: float = ALPHA) -> None:
        self._seconds = seconds
        self._alpha = alpha
        self._tracks: list[_Track] = []
        self._frame = 0
        self._held = 0
        self._without = 0

    def __call__(
        self, grey: NDArray[np.uint8], reads: Sequence[Read], roster: Collection[Tag]
    ) -> list[Read]:
        """Labels that this frame, with those before it, is enough to name."""
        labels = as_roster(roster)
        if not len(labels):
            return []
        self._frame += 1
        prepared = Prepared(grey)
        until = time.perf_counter() + self._seconds
        taken = [read.corners for read in reads]
        places = locate(prepared, labels, PLACES, taken, until)
        self._count(places)
        greys = [grey_modules(prepared.picture, one.place) for one in places]
        alone = self._alpha * 3 / (np.pi * self._held) ** 2
        answers = identify(places, greys, labels, alone)
        self._tracks = [track for track in self._tracks if self._frame - track.frame <= _FORGOTTEN]
        seen: list[_Track] = []
        for one in places:
            # Of several guesses about one label only the best is averaged.
            if not any(_near(one.place, track.place) for track in seen):
                seen.append(self._seen(prepared, one))
        for looks in sorted({track.looks for track in seen}):
            if looks & (looks - 1) or looks < _LEAST:
                continue
            now = [track for track in seen if track.looks == looks]
            shared = [Located(track.place, track.best) for track in now]
            alpha = self._alpha / 2 ** looks.bit_length()
            answers += identify(shared, [track.mean for track in now], labels, alpha)
        return [as_read(answer) for answer in settled(answers)]

    def _count(self, places: Sequence[Located]) -> None:
        """Frames that the present labels have been held up for."""
        if any(one.score >= _LABEL_LIKE for one in places):
            self._without = 0
        else:
            self._without += 1
        self._held = 1 if self._without > _FORGOTTEN else self._held + 1

    def _seen(self, prepared: Prepared, one: Located) -> _Track:
        """The look added to the label that was there in the last frames, or a new one begun."""
        for track in self._tracks:
            if track.frame < self._frame and _near(one.place, track.place):
                return self._added(prepared, track, _as_before(one.place, track.place), one.score)
        grey = _evened(grey_modules(prepared.picture, one.place))
        track = _Track(one.place, one.score, grey * one.score, one.score, 1, self._frame)
        self._tracks.append(track)
        return track

    def _added(self, prepared: Prepared, track: _Track, place: Place, score: float) -> _Track:
        grey = _evened(grey_modules(prepared.picture, place))
        if score * _POORER > track.best:  # what was seen before was misplaced
            track.total, track.weight = grey * 0, 0.0
        if score >= _POORER * track.best or not track.weight:
            track.total = track.total + grey * score
            track.weight += score
            track.place = place
        track.best = max(track.best, score)
        track.frame, track.looks = self._frame, track.looks + 1
        return track


def _near(place: Place, before: Place) -> bool:
    """Whether both speak of one label, moved a little since."""
    apart = place.corners.mean(axis=0) - before.corners.mean(axis=0)
    return place.size == before.size and bool(np.hypot(*apart) <= _NEAR * before.module)


def _as_before(place: Place, before: Place) -> Place:
    """The turn of ``place`` in which its corners lie nearest to those ``before``."""
    turns = [place.turned(quarters) for quarters in range(4)]
    return min(turns, key=lambda turn: float(np.hypot(*(turn.corners - before.corners).T).max()))


def _evened(grey: Field) -> Field:
    """Grey values of unit spread: frames of other exposure count alike."""
    even: Field = ((grey - grey.mean()) / (grey.std() + 1e-3)).astype(np.float32)
    return even
