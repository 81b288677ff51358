"""The camera of the computer that serves: looked at while a station's page is open."""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tagkit.errors import TagkitError

if TYPE_CHECKING:
    from numpy.typing import NDArray

_WIDEST = 1280
_QUALITY = 85
_IDLE = 5.0
_AGAIN = 3.0


@dataclass(frozen=True)
class Picture:
    """A frame as JPEG; ``number`` goes up with every frame."""

    number: int
    jpeg: bytes


class OwnCamera:
    """Opened when somebody looks, closed some seconds after the last look."""

    def __init__(self, source: str | int) -> None:
        self._source = source
        self._latest: Picture | None = None
        self._trouble: TagkitError | None = None
        self._asked_at = 0.0
        self._news = threading.Condition()
        self._thread: threading.Thread | None = None
        self._closed = False

    def next(self, after: int, patience: float = 1.0) -> Picture | None:
        """The latest frame with a number above ``after``; None when none comes in time."""
        with self._news:
            self._asked_at = time.monotonic()
            if self._thread is None and not self._closed:
                self._thread = threading.Thread(target=self._run, name="camera", daemon=True)
                self._thread.start()
            self._news.wait_for(lambda: self._is_newer(after), patience)
            return self._latest if self._is_newer(after) else None

    @property
    def trouble(self) -> TagkitError | None:
        """Why it gives no pictures."""
        return self._trouble

    def close(self) -> None:
        """Let go of the camera."""
        self._closed = True
        if self._thread is not None:
            self._thread.join(2)

    def _is_newer(self, after: int) -> bool:
        return self._latest is not None and self._latest.number > after

    def _run(self) -> None:
        try:
            while self._is_wanted():
                try:
                    self._look()
                except TagkitError as trouble:
                    self._trouble = trouble
                self._wait(_AGAIN if self._trouble else 0.0)
        finally:
            self._thread = None

    def _look(self) -> None:
        """Until nobody looks any more, or the source ends; a video begins again then."""
        from tagkit.reader.sources import open_source

        number = self._latest.number if self._latest else 0
        with open_source(self._source) as frames:
            began = time.monotonic()
            for frame in frames:
                if not self._is_wanted():
                    return
                if frames.kind == "video":
                    self._wait(began + frame.at - time.monotonic())
                number += 1
                picture = Picture(number, _jpeg(frame.picture))
                with self._news:
                    self._latest, self._trouble = picture, None
                    self._news.notify_all()

    def _is_wanted(self) -> bool:
        return not self._closed and time.monotonic() < self._asked_at + _IDLE

    def _wait(self, seconds: float) -> None:
        end = time.monotonic() + seconds
        while not self._closed and (left := end - time.monotonic()) > 0:
            time.sleep(min(left, 0.1))


def _jpeg(picture: NDArray[Any]) -> bytes:
    import cv2

    height, width = picture.shape[:2]
    if width > _WIDEST:
        size = (_WIDEST, round(height * _WIDEST / width))
        picture = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
    _, made = cv2.imencode(".jpg", picture, (cv2.IMWRITE_JPEG_QUALITY, _QUALITY))
    return bytes(made)
