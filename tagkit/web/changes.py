"""Telling open pages that something was recorded: one watcher for all of them.

The record's file is asked about once a second while any page listens, however many do.
"""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from pathlib import Path

from tagkit.errors import Busy
from tagkit.record.watch import Watch

EVERY_SECONDS = 1.0
STILL_THERE_SECONDS = 20.0
MOST_LISTENERS = 200


class Changes:
    """The watcher of one site's record."""

    def __init__(self, directory: Path) -> None:
        self.directory = directory
        self._listeners: set[asyncio.Queue[int]] = set()
        self._task: asyncio.Task[None] | None = None

    async def messages(self) -> AsyncIterator[str]:
        """Server-sent events: “change” whenever something was recorded, a comment now and then.

        Raises Busy when too many pages listen already.
        """
        if len(self._listeners) >= MOST_LISTENERS:
            raise Busy("too many pages listen for changes", "Close some, or reload now and then")
        # Of several changes that nobody has fetched, one message is enough.
        mine: asyncio.Queue[int] = asyncio.Queue(maxsize=1)
        self._listeners.add(mine)
        if self._task is None or self._task.done():
            self._task = asyncio.create_task(self._watch())
        try:
            yield "retry: 3000\n\n"
            while True:
                try:
                    mark = await asyncio.wait_for(mine.get(), STILL_THERE_SECONDS)
                except TimeoutError:
                    yield ": still there\n\n"
                else:
                    yield f"event: change\nid: {mark}\ndata: {mark}\n\n"
        finally:
            self._listeners.discard(mine)

    async def _watch(self) -> None:
        watch = await asyncio.to_thread(Watch, self.directory)
        try:
            last = await asyncio.to_thread(watch.mark)
            while self._listeners:
                await asyncio.sleep(EVERY_SECONDS)
                now = await asyncio.to_thread(watch.mark)
                if now != last:
                    last = now
                    self._tell(now)
        finally:
            watch.close()

    def _tell(self, mark: int) -> None:
        for listener in self._listeners:
            if not listener.full():
                listener.put_nowait(mark)
