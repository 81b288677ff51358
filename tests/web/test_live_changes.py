"""Open pages are told that something was recorded, once for all of them."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from battery_room import BatteryRoom
from lookup_room import Pages
from tagkit.errors import Busy
from tagkit.record.watch import Watch
from tagkit.web import changes
from tagkit.web.changes import Changes


def apart(work: Callable[[], Awaitable[Any]]) -> Any:
    """Runs it in a thread of its own: a browser of other tests has a loop in this one."""

    async def whole() -> Any:
        return await work()

    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, whole()).result(60)


def record_something(room: BatteryRoom, number: str) -> None:
    with room.open() as site, site.record.writing("KM", "bay-1") as writing:
        body = {"battery": number, "place": {"kind": "elsewhere", "name": "aisle"}}
        writing.append("seen_at", [number], body)


async def heard(messages: AsyncIterator[str]) -> str:
    """The next message that is no sign of life."""
    while True:
        message = await asyncio.wait_for(anext(messages), 20)
        if message.startswith("event:"):
            return message


def test_every_listener_hears_of_a_change(pages: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(changes, "EVERY_SECONDS", 0.02)
    told = Changes(pages.room.folder)

    async def listen() -> list[str]:
        lines = [told.messages() for _ in range(3)]
        for line in lines:
            assert (await anext(line)).startswith("retry:")
        waiting = [asyncio.create_task(heard(line)) for line in lines]
        await asyncio.sleep(0.2)
        await asyncio.to_thread(record_something, pages.room, pages["B2"])
        found = await asyncio.gather(*waiting)
        for line in lines:
            await line.aclose()
        return found

    found = apart(listen)
    assert len(set(found)) == 1
    assert found[0].startswith("event: change\n")


def test_too_many_listeners_are_refused(pages: Pages, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(changes, "MOST_LISTENERS", 1)
    told = Changes(pages.room.folder)

    async def listen() -> None:
        line = told.messages()
        await anext(line)
        with pytest.raises(Busy):
            await anext(told.messages())
        await line.aclose()
        # A place that was given up is free again.
        again = told.messages()
        await anext(again)
        await again.aclose()

    apart(listen)


def test_the_watch_rises_with_events_and_not_with_what_is_judged_of_them(pages: Pages) -> None:
    watch = Watch(pages.room.folder)
    before = watch.mark()
    assert watch.mark() == before
    pages.text("/rotation")  # judges the fleet, which writes and records nothing
    assert watch.mark() == before
    record_something(pages.room, pages["B2"])
    assert watch.mark() > before
    watch.close()
