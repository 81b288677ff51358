"""The one reader behind all stations: frames go in, reads come out.

It works apart from the process that serves pages, so that reading never holds up an answer.
Each camera has one frame on its way at most, so the turns are fair however many stream at once.
Labels beyond decoding go to one more process of low priority, which takes cameras in turn too.
"""

from __future__ import annotations

import asyncio
import itertools
import logging
import os
from collections import Counter
from collections.abc import Callable, Sequence
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

from tagkit.web import eyework
from tagkit.web.eyework import Looked

if TYPE_CHECKING:
    from tagkit.reader.read import Read
    from tagkit.reader.recovery.roster import Roster

_LARGEST_FRAME = 3_000_000
_MOST_READERS = 4
_CROWD = 3  # frames before this one: then the fastest decoder must do for most

log = logging.getLogger(__name__)

P = ParamSpec("P")
R = TypeVar("R")


class Eye:
    """Start one per server; processes begin with the first frame."""

    def __init__(self, readers: int | None = None) -> None:
        count = readers or max(1, min(_MOST_READERS, (os.cpu_count() or 2) - 1))
        self._readers = [_Worker(eyework.begin_reading) for _ in range(count)]
        self._recoverer = _Worker(eyework.begin_recovering)
        self._numbers = itertools.count(1)
        self._at: dict[int, _Worker] = {}
        self._roster: Roster | None = None
        self._rosters = itertools.count(1)
        self._roster_number = 0

    def open_camera(self) -> int:
        """A new camera; its frames are read in their order by one process."""
        number = next(self._numbers)
        busy = Counter(self._readers.index(worker) for worker in self._at.values())
        least = min(range(len(self._readers)), key=lambda index: busy[index])
        self._at[number] = self._readers[least]
        return number

    async def look(self, camera: int, frame: bytes) -> Looked:
        """What a frame (JPEG) shows; at most one call for each camera at a time.

        WrongInput for bytes that are no such picture.
        """
        worker = self._at[camera]
        hurry = worker.waiting >= _CROWD
        return await worker.run(eyework.look, camera, frame[: _LARGEST_FRAME + 1], hurry=hurry)

    async def recover(self, camera: int, frame: bytes, reads: Sequence[Read]) -> list[Read]:
        """Labels in the frame that no decoder reads, by what the roster says there can be."""
        if self._roster is None:
            return []
        known = self._roster_number
        try:
            return await self._recoverer.run(eyework.recover, camera, frame, tuple(reads), known)
        except eyework.RosterMissing:
            await self._recoverer.run(eyework.set_roster, known, self._roster)
            return await self._recoverer.run(eyework.recover, camera, frame, tuple(reads), known)

    def set_roster(self, roster: Roster) -> None:
        """Which labels there can be; hand over the same object while nothing has changed."""
        if roster is not self._roster:
            self._roster, self._roster_number = roster, next(self._rosters)

    def close_camera(self, camera: int) -> None:
        """This camera looks no more."""
        worker = self._at.pop(camera, None)
        if worker is not None:
            worker.tell(eyework.forget, camera)
            self._recoverer.tell(eyework.forget, camera)

    def close(self) -> None:
        """End the processes."""
        for worker in (*self._readers, self._recoverer):
            worker.close()


class _Worker:
    """One process, started when it is needed and again should it die.

    Where the system allows no such process (no shared memory in a locked-down container), a
    thread of the server does the work: slower pages, but labels are read.
    """

    def __init__(self, begin: Callable[[], None]) -> None:
        self._begin = begin
        self._pool: Executor | None = None
        self.waiting = 0
        """Calls that have not been answered yet."""

    async def run(self, function: Callable[P, R], /, *arguments: P.args, **named: P.kwargs) -> R:
        self.waiting += 1
        try:
            return await self._tried(function, *arguments, **named)
        except BrokenProcessPool:
            return await self._tried(function, *arguments, **named)  # in a new process
        finally:
            self.waiting -= 1

    async def _tried(self, function: Callable[P, R], /, *arguments: P.args, **named: P.kwargs) -> R:
        pool = self._started()
        try:
            return await asyncio.wrap_future(pool.submit(function, *arguments, **named))
        except BrokenProcessPool:
            if self._pool is pool:
                self._pool = None
            raise

    def tell(self, function: Callable[..., Any], *arguments: Any) -> None:
        """Run it where there is a process at all; nobody waits for it."""
        if self._pool is not None:
            try:
                self._pool.submit(function, *arguments)
            except (BrokenProcessPool, RuntimeError):
                self._pool = None

    def _started(self) -> Executor:
        if self._pool is None:
            try:
                self._pool = ProcessPoolExecutor(
                    1, mp_context=get_context("spawn"), initializer=self._begin
                )
            except OSError as error:  # its locks lie in shared memory
                log.warning("no process for the reader, it works within the server: %s", error)
                self._pool = ThreadPoolExecutor(1, "reader")
        return self._pool

    def close(self) -> None:
        if self._pool is not None:
            self._pool.shutdown(
                cancel_futures=True
            )  # what it works on takes a fraction of a second
            self._pool = None
