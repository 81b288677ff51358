"""Reading frame after frame: a cheap look at every frame, second opinions in turn.

At the station the same label stays in view for a second or more, so the cascade is spread over
frames: each frame gets the fastest decoder, and where something label-like stays unread one
second opinion, about one place. A still picture gets everything at once (decoders.look).
"""

from __future__ import annotations

from collections.abc import Collection
from functools import partial
from typing import TYPE_CHECKING, Any

from tagkit.assets.tag import Tag
from tagkit.reader import engines
from tagkit.reader.decoders import OPINIONS, Opinion, ask, first_look
from tagkit.reader.read import Read, Recovery, as_read, to_grey
from tagkit.reader.regions import Region, label_like
from tagkit.reader.symbols import Found, centre, merge

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from tagkit.reader.engines import Grey

# Light symbols on dark ground (etched plates) cost the first look twice its time.
_IN_TURN = (*OPINIONS, Opinion("zxing-cpp inverted", partial(engines.zxing, invert=True)))
_PLACES = 3
_SIDE = 640
_FRESH_FRAMES = 4


class Watch:
    """Reads the frames of one video, camera or stream; keeps whose turn it is."""

    def __init__(
        self, roster: Collection[Tag] | None = None, *, recovery: Recovery | None = None
    ) -> None:
        """``roster`` and ``recovery`` as for read_picture."""
        self._roster = roster
        self._recovery = recovery
        self._places: list[Region] = []
        self._age = 0
        self._turn = 0

    def read(self, picture: NDArray[Any]) -> list[Read]:
        """Every symbol read in this frame (grey or BGR, uint8)."""
        grey = to_grey(picture)
        found = first_look(grey)
        found = merge(found, self._second_opinion(grey, found))
        reads = [as_read(one) for one in found]
        if self._recovery and self._roster:
            reads.extend(self._recovery(grey, tuple(reads), self._roster))
        return reads

    def _second_opinion(self, grey: Grey, found: list[Found]) -> list[Found]:
        """One piece of work: find the places anew, or ask one opinion about one place."""
        self._age -= 1
        if self._age <= 0:
            self._places = label_like(grey, _PLACES)
            self._age = _FRESH_FRAMES
            return []
        places = [
            place
            for place in self._places
            if not any(place.holds(*centre(one.corners)) for one in found)
        ]
        if not places:
            return []
        place = places[self._turn % len(places)]
        opinion = _IN_TURN[self._turn // len(places) % len(_IN_TURN)]
        self._turn += 1
        return ask(opinion, grey, place, _SIDE)
