"""Moving pictures through OpenCV: video files, cameras, network streams."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tagkit.errors import NotFound, TagkitError, WrongInput

if TYPE_CHECKING:
    import cv2

    from tagkit.reader.sources import Frame

VIDEO_ENDINGS = frozenset(
    (
        ".mp4",
        ".m4v",
        ".mov",
        ".avi",
        ".mkv",
        ".webm",
        ".mpg",
        ".mpeg",
        ".ts",
        ".mts",
        ".m2ts",
        ".wmv",
        ".3gp",
        ".ogv",
        ".mjpeg",
        ".y4m",
    )
)
_OPEN_SECONDS = 8
_READ_SECONDS = 8
_FAILED_READS = 30
_LARGEST_CAMERA = 99  # OpenCV takes 100 and up as names of its back ends
_opening = threading.Lock()


def is_video(head: bytes, ending: str) -> bool:
    """Whether a file that is no still picture is a video, by its first bytes or its name."""
    return (
        ending.lower() in VIDEO_ENDINGS
        or head[4:8] == b"ftyp"
        or (head[:4] == b"RIFF" and head[8:12] == b"AVI ")
        or head.startswith((b"\x1aE\xdf\xa3", b"\0\0\x01\xba", b"YUV4MPEG2"))
    )


def video_frames(path: Path, troubles: list[TagkitError]) -> Iterator[Frame]:
    """The frames of a video file; a file that ends early leaves a remark in ``troubles``."""
    from tagkit.reader.sources import Frame

    where = str(path)
    capture = _open(str(path.resolve()), "file,crypto,data")
    if capture is None:
        raise WrongInput(
            "the video is damaged or of a kind that can't be read",
            "Play it in another program; save it again as MP4 if it plays",
            where,
        )
    return _video_frames(capture, where, troubles, Frame)


def _video_frames(
    capture: cv2.VideoCapture, where: str, troubles: list[TagkitError], frame_type: type[Frame]
) -> Iterator[Frame]:
    import cv2

    try:
        promised = int(capture.get(cv2.CAP_PROP_FRAME_COUNT))
        rate = capture.get(cv2.CAP_PROP_FPS)
        rate = rate if 0.1 < rate < 1000 else 25.0
        index = 0
        while True:
            picture = _next(capture)
            if picture is None:
                break
            at = capture.get(cv2.CAP_PROP_POS_MSEC) / 1000
            yield frame_type(where, index, picture, at if at > 0 else index / rate, False)
            index += 1
    finally:
        capture.release()
    if index == 0:
        raise WrongInput("the video holds no frame that can be read", "Save it again", where)
    # Counts in headers are estimates; a tenth less is a file cut short.
    if promised > 0 and index < 0.9 * promised:
        troubles.append(
            WrongInput(
                f"the video ends after {index} of {promised} frames",
                "Copy it again if the rest matters",
                where,
            )
        )


def camera_frames(index: int) -> Iterator[Frame]:
    """The frames of a camera until it is closed or pulled out."""
    import cv2

    from tagkit.reader.sources import Frame

    name = f"camera {index}"
    capture = None
    if 0 <= index <= _LARGEST_CAMERA:
        with _quiet():
            opened = cv2.VideoCapture(index)
        capture = opened if opened.isOpened() else None
    if capture is None:
        other = 1 if index == 0 else 0
        raise NotFound(
            f"camera {index} can't be opened",
            "Check that it is plugged in and that no other program uses it, or try another "
            f"number (--camera {other})",
        )
    # Old frames are of no use at the station: ask for the shortest queue.
    capture.set(cv2.CAP_PROP_BUFFERSIZE, 1)
    return _live(capture, name, "Check its cable", Frame)


def stream_frames(address: str) -> Iterator[Frame]:
    """The frames of a network stream (rtsp, http, https)."""
    from tagkit.reader.sources import Frame, _without_password

    name = _without_password(address)
    # Nothing that an address leads to (a redirect, a playlist) may name a local file.
    capture = _open(address, "rtsp,rtp,udp,tcp,tls,http,https,httpproxy,crypto")
    if capture is None:
        raise NotFound(
            "the stream does not answer",
            "Check the address, the camera's user name and password, and the network",
            name,
        )
    return _live(capture, name, "Check the network", Frame)


def _live(
    capture: cv2.VideoCapture, name: str, remedy: str, frame_type: type[Frame]
) -> Iterator[Frame]:
    """Frames with the time they came; NotFound when they stop coming."""
    start = time.monotonic()
    index = failed = 0
    try:
        while failed < _FAILED_READS:
            picture = _next(capture)
            if picture is None:
                failed += 1
                time.sleep(0.02)
                continue
            failed = 0
            yield frame_type(name, index, picture, time.monotonic() - start, False)
            index += 1
    finally:
        capture.release()
    what = "gives no pictures" if index == 0 else f"stopped after {index} pictures"
    raise NotFound(f"{name} {what}", remedy)


def _next(capture: cv2.VideoCapture) -> Any | None:
    import cv2

    try:
        ok, picture = capture.read()
    except cv2.error:  # damaged frames that OpenCV does not catch itself
        return None
    return picture if ok and picture is not None and picture.size else None


def _open(name: str, protocols: str) -> cv2.VideoCapture | None:
    """A capture through FFmpeg only, so that a name is never taken for a pipeline or a pattern
    of file names; ``protocols`` is all that may be followed from it."""
    import cv2

    limits = [
        cv2.CAP_PROP_OPEN_TIMEOUT_MSEC,
        _OPEN_SECONDS * 1000,
        cv2.CAP_PROP_READ_TIMEOUT_MSEC,
        _READ_SECONDS * 1000,
    ]
    with _quiet(), _environment("OPENCV_FFMPEG_CAPTURE_OPTIONS", f"protocol_whitelist;{protocols}"):
        try:
            capture = cv2.VideoCapture(name, cv2.CAP_FFMPEG, limits)
        except cv2.error:
            return None
    return capture if capture.isOpened() else None


@contextmanager
def _quiet() -> Iterator[None]:
    """OpenCV and FFmpeg say nothing on standard error while something is tried."""
    import cv2

    os.environ.setdefault("OPENCV_FFMPEG_LOGLEVEL", "-8")
    before = cv2.utils.logging.getLogLevel()
    cv2.utils.logging.setLogLevel(cv2.utils.logging.LOG_LEVEL_SILENT)
    try:
        yield
    finally:
        cv2.utils.logging.setLogLevel(before)


@contextmanager
def _environment(name: str, value: str) -> Iterator[None]:
    """An environment variable set for as long as OpenCV reads it."""
    with _opening:
        before = os.environ.get(name)
        os.environ[name] = value
        try:
            yield
        finally:
            if before is None:
                del os.environ[name]
            else:
                os.environ[name] = before
