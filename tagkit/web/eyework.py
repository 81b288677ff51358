"""What the reader's processes do. Each keeps what earlier frames of a camera showed."""

from __future__ import annotations

import io
import os
import signal
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tagkit.errors import WrongInput
from tagkit.jobs.camera import QUIET_SECONDS

if TYPE_CHECKING:
    from tagkit.reader.engines import Grey
    from tagkit.reader.read import Read
    from tagkit.reader.recovery.roster import Roster
    from tagkit.reader.recovery.stream import RecoveryStream
    from tagkit.reader.watching import Watch

_LARGEST_PIXELS = 4_200_000
# Milliseconds of the processor for one turn at looking deeper; what is left is gone on with at the
# next.
_TURN = 120
_THOROUGH = 4
_LOWER = 10  # of the priorities, where the system knows them
_LOOK_FOR_LABELS = 0.5  # seconds between askings whether something unread is in view


@dataclass(frozen=True)
class Looked:
    """What one frame showed: ``size`` in pixels (width, height), ``trouble`` a sentence with
    what to do, ``unread`` whether something label-like was not read."""

    reads: tuple[Read, ...]
    size: tuple[int, int]
    trouble: str | None
    unread: bool


class RosterMissing(Exception):
    """This process has not been told yet which labels there can be."""


class _Camera:
    """What is kept of one camera."""

    def __init__(self, watch: Watch) -> None:
        self.watch = watch
        self.frames = 0
        self.read_at = time.monotonic()
        self.asked_at = self.read_at
        self.looked_at = 0.0
        self.trouble: str | None = None
        self.unread = False


_cameras: dict[int, _Camera] = {}
_streams: dict[int, RecoveryStream] = {}
_roster: tuple[int, Roster | None] = (0, None)


def begin_reading() -> None:
    """In a new process: Ctrl-C is for the server, and one core is enough for each."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    import cv2

    cv2.setNumThreads(1)


def begin_recovering() -> None:
    """The same, giving way to everything else."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    begin_reading()
    give_way = getattr(os, "nice", None)  # Windows has none
    if give_way is not None:
        give_way(_LOWER)


def look(camera: int, frame: bytes, *, hurry: bool = False) -> Looked:
    """Read one frame. In a ``hurry``, while other cameras wait, second opinions are asked for
    every fourth frame only."""
    from tagkit.reader.decoders import first_look
    from tagkit.reader.read import as_read
    from tagkit.reader.regions import label_like
    from tagkit.reader.symbols import centre
    from tagkit.reader.trouble import camera_trouble
    from tagkit.reader.watching import Watch

    grey = grey_of(frame)
    kept = _cameras.get(camera)
    if kept is None:
        kept = _cameras[camera] = _Camera(Watch())
    kept.frames += 1
    if hurry and kept.frames % _THOROUGH:
        reads = tuple(as_read(one) for one in first_look(grey))
    else:
        reads = tuple(kept.watch.read(grey))
    now = time.monotonic()
    if reads:
        kept.read_at = kept.asked_at = now
        kept.trouble = None
    elif now >= kept.asked_at + QUIET_SECONDS:
        kept.asked_at = now
        kept.trouble = camera_trouble(grey)
    if now >= kept.looked_at + _LOOK_FOR_LABELS:
        kept.looked_at = now
        kept.unread = any(
            not any(place.holds(*centre(one.corners)) for one in reads)
            for place in label_like(grey, 3)
        )
    height, width = grey.shape
    return Looked(reads, (width, height), kept.trouble, kept.unread)


def recover(camera: int, frame: bytes, reads: Sequence[Read], known: int) -> list[Read]:
    """Labels that no decoder reads; RosterMissing unless roster number ``known`` is here."""
    from tagkit.reader.recovery.stream import RecoveryStream

    number, roster = _roster
    if number != known or roster is None:
        raise RosterMissing
    stream = _streams.get(camera)
    if stream is None:
        stream = _streams[camera] = RecoveryStream(roster, clock=time.thread_time)
    return stream.look(grey_of(frame), reads, budget_ms=_TURN)


def set_roster(number: int, roster: Roster) -> None:
    """From now on these labels are looked for."""
    global _roster
    _roster = (number, roster)
    _streams.clear()


def forget(camera: int) -> None:
    """Its last frame has come."""
    _cameras.pop(camera, None)
    _streams.pop(camera, None)


def grey_of(frame: bytes) -> Grey:
    """A JPEG as a grey picture; its size is checked before it is unpacked."""
    import cv2
    import numpy as np
    from PIL import Image

    try:
        with Image.open(io.BytesIO(frame), formats=("JPEG",)) as opened:
            width, height = opened.size
    except Exception as error:
        raise WrongInput("the camera sent no picture", "Load the page again") from error
    if width * height > _LARGEST_PIXELS:
        raise WrongInput(
            f"the camera's picture is too large ({width} × {height})", "Choose a smaller one"
        )
    grey = cv2.imdecode(np.frombuffer(frame, np.uint8), cv2.IMREAD_GRAYSCALE)
    if grey is None:
        raise WrongInput("the camera sent a damaged picture", "Load the page again")
    return grey  # type: ignore[return-value]
