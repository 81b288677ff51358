"""Who reads: other decoders as they come, their union, and ours. Grey picture in, texts out.

The peers run with their own defaults, limited to QR codes, on the plain picture; zxing-cpp with
all it tries by default (turned, inverted, shrunk). None is given enlarged pictures.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Collection
from typing import Any

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray
from tagkit.assets.tag import Tag
from tagkit.reader.read import Recovery, read_picture
from tagkit.reader.watching import Watch

Reader = Callable[[NDArray[np.uint8]], list[str]]
_local = threading.local()


def zxing(grey: NDArray[np.uint8]) -> list[str]:
    codes = zxingcpp.read_barcodes(grey, formats=zxingcpp.BarcodeFormat.QRCode)
    return [code.text for code in codes]


def zbar(grey: NDArray[np.uint8]) -> list[str]:
    from pyzbar import pyzbar

    codes = pyzbar.decode(grey, symbols=[pyzbar.ZBarSymbol.QRCODE])
    return [code.data.decode("utf-8", "replace") for code in codes]


def opencv(grey: NDArray[np.uint8]) -> list[str]:
    return _opencv(grey, "QRCodeDetector")


def opencv_aruco(grey: NDArray[np.uint8]) -> list[str]:
    return _opencv(grey, "QRCodeDetectorAruco")


def _opencv(grey: NDArray[np.uint8], name: str) -> list[str]:
    detector: Any = getattr(_local, name, None)
    if detector is None:
        detector = getattr(cv2, name)()
        setattr(_local, name, detector)
    try:
        _, texts, _, _ = detector.detectAndDecodeMulti(grey)
    except (cv2.error, UnicodeDecodeError):
        return []
    return [text for text in texts if text]


PEERS: dict[str, Reader] = {
    "zxing-cpp": zxing,
    "zbar": zbar,
    "OpenCV": opencv,
    "OpenCV aruco": opencv_aruco,
}


def ours(
    roster: Collection[Tag] | None = None,
    recovery: Recovery | None = None,
    seconds: float | None = None,
) -> Reader:
    """Our reader of one picture; with ``recovery`` it identifies against the roster too."""

    def read(grey: NDArray[np.uint8]) -> list[str]:
        found = read_picture(grey, roster, seconds=seconds, recovery=recovery)
        return [one.text for one in found]

    return read


def watching(roster: Collection[Tag] | None = None, recovery: Recovery | None = None) -> Reader:
    """Our reader of a camera: to be given the frames of one video in their order.

    ``recovery`` is given every frame; without it a station's own share of it works on ``roster``.
    """
    watch = Watch(None if recovery else roster)

    def read(grey: NDArray[np.uint8]) -> list[str]:
        found = watch.read(grey)
        if recovery and roster:
            found += recovery(grey, tuple(found), roster)
        return [one.text for one in found]

    return read


def enlarged(reader: Reader, times: float = 3.0) -> Reader:
    """The same reader on the picture enlarged (cubic)."""

    def read(grey: NDArray[np.uint8]) -> list[str]:
        large = cv2.resize(grey, None, fx=times, fy=times, interpolation=cv2.INTER_CUBIC)
        return reader(large.astype(np.uint8))

    return read
