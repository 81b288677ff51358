"""The decoders that others wrote, each behind the same shape: grey picture in, symbols out.

Only QR codes are looked for. Line codes and the smaller matrix codes have little or no error
detection, and on a cluttered picture they are "read" where there is none.

What counts as read: zxing-cpp's text is taken as it is. zbar and OpenCV guess the character set
of a symbol's bytes, so their text is taken only when it is plain ASCII, where nothing has to be
guessed; our tags always are. All of them accept a symbol only after its Reed-Solomon check.
"""

from __future__ import annotations

import ctypes
import threading
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from tagkit.reader.symbols import Corners, Found, Point, clockwise, signed_area

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Grey = NDArray[np.uint8]

_MISSING_ZBAR = (
    "zbar, one of the second opinions, is not installed; reading works without it, through "
    "zxing-cpp and OpenCV. To add it: on Debian or Ubuntu “apt install libzbar0”, on Fedora "
    "“dnf install zbar”, on macOS “brew install zbar”, on Windows install the Visual C++ 2013 "
    "redistributable and reinstall pyzbar."
)
# Smaller than the smallest symbol at one pixel a module; some decoders stumble over less.
_SMALLEST = 21
_local = threading.local()


def zxing(grey: Grey, *, invert: bool = False, downscale: bool = True) -> list[Found]:
    """Symbols that zxing-cpp reads; with ``invert`` light symbols on dark ground too."""
    import zxingcpp

    if min(grey.shape) < _SMALLEST:
        return []
    # Newer releases count the micro and rectangular codes among the QR codes.
    formats: Any = zxingcpp.BarcodeFormat.QRCode
    formats = getattr(zxingcpp.BarcodeFormat, "QRCodeModel2", formats)
    codes = zxingcpp.read_barcodes(
        _in_one_piece(grey),
        formats=formats,
        try_rotate=False,  # turns line codes; a QR code is found at any angle
        try_downscale=downscale,
        try_invert=invert,
        text_mode=zxingcpp.TextMode.Plain,
    )
    found = []
    for code in codes:
        at = code.position
        corners = [(p.x, p.y) for p in (at.top_left, at.top_right, at.bottom_right, at.bottom_left)]
        found += _found(code.text, corners, "zxing-cpp")
    return found


def zbar(grey: Grey) -> list[Found]:
    """Symbols that zbar reads; none where its shared library is missing (see :func:`hint`)."""
    wrapper = _zbar()
    if wrapper is None or min(grey.shape) < _SMALLEST:
        return []
    scanner = wrapper.zbar_image_scanner_create()
    image = wrapper.zbar_image_create()
    try:
        for symbol in wrapper.ZBarSymbol:
            wanted = int(symbol == wrapper.ZBarSymbol.QRCODE)
            wrapper.zbar_image_scanner_set_config(
                scanner, symbol, wrapper.ZBarConfig.CFG_ENABLE, wanted
            )
        pixels = grey.tobytes()
        height, width = grey.shape
        wrapper.zbar_image_set_format(image, int.from_bytes(b"Y800", "little"))
        wrapper.zbar_image_set_size(image, width, height)
        address = ctypes.cast(ctypes.c_char_p(pixels), ctypes.c_void_p)
        wrapper.zbar_image_set_data(image, address, len(pixels), None)
        found = []
        if wrapper.zbar_scan_image(scanner, image) > 0:
            symbol = wrapper.zbar_image_first_symbol(image)
            while symbol:
                found += _zbar_symbol(wrapper, symbol)
                symbol = wrapper.zbar_symbol_next(symbol)
        return found
    finally:
        wrapper.zbar_image_destroy(image)
        wrapper.zbar_image_scanner_destroy(scanner)


def opencv(grey: Grey) -> list[Found]:
    """Symbols that OpenCV's QRCodeDetector reads."""
    return _opencv(grey, "QRCodeDetector", "opencv")


def opencv_aruco(grey: Grey) -> list[Found]:
    """Symbols that OpenCV's QRCodeDetectorAruco reads."""
    return _opencv(grey, "QRCodeDetectorAruco", "opencv-aruco")


ENGINES: dict[str, Callable[[Grey], list[Found]]] = {
    "zxing-cpp": zxing,
    "zbar": zbar,
    "opencv": opencv,
    "opencv-aruco": opencv_aruco,
}


def hint() -> str | None:
    """How to add the zbar library where it is missing: one sentence, given once; else None."""
    global _hint_given
    if _hint_given or _zbar() is not None:
        return None
    _hint_given = True
    return _MISSING_ZBAR


_hint_given = False
_wrapper: Any = None
_wrapper_asked = False


def _zbar() -> Any | None:
    """pyzbar's functions, or None without the shared library."""
    global _wrapper, _wrapper_asked
    if not _wrapper_asked:
        _wrapper_asked = True
        try:
            from pyzbar import wrapper
        except (ImportError, OSError):  # pyzbar or the shared library is missing or broken
            _wrapper = None
        else:
            _wrapper = wrapper
    return _wrapper


def _zbar_symbol(wrapper: Any, symbol: Any) -> list[Found]:
    if wrapper.zbar_symbol_get_loc_size(symbol) != 4:
        return []
    length = wrapper.zbar_symbol_get_data_length(symbol)
    data = ctypes.string_at(wrapper.zbar_symbol_get_data(symbol), length)
    # Top left, bottom left, bottom right, top right in the symbol's own sense.
    corners = [
        (
            wrapper.zbar_symbol_get_loc_x(symbol, index),
            wrapper.zbar_symbol_get_loc_y(symbol, index),
        )
        for index in range(4)
    ]
    return _found(data.decode("ascii"), corners, "zbar") if data.isascii() else []


def _opencv(grey: Grey, name: str, decoder: str) -> list[Found]:
    import cv2

    if min(grey.shape) < _SMALLEST:
        return []
    # Detectors keep scratch memory, so each thread has its own.
    detector = getattr(_local, name, None)
    if detector is None:
        detector = getattr(cv2, name)()
        setattr(_local, name, detector)
    try:
        _, texts, quads, _ = detector.detectAndDecodeMulti(_in_one_piece(grey))
    except (cv2.error, UnicodeDecodeError):  # its own assertions, or bytes that are no text
        return []
    found = []
    for text, quad in zip(texts, () if quads is None else quads, strict=False):
        if text and text.isascii():
            found += _found(text, [(float(x), float(y)) for x, y in quad], decoder)
    return found


def _found(text: str, corners: Sequence[Point], decoder: str) -> list[Found]:
    """The symbol, unless it is empty or its corners are no quadrilateral."""
    turned: Corners = clockwise(corners)
    return [Found(text, turned, decoder)] if text and signed_area(turned) > 0 else []


def _in_one_piece(grey: Grey) -> Grey:
    import numpy as np

    return np.ascontiguousarray(grey)
