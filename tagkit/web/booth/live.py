"""The line between a station's page and the station: frames and presses in, screens out.

One frame is on its way to the reader at most, and the latest wins. Work on the record runs in
threads with a site lent to it, so that nobody's picture stands still for another's change.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any, Concatenate, ParamSpec, TypeVar

from fastapi import WebSocket, WebSocketDisconnect

from tagkit.assets.card import Badge, Card, CommandCard, OutOfService
from tagkit.assets.legible import legible
from tagkit.errors import TagkitError, WrongInput
from tagkit.jobs.change_steps import change_steps
from tagkit.jobs.roster import roster_of
from tagkit.jobs.site import Site
from tagkit.language.catalogue import LANGUAGES
from tagkit.language.words import Words
from tagkit.reader.read import Read
from tagkit.web.access.shifts import open_shift, still_here
from tagkit.web.access.visitors import visitor_of
from tagkit.web.booth.bay import Bay
from tagkit.web.booth.booth import Booth
from tagkit.web.booth.camera_time import CameraTime
from tagkit.web.booth.floor import floor_of
from tagkit.web.booth.own_camera import OwnCamera
from tagkit.web.booth.presses import Press, take
from tagkit.web.booth.sightings import Sight, Sightings
from tagkit.web.booth.view import as_message, view_of
from tagkit.web.eyework import Looked
from tagkit.web.visitor import Visitor

log = logging.getLogger(__name__)

BEAT = 1.0
"""Seconds between signs of life; a page that hears none for a few says so."""

_LOOK_AGAIN = 2.0  # the record may have changed behind an unchanged screen
_RECOVER_EVERY = 1.0  # seconds, where nothing has moved for a while
_EAGER = 12.0
_QUICK = 0.2
_ROSTER_EVERY = 10.0
_LONGEST_WORDS = 4_000
# Milliseconds after which another frame is wanted although nothing moves.
_SOON, _SELDOM = 250, 1000
_STUMBLED = "The reader stumbled over this picture. Hold the label a little differently."

P = ParamSpec("P")
R = TypeVar("R")


class Live:
    """One open page of a station (or of the check at the bay)."""

    def __init__(
        self, socket: WebSocket, counter: Booth | Bay, camera: OwnCamera | None = None
    ) -> None:
        self._socket = socket
        self._counter = counter
        self._own_camera = camera
        self._floor = floor_of(socket.app)
        self._camera = self._floor.eye.open_camera()
        self._sightings = Sightings()
        self._frame: bytes | None = None
        self._came = asyncio.Event()
        self._changed = asyncio.Event()
        self._sending = asyncio.Lock()
        self._recovery: asyncio.Task[None] | None = None
        self._recovered_at = self._roster_at = float("-inf")
        self._came_at = self._moved_at = float("-inf")
        self._pace = CameraTime()
        self._stumbled_over = ""
        self._unread: tuple[bytes, tuple[Read, ...]] | None = None
        self._shown: dict[str, Any] | None = None

    async def run(self) -> None:
        """Until the page is left."""
        loop = asyncio.get_running_loop()

        def told() -> None:
            loop.call_soon_threadsafe(self._changed.set)

        ended = self._counter.listen(told)
        works = [self._receive(), self._look(), self._show()]
        if self._own_camera is not None:
            works.append(self._watch(self._own_camera))
        tasks = [asyncio.create_task(work) for work in works]
        try:
            done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
            for task in done:
                if (error := task.exception()) and not isinstance(
                    error, (WebSocketDisconnect, RuntimeError, OSError)
                ):
                    log.error("a station's line broke", exc_info=error)
        finally:
            ended()
            if self._recovery is not None:
                tasks.append(self._recovery)
            for task in tasks:
                task.cancel()
            self._floor.eye.close_camera(self._camera)
            await asyncio.wait(tasks)
            with contextlib.suppress(WebSocketDisconnect, RuntimeError, OSError):
                await self._socket.close()

    async def _receive(self) -> None:
        while True:
            message = await self._socket.receive()
            if message["type"] == "websocket.disconnect":
                return
            if (frame := message.get("bytes")) is not None:
                self._take_frame(frame)
            elif text := message.get("text"):
                await self._words(text)

    def _take_frame(self, frame: bytes) -> None:
        now = time.monotonic()
        if now < self._came_at + _QUICK:  # the page sends so quickly only when something moves
            self._moved_at = now
        self._came_at = now
        self._frame = frame
        self._came.set()

    async def _words(self, text: str) -> None:
        try:
            said = json.loads(text) if len(text) <= _LONGEST_WORDS else None
        except (ValueError, RecursionError):
            said = None
        if not isinstance(said, dict):
            return
        match said.get("do"):
            case "still":
                await self._sighted(self._sightings.still(self._pace.now()))
            case "beat":
                await self._send({"is": "beat"})
            case _:
                taken = await self._with_site(self._press, said)
                for card in taken.cards:
                    await self._with_site(self._card, card)
                if taken.chosen:
                    self._sightings.chosen(taken.chosen, taken.among)

    def _press(self, site: Site, visitor: Visitor, said: dict[str, Any]) -> Press:
        still_here(self._socket, site)
        return take(self._socket, site, visitor, self._counter, said)

    async def _look(self) -> None:
        """Frame after frame to the reader."""
        while True:
            await self._came.wait()
            self._came.clear()
            frame, self._frame = self._frame, None
            if frame is None:
                continue
            began = time.monotonic()
            try:
                looked = await self._floor.eye.look(self._camera, frame)
            except WrongInput as error:
                await self._blind(str(error))
                continue
            except Exception as error:
                if repr(error) != self._stumbled_over:  # once, not ten times a second
                    log.exception("a frame could not be read")
                    self._stumbled_over = repr(error)
                await self._blind(_STUMBLED)
                continue
            self._pace.waited(time.monotonic() - began)
            sight = self._sightings.frame(looked.reads, looked.size, self._pace.now())
            self._pace.more_to_come = bool(sight.marks) or looked.unread
            self._recover(frame, looked)
            await self._sighted(sight)
            if self._own_camera is not None:
                await self._send(frame)
            pace = _SOON if looked.unread else _SELDOM
            trouble = await self._told(looked.trouble) if looked.trouble else ""
            await self._send(
                {"is": "sight", "marks": _marks(sight), "pace": pace, "trouble": trouble}
            )

    async def _blind(self, why: str) -> None:
        """Nothing could be read in this frame; the next one may do."""
        trouble = await self._told(why)
        await self._send({"is": "sight", "marks": [], "pace": _SELDOM, "trouble": trouble})

    async def _watch(self, camera: OwnCamera) -> None:
        """The server's own camera in place of the browser's."""
        number = 0
        while True:
            picture = await asyncio.to_thread(camera.next, number)
            if picture is not None:
                number = picture.number
                self._take_frame(picture.jpeg)
            elif camera.trouble is not None:
                await self._blind(f"{camera.trouble.problem}. {camera.trouble.remedy}")

    async def _sighted(self, sight: Sight) -> None:
        """What was newly shown goes into the conversation."""
        settles = self._counter.unsure and any(one.method == "decoded" for one in sight.around)
        if sight.labels or sight.foreign or sight.lying or settles:
            await self._with_site(self._shown_labels, sight)
        for card in sight.cards:
            await self._with_site(self._card, card)

    def _shown_labels(self, site: Site, visitor: Visitor, sight: Sight) -> None:
        for text in sight.foreign:
            self._counter.foreign(site, visitor.person, text)
        if sight.labels:
            still_here(self._socket, site)
            self._counter.labels(site, visitor.person, sight.labels, sight.around)
        self._counter.certain(site, visitor.person, sight.around)
        for card in sight.lying:
            self._counter.say("card_lies", card=card.says)

    def _card(self, site: Site, visitor: Visitor, card: Card) -> None:
        counter = self._counter
        still_here(self._socket, site)
        if isinstance(card, OutOfService):
            counter.say("out_of_service", number=card.tag)
        elif isinstance(counter, Bay):
            counter.say("no_cards")
        elif isinstance(card, CommandCard):
            counter.command(site, _may_log(visitor), card)
        elif isinstance(card, Badge):
            try:
                shift = open_shift(self._socket, site, str(card))
            except TagkitError as refused:
                counter.say("badge_refused", problem=str(refused))
            else:
                counter.say("shift_opened", person=shift.person)

    def _recover(self, frame: bytes, looked: Looked) -> None:
        """Have labels beyond decoding looked for while something is left unread."""
        self._unread = (frame, looked.reads) if looked.unread else None
        idle = self._recovery is None or self._recovery.done()
        if idle and self._unread and time.monotonic() >= self._recovered_at + self._rest():
            self._recovery = asyncio.create_task(self._look_deeper())

    def _rest(self) -> float:
        """Seconds between two turns: none while somebody is at the camera."""
        return 0.0 if time.monotonic() < self._moved_at + _EAGER else _RECOVER_EVERY

    async def _look_deeper(self) -> None:
        """Turn after turn, as long as there is reason to."""
        try:
            await self._renew_roster()
            while self._unread is not None:
                frame, reads = self._unread
                found = await self._floor.eye.recover(self._camera, frame, reads)
                self._recovered_at = time.monotonic()
                if found:
                    sight = self._sightings.recovered(found, self._pace.now())
                    await self._sighted(sight)
                if self._rest():
                    return
        except (WebSocketDisconnect, asyncio.CancelledError):
            raise
        except Exception:
            # Reading goes on without it; the page is told nothing it could act upon.
            log.exception("recovery failed")
            self._unread = None

    async def _renew_roster(self) -> None:
        now = time.monotonic()
        if now >= self._roster_at + _ROSTER_EVERY:
            self._roster_at = now
            roster = await self._with_site(lambda site, _visitor: roster_of(site))
            self._floor.eye.set_roster(roster)

    async def _show(self) -> None:
        """The screen whenever it changes, and a sign of life."""
        looked_at = beat_at = float("-inf")
        while True:
            now = time.monotonic()
            if self._changed.is_set() or now >= looked_at + _LOOK_AGAIN:
                self._changed.clear()
                looked_at = now
                message = await self._with_site(self._screen)
                if message != self._shown:
                    self._shown = message
                    await self._send(message)
                    beat_at = now
            if now >= beat_at + BEAT:
                beat_at = now
                await self._send({"is": "beat"})
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(self._changed.wait(), BEAT / 2)

    def _screen(self, site: Site, visitor: Visitor) -> dict[str, Any]:
        words = _words_of(visitor, site)
        facing = self._counter.facing(site, visitor.person)
        view = replace(
            view_of(facing, words), procedure=change_steps(site, facing.screen, words.language)
        )
        template = self._socket.app.state.environments[words.language].get_template(
            "parts/station_screen.html"
        )
        html = legible(template.render(view=view, words=words))
        return as_message(view, html, visitor.person or "", visitor.initials)

    async def _told(self, sentence: str) -> str:
        return await self._with_site(lambda site, visitor: _words_of(visitor, site).said(sentence))

    async def _with_site(
        self,
        function: Callable[Concatenate[Site, Visitor, P], R],
        *arguments: P.args,
        **named: P.kwargs,
    ) -> R:
        """Run it in a thread with a site lent to it, for whoever is at the station now."""

        def work() -> R:
            with self._socket.app.state.door.borrow() as site:
                return function(site, visitor_of(self._socket, site), *arguments, **named)

        return await asyncio.to_thread(work)

    async def _send(self, message: dict[str, Any] | bytes) -> None:
        async with self._sending:
            if isinstance(message, bytes):
                await self._socket.send_bytes(message)
            else:
                await self._socket.send_text(json.dumps(message))


def _marks(sight: Sight) -> list[dict[str, Any]]:
    return [
        {"corners": mark.corners, "number": mark.number, "sure": mark.sure} for mark in sight.marks
    ]


def _may_log(visitor: Visitor) -> str | None:
    return visitor.person if visitor.may("attendant") else None


def _words_of(visitor: Visitor, site: Site) -> Words:
    language = visitor.language if visitor.language in LANGUAGES else "en"
    return Words(language, visitor.units, site.timezone())
