"""The decoding cascade: every way of reading a symbol, cheapest first, within a time budget.

The first look is zxing-cpp on the whole picture. What is left unread and looks like a label is
cut out and tried in other ways: smoothed, enlarged, sharpened, thresholded against its wider
surroundings, and shown to the other decoders. The order is by reads gained per millisecond
(tests/bench/bench_reader.py prints the gains).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tagkit.reader import engines
from tagkit.reader.engines import hint
from tagkit.reader.regions import Region, label_like, whole
from tagkit.reader.symbols import Found, centre, merge

if TYPE_CHECKING:
    from tagkit.reader.engines import Grey

__all__ = [
    "DEFAULT_SECONDS",
    "OPINIONS",
    "Opinion",
    "ask",
    "decode_all",
    "first_look",
    "hint",
    "look",
]

DEFAULT_SECONDS = 1.0
# A cut-out is brought to at most this many pixels a side before a second opinion; symbols that
# need more are large enough to be read when shrunk.
_LARGEST_SIDE = 1000


@dataclass(frozen=True)
class Opinion:
    """One way of looking at a cut-out: enlarge it, prepare it, ask a decoder.

    ``cost`` is milliseconds per million pixels looked at, measured on clutter; it only serves
    to share out the work over frames.
    """

    name: str
    engine: Callable[[Grey], list[Found]]
    cost: float
    enlarge: float = 1.0
    prepare: Callable[[Grey], Grey] | None = None

    def scale(self, place: Region, largest_side: int) -> float:
        """By how much the cut-out is really enlarged."""
        longest = max(place.right - place.left, place.bottom - place.top)
        return min(self.enlarge, largest_side / longest)

    def price(self, place: Region, largest_side: int) -> float:
        """About how many milliseconds it takes to ask about ``place``."""
        pixels = (place.right - place.left) * (place.bottom - place.top)
        return self.cost * pixels * self.scale(place, largest_side) ** 2 / 1e6


def decode_all(grey: Grey, seconds: float = DEFAULT_SECONDS) -> list[str]:
    """The texts of all symbols in a grey picture (H × W, uint8), foreign codes included.

    A symbol's text is given once for each place where it is printed. ``seconds`` limits the
    time for second opinions; with 0 there is only the first look.
    """
    return [found.text for found in look(grey, seconds)]


def look(grey: Grey, seconds: float = DEFAULT_SECONDS) -> list[Found]:
    """All symbols in a grey picture (H × W, uint8); corners in its pixels.

    The first look always runs; further ones begin only while ``seconds`` are not used up.
    """
    until = time.perf_counter() + seconds
    found = first_look(grey, invert=True)
    if seconds <= 0:
        return found
    places = [place for place in label_like(grey) if not _read(place, found)]
    if not found:
        places.append(whole(grey))
    for opinion in OPINIONS:
        for place in list(places):
            if time.perf_counter() >= until:
                return found
            more = ask(opinion, grey, place)
            if more:
                found = merge(found, more)
                places = [place for place in places if not _read(place, found)]
    return found


def first_look(grey: Grey, *, invert: bool = False) -> list[Found]:
    """What the fastest decoder reads in the whole picture: cheap enough for every frame."""
    return engines.zxing(grey, invert=invert)


def ask(
    opinion: Opinion, grey: Grey, place: Region, largest_side: int = _LARGEST_SIDE
) -> list[Found]:
    """What one second opinion reads in one part of the picture; corners in the whole one."""
    import cv2

    cut = place.cut(grey)
    scale = opinion.scale(place, largest_side)
    if scale != 1:
        size = (max(1, round(cut.shape[1] * scale)), max(1, round(cut.shape[0] * scale)))
        way = cv2.INTER_CUBIC if scale > 1 else cv2.INTER_AREA
        cut = cv2.resize(cut, size, interpolation=way)  # type: ignore[assignment]
    if opinion.prepare:
        cut = opinion.prepare(cut)
    return [
        Found(one.text, one.moved(scale, place.left, place.top).corners, opinion.name)
        for one in opinion.engine(cut)
    ]


def _read(place: Region, found: list[Found]) -> bool:
    return any(place.holds(*centre(one.corners)) for one in found)


def _smooth(grey: Grey) -> Grey:
    import cv2

    return cv2.GaussianBlur(grey, (0, 0), 1.0)  # type: ignore[return-value]


def _without_specks(grey: Grey) -> Grey:
    import cv2

    return cv2.medianBlur(grey, 3)  # type: ignore[return-value]


def _sharp(grey: Grey) -> Grey:
    """Unsharp mask for a picture that was enlarged three times."""
    import cv2

    soft = cv2.GaussianBlur(grey, (0, 0), 3.0)
    return cv2.addWeighted(grey, 2.5, soft, -1.5, 0)  # type: ignore[return-value]


def _against_surroundings(grey: Grey) -> Grey:
    """Dark is what is darker than the mean of a quarter of the cut-out around it.

    Reads symbols whose dark modules are of many tones or lie in a shadow, where the decoders'
    own narrow windows take the inside of a large dark area for light.
    """
    import cv2

    window = max(31, min(grey.shape) // 4) | 1
    return cv2.adaptiveThreshold(  # type: ignore[return-value]
        grey, 255, cv2.ADAPTIVE_THRESH_MEAN_C, cv2.THRESH_BINARY, window, 0
    )


OPINIONS: tuple[Opinion, ...] = (
    Opinion("zxing-cpp without specks", engines.zxing, 4, 1, _without_specks),
    Opinion("zxing-cpp enlarged", engines.zxing, 4, 3),
    Opinion("zxing-cpp against surroundings", engines.zxing, 5, 2, _against_surroundings),
    Opinion("zxing-cpp sharpened", engines.zxing, 7, 3, _sharp),
    Opinion("zbar smoothed", engines.zbar, 40, 1, _smooth),
    Opinion("zbar enlarged", engines.zbar, 32, 2),
    Opinion("opencv-aruco", engines.opencv_aruco, 60),
    Opinion("opencv", engines.opencv, 130),
)
