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
from functools import partial
from typing import TYPE_CHECKING

from tagkit.reader import enhance
from tagkit.reader.engines import hint, opencv, opencv_aruco, zbar, zxing
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
    """One way of looking at a cut-out: prepare it, enlarge it, finish it, ask a decoder.

    ``cost`` is milliseconds per million pixels given to the decoder, measured on clutter; it
    only serves to share out the work over frames. With ``enlarge`` below 1 the cut-out is made
    smaller before anything else.
    """

    name: str
    engine: Callable[[Grey], list[Found]]
    cost: float
    enlarge: float = 1.0
    prepare: Callable[[Grey], Grey] | None = None
    finish: Callable[[Grey], Grey] | None = None

    def scale(self, place: Region, largest_side: int) -> float:
        """By how much the cut-out is really enlarged."""
        longest = max(place.right - place.left, place.bottom - place.top)
        return min(self.enlarge, largest_side / longest)

    def price(self, place: Region, largest_side: int) -> float:
        """About how many milliseconds it takes to ask about ``place``."""
        return self.cost * place.area * self.scale(place, largest_side) ** 2 / 1e6

    def side_for(self, milliseconds: float) -> int:
        """The side of the largest square that it can be asked about in this time."""
        return int((milliseconds / self.cost * 1e6) ** 0.5)


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
    return zxing(grey, invert=invert)


def ask(
    opinion: Opinion, grey: Grey, place: Region, largest_side: int = _LARGEST_SIDE
) -> list[Found]:
    """What one second opinion reads in one part of the picture; corners in the whole one."""
    cut = place.cut(grey)
    scale = opinion.scale(place, largest_side)
    if scale < 1:
        cut = _resized(cut, scale)
    if opinion.prepare:
        cut = opinion.prepare(cut)
    if scale > 1:
        cut = _resized(cut, scale)
    if opinion.finish:
        cut = opinion.finish(cut)
    return [
        Found(one.text, one.moved(scale, place.left, place.top).corners, opinion.name)
        for one in opinion.engine(cut)
    ]


def _resized(grey: Grey, scale: float) -> Grey:
    import cv2

    size = (max(1, round(grey.shape[1] * scale)), max(1, round(grey.shape[0] * scale)))
    way = cv2.INTER_CUBIC if scale > 1 else cv2.INTER_AREA
    return cv2.resize(grey, size, interpolation=way)  # type: ignore[return-value]


def _read(place: Region, found: list[Found]) -> bool:
    return any(place.holds(*centre(one.corners)) for one in found)


# By reads gained per millisecond, on labels that are small, worn, badly lit or out of focus.
OPINIONS: tuple[Opinion, ...] = (
    Opinion("zxing-cpp without specks", zxing, 4, 1, enhance.without_specks),
    Opinion("zxing-cpp enlarged", zxing, 4, 3),
    Opinion("zxing-cpp against surroundings", zxing, 6, 2, None, enhance.against_surroundings),
    Opinion("zxing-cpp deblurred a little", zxing, 6, 3, partial(enhance.deblur, sigma=0.8)),
    Opinion("zxing-cpp deblurred", zxing, 6, 3, partial(enhance.deblur, sigma=1.2)),
    Opinion(
        "zxing-cpp deblurred a lot", zxing, 6, 3, partial(enhance.deblur, sigma=2, noise=0.005)
    ),
    Opinion(
        "zxing-cpp deblurred at half size",
        zxing,
        12,
        0.5,
        partial(enhance.deblur, sigma=2, noise=0.005),
    ),
    Opinion("zxing-cpp through noise", zxing, 7, 3, enhance.smooth, enhance.sharpen),
    Opinion("zxing-cpp sharpened", zxing, 7, 3, None, enhance.sharpen),
    Opinion("zxing-cpp with ink thinned", zxing, 8, 3, None, enhance.thin_dark),
    Opinion("zbar smoothed", zbar, 45, 1, enhance.smooth),
    Opinion("zbar enlarged", zbar, 50, 2),
    Opinion("opencv-aruco", opencv_aruco, 210),
    Opinion("opencv", opencv, 200),
)
