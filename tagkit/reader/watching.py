"""Reading frame after frame: a cheap look at every frame, second opinions and recovery in turn.

At the station the same label stays in view for a second or more, so the cascade is spread over
frames: each frame gets the fastest decoder, and where something label-like stays unread, by
turns some second opinions or a share of recovery's search. A still picture gets everything at
once (read.read_picture).
"""

from __future__ import annotations

from collections.abc import Collection
from functools import partial
from typing import TYPE_CHECKING, Any

from tagkit.assets.tag import Tag
from tagkit.reader import engines
from tagkit.reader.decoders import OPINIONS, Opinion, ask, first_look
from tagkit.reader.read import Read, as_read, to_grey
from tagkit.reader.regions import Region, label_like
from tagkit.reader.symbols import Found, centre, merge

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tagkit.reader.engines import Grey
    from tagkit.reader.recovery.stream import RecoveryStream

# Light symbols on dark ground (etched plates) cost the first look twice its time. OpenCV's older
# detector takes the longest and adds the least: it is kept for still pictures.
_IN_TURN = (
    *(opinion for opinion in OPINIONS if opinion.name != "opencv"),
    Opinion("zxing-cpp inverted", partial(engines.zxing, invert=True), 6),
)
_PLACES = 12
_SIDE = 640
# Milliseconds of second opinions that one frame may ask for, by the opinions' usual cost.
_ALLOWANCE = 12.0
# Milliseconds of recovery's search in two of three frames; its search takes a second or so.
_RECOVERY = 20.0
# A camera or a label moves: after so many frames the places are looked for anew.
_FRESH_FRAMES = 8


class Watch:
    """Reads the frames of one video, camera or stream; keeps whose turn it is."""

    def __init__(self, roster: Collection[Tag] | None = None) -> None:
        """``roster``: the labels that may be recovered, as for read_picture; None or empty: the
        frames are only decoded."""
        self._roster: Collection[Tag] = roster or ()
        self._recovery: RecoveryStream | None = None
        self._following = False
        self._open = False
        self._work: list[tuple[Opinion, Region]] = []
        self._age = 0
        self._next = 0
        self._frame = 0

    @property
    def roster(self) -> Collection[Tag]:
        """The labels that may be recovered; another one counts from the next frame on."""
        return self._roster

    @roster.setter
    def roster(self, roster: Collection[Tag]) -> None:
        if roster is self._roster:
            return
        self._roster = roster
        if self._recovery is not None:
            self._recovery.roster = roster

    def read(self, picture: NDArray[Any]) -> list[Read]:
        """Every symbol read in this frame (grey or BGR, uint8)."""
        grey = to_grey(picture)
        self._frame += 1
        found = first_look(grey)
        for_recovery = bool(self._roster) and self._frame % 3 != 1
        found = merge(found, self._second_opinions(grey, found, only_count=for_recovery))
        reads = [as_read(one) for one in found]
        if for_recovery:
            recovered = self._recover(grey, reads)
            self._following = bool(recovered)
            reads += recovered
        return reads

    def _recover(self, grey: Grey, reads: list[Read]) -> list[Read]:
        """Recovery's share, where something label-like is unread or was named by it before."""
        if not self._open and not self._following:
            return []
        if self._recovery is None:
            from tagkit.reader.recovery.stream import RecoveryStream

            self._recovery = RecoveryStream(self._roster)
        return self._recovery.look(grey, reads, budget_ms=_RECOVERY)

    def _second_opinions(
        self, grey: Grey, found: list[Found], *, only_count: bool = False
    ) -> list[Found]:
        """A frame's share of the work; at least one opinion where there is any. ``only_count``:
        this frame's time is for something else."""
        self._age += 1
        if not self._work or self._age > _FRESH_FRAMES:
            self._look_for_places(grey, found)
            return []
        if only_count:
            return []
        more: list[Found] = []
        spent = 0.0
        while self._work and spent < _ALLOWANCE:
            opinion, place = self._work[0]
            side = min(_SIDE, opinion.side_for(_ALLOWANCE))
            price = opinion.price(place, side)
            if spent and spent + price > _ALLOWANCE:
                break
            self._work.pop(0)
            if any(place.holds(*centre(one.corners)) for one in (*found, *more)):
                continue
            more += ask(opinion, grey, place, side)
            spent += price
        return more

    def _look_for_places(self, grey: Grey, found: list[Found]) -> None:
        """Begin a round: every opinion about every place, from the one that is next."""
        if self._work:  # left over from the last round: go on there
            self._next = _IN_TURN.index(self._work[0][0])
        places = [
            place
            for place in label_like(grey, _PLACES)
            if not any(place.holds(*centre(one.corners)) for one in found)
        ]
        self._open = bool(places)
        turn = _IN_TURN[self._next :] + _IN_TURN[: self._next]
        self._work = [(opinion, place) for opinion in turn for place in places]
        self._age = 0
