"""A camera for the browser whose picture a test changes while the browser looks.

Chromium's fake camera reads its Y4M file frame by frame, again and again. The file holds one
frame only, and is written over in place.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

WIDTH, HEIGHT = 960, 720
_GREY = NDArray[np.uint8]


class FakeCamera:
    """What stands before the camera: nothing, until something is shown."""

    def __init__(self, path: Path) -> None:
        self.path = path
        header = f"YUV4MPEG2 W{WIDTH} H{HEIGHT} F15:1 Ip A1:1\nFRAME\n".encode("ascii")
        self._start = len(header)
        path.write_bytes(header + bytes(WIDTH * HEIGHT * 3 // 2))
        self.show()

    def show(self, *texts: str) -> None:
        """Labels with these texts side by side on a table."""
        self.look_at(table_with([flat_label(text) for text in texts]))

    def look_at(self, grey: _GREY) -> None:
        """Any grey picture; it is fitted into the frame."""
        fitted = cv2.resize(grey, (WIDTH, HEIGHT)) if grey.shape != (HEIGHT, WIDTH) else grey
        chroma = np.full(WIDTH * HEIGHT // 2, 128, np.uint8)
        with self.path.open("r+b") as file:
            file.seek(self._start)
            file.write(fitted.tobytes() + chroma.tobytes())


def flat_label(text: str, module: int = 7) -> _GREY:
    """A symbol with its quiet zone, level H as on our labels."""
    import qrcode

    code = qrcode.QRCode(error_correction=qrcode.ERROR_CORRECT_H, box_size=1, border=4)
    code.add_data(text)
    code.make()
    dark = np.array(code.get_matrix(), dtype=bool)
    light = np.where(dark, 25, 235).astype(np.uint8)
    return np.kron(light, np.ones((module, module), np.uint8))


def table_with(labels: Sequence[_GREY]) -> _GREY:
    """Labels side by side on a table with some texture, as a camera sees it."""
    random = np.random.default_rng(11)
    coarse = random.normal(0, 1, (HEIGHT // 40, WIDTH // 40)).astype(np.float32)
    table = 120 + 14 * cv2.resize(coarse, (WIDTH, HEIGHT), interpolation=cv2.INTER_CUBIC)
    for index, label in enumerate(labels):
        room = WIDTH // len(labels)
        side = min(label.shape[0], room - 12, HEIGHT - 24)
        small = cv2.resize(label, (side, side), interpolation=cv2.INTER_AREA)
        left, top = index * room + (room - side) // 2, (HEIGHT - side) // 2
        table[top : top + side, left : left + side] = small
    seen = cv2.GaussianBlur(table, (0, 0), 0.7) + random.normal(0, 2, table.shape)
    return np.clip(seen, 16, 235).astype(np.uint8)
