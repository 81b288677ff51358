"""One station: its conversation, which lives here and not in any browser.

Whatever reaches it (labels, presses, cards, typed words) comes in here, one after the other. A
press names the screen it was meant for; one that comes after that screen has changed, or before
anybody can have read it, does nothing.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from tagkit.assets.card import Card, Command, CommandCard, card_in
from tagkit.assets.tag import Kind, Tag
from tagkit.errors import TagkitError
from tagkit.jobs.conversation import Station, decoded, screen_of, shown, step
from tagkit.jobs.hold import HeldAlready, hold
from tagkit.jobs.site import Site
from tagkit.reader.read import Read
from tagkit.reader.scanner import Foreign as ForeignLine
from tagkit.reader.scanner import parse_line
from tagkit.station.change import Change, begin
from tagkit.station.inputs import (
    Cancel,
    Certain,
    Characters,
    Choose,
    Foreign,
    Gauge,
    Input,
    Release,
    Seen,
    Shown,
    Typed,
    Undo,
)
from tagkit.station.screen import Screen
from tagkit.web.booth.says import HOLD_REASONS, SAYS, HoldReason, Said
from tagkit.web.booth.tower import LightTower

A_GLANCE = 0.4
"""Seconds in which nobody reads a screen: a press that comes sooner was meant for the last one."""

_SCREENS_KEPT = 16
"""So many screens back a release may have been begun on."""

FORSAKEN = 20 * 60.0
"""Seconds without any input after which a change that was begun is put back."""


@dataclass(frozen=True)
class Facing:
    """What a station shows now. ``number`` goes up with every screen that asks for other
    presses; ``holding`` is the asset that a HOLD card is about to hold."""

    number: int
    screen: Screen
    said: Said | None
    holding: Tag | None = None

    @property
    def presses(self) -> int:
        """How many offers there are."""
        return len(HOLD_REASONS) + 1 if self.holding else len(self.screen.offers)

    @property
    def leads(self) -> bool:
        """Whether the first offer is the next step; of several to choose from none is, nor where
        something is to be typed first."""
        offers = self.screen.offers
        if self.holding or self.screen.asks == "characters":
            return False
        return bool(offers) and not isinstance(offers[0].gives, Choose)


@dataclass(frozen=True)
class _Asked:
    """What a screen showed on which a supervisor is asked for."""

    battery: Tag
    token: str
    reasons: tuple[str, ...]


class Booth:
    """A station in operation. Its methods are called from any thread, with a site lent to it."""

    def __init__(self, name: str, clock: Callable[[], float] = time.monotonic) -> None:
        self.name = name
        self._clock = clock
        self._change: Change = begin()
        self._said: Said | None = None
        self._holding: Tag | None = None
        self._number = 0
        self._key: object = None
        self._asked: OrderedDict[int, _Asked] = OrderedDict()
        self._shown_at = self._touched_at = clock()
        self._tower = LightTower()
        self._lock = threading.RLock()
        self._listeners: set[Callable[[], None]] = set()

    def listen(self, told: Callable[[], None]) -> Callable[[], None]:
        """Call ``told`` whenever something may have changed; returns how to end that."""
        self._listeners.add(told)
        return lambda: self._listeners.discard(told)

    @property
    def waiting_truck(self) -> Tag | None:
        """The truck that stands here without a battery that may go in."""
        change = self._change
        return change.truck if not change.logged else None

    def facing(self, site: Site, by: str | None) -> Facing:
        """What to show now, by the record as it stands at this moment."""
        with self._lock:
            self._put_back_if_forsaken()
            self._take_settings(site)
            screen = screen_of(self._station(site, by), self._change)
            key = (
                screen.stage, screen.token, screen.offers, screen.asks, screen.reasons,
                self._holding,
            )  # fmt: skip
            if key != self._key:
                self._key, self._number, self._shown_at = key, self._number + 1, self._clock()
                self._keep_asked(screen)
                posture = "ask" if self._holding else screen.posture
                self._tower.show(site.settings.station.light_tower, posture, self.name)
            return Facing(self._number, screen, self._said, self._holding)

    def labels(
        self, site: Site, by: str | None, reads: Sequence[Read], around: Sequence[Read] = ()
    ) -> None:
        """Labels that are shown to the camera.

        ``around``: what stayed in view. The truck that still stands there from the change before
        need not be shown again.
        """
        with self._lock:
            trucks = {one.tag: one for one in around if one.tag and one.tag.kind is Kind.TRUCK}
            begins = bool(self._change.logged) or self._change.truck is None
            if (
                begins
                and len(trucks) == 1
                and not any(one.tag and one.tag.kind is Kind.TRUCK for one in reads)
            ):
                reads = [*trucks.values(), *reads]
            self._give(site, by, shown(reads))

    @property
    def unsure(self) -> bool:
        """Whether something rests on a recovered read alone."""
        return bool(self._change.unsure)

    def certain(self, site: Site, by: str | None, reads: Sequence[Read]) -> None:
        """What stayed in view: nobody is asked any longer for a number that is decoded by now."""
        with self._lock:
            tags = decoded(reads)
            if tags & self._change.unsure:
                self._give(site, by, Certain(tags))

    def foreign(self, site: Site, by: str | None, text: str) -> None:
        """A code that is not one of ours."""
        self._give(site, by, Foreign(text))

    def typed(self, site: Site, by: str | None, text: str) -> None:
        """Words typed by a person: a number, or what was asked for."""
        if not text.strip():
            return
        asks = self.facing(site, by).screen.asks
        self._give(site, by, Characters(text) if asks == "characters" else Typed(text))

    def scanned(self, site: Site, by: str | None, line: str) -> Card | None:
        """A line from a handheld scanner; a card in it is handed back, to be taken by who can."""
        found = parse_line(line)
        if isinstance(found, ForeignLine):
            card = card_in(found.text)
            if card is None:
                self._give(site, by, Foreign(found.text))
            return card
        if found is not None:
            self._give(site, by, Shown((Seen(found),)))
        return None

    def press(self, site: Site, by: str | None, number: int, offer: int) -> Tag | None:
        """The offer ``offer`` of screen ``number``; returns what was chosen among several."""
        with self._lock:
            now = self.facing(site, by)
            if number != now.number or not 0 <= offer < now.presses:
                self._say("changed")
                return None
            if self._clock() < self._shown_at + A_GLANCE:
                self._say("too_soon")
                return None
            if now.holding is not None:
                self._hold(site, by, now.holding, offer)
                return None
            gives = now.screen.offers[offer].gives
            if by is None and now.screen.stage in ("finish", "undo") and offer == 0:
                self._say("no_shift")
                return None
            self._give(site, by, gives)
            return gives.tag if isinstance(gives, Choose) else None

    def next_step(self, site: Site, by: str | None, number: int) -> None:
        """Enter, the foot switch or the NEXT card: the large button, where there is one."""
        with self._lock:
            now = self.facing(site, by)
            if now.leads:
                self.press(site, by, number, 0)
            elif now.screen.asks == "characters" and not now.holding:
                self._say("type_it")
            else:
                self._say("choose_one" if now.presses else "nothing_next")

    def command(self, site: Site, by: str | None, card: CommandCard) -> None:
        """A command card that was held up, or scanned."""
        with self._lock:
            if card.site != site.settings.site.code:
                self._say("other_site", site=card.site)
                return
            now = self.facing(site, by)
            match card.command:
                case Command.UNDO:
                    self.undo(site, by)
                case Command.HOLD:
                    self.ask_hold(site, by)
                case Command.LOG if now.screen.stage != "finish" or now.holding:
                    self._say("nothing_to_log")
                case _:
                    self.next_step(site, by, now.number)

    def undo(self, site: Site, by: str | None) -> None:
        """Take back what is under way, else ask about the last change."""
        with self._lock:
            if self._holding is not None:
                self._holding = None
                self._turned(site, by)
                return
            self._give(site, by, Undo())

    def again(self, site: Site, by: str | None) -> None:
        """Start again; nothing is logged."""
        self._give(site, by, Cancel())

    def gauge(
        self, site: Site, by: str | None, discharged: float | None, hours: float | None
    ) -> None:
        """Read off the truck."""
        self._give(site, by, Gauge(discharged, hours))

    def release(
        self, site: Site, by: str | None, number: int, supervisor: str, reason: str
    ) -> None:
        """A supervisor lets the unready battery be used, from what stood on screen ``number``."""
        with self._lock:
            asked = self._asked.get(number)
            if asked is None:
                self._say("changed")
                return
            person = supervisor.strip().upper()
            given = Release(asked.battery, person, reason, asked.token, asked.reasons)
            self._give(site, by, given)

    def ask_hold(self, site: Site, by: str | None) -> None:
        """Ask why the battery shown (else the truck, else the charger) is to be held."""
        with self._lock:
            change = self._change
            about = change.battery or change.truck or change.charger
            if self.facing(site, by).screen.stage == "stop" and change.barred is not None:
                about = None  # it is not what is on the screen
            if about is None or about in change.recovered:
                self._say("nothing_to_hold")
            elif by is None:
                self._say("no_shift")
            else:
                self._holding, self._said = about, None
                self._turned(site, by)

    def say(self, key: str, **values: object) -> None:
        """Tell the person at the station something."""
        self._say(key, **values)

    def _hold(self, site: Site, by: str | None, about: Tag, offer: int) -> None:
        if offer >= len(HOLD_REASONS):
            self._holding = None
            self._turned(site, by)
            return
        reason: HoldReason = HOLD_REASONS[offer]
        try:
            hold(site, str(about), reason.words, safety=reason.safety, by=by or "",
                 station=self.name)  # fmt: skip
        except HeldAlready:
            self._holding = None
            self._say("held", number=about)
        except TagkitError as error:
            self._holding = None
            self._say("not_held", problem=str(error))
        else:
            self._holding = None
            self._say("held", number=about)
        self._turned(site, by)

    def _give(self, site: Site, by: str | None, given: Input) -> None:
        with self._lock:
            self._touched_at = self._clock()
            self._said = None
            if not isinstance(given, (Foreign, Gauge)):
                self._holding = None
            self._take_settings(site)
            self._change = step(self._station(site, by), self._change, given)
            self._turned(site, by)

    def _keep_asked(self, screen: Screen) -> None:
        battery = self._change.battery
        if screen.asks == "release" and battery is not None:
            self._asked[self._number] = _Asked(battery, screen.token, screen.reasons)
            while len(self._asked) > _SCREENS_KEPT:
                self._asked.popitem(last=False)

    def _say(self, key: str, **values: object) -> None:
        with self._lock:
            self._said = Said(SAYS[key], values)
            self._told()

    def _turned(self, site: Site, by: str | None) -> None:
        """Another screen may stand now: from this moment on a person can have read it."""
        self.facing(site, by)
        self._told()

    def _told(self) -> None:
        for told in tuple(self._listeners):
            told()

    def _station(self, site: Site, by: str | None) -> Station:
        return Station(site, self.name, by or "")

    def _take_settings(self, site: Site) -> None:
        """Steps and stand as the settings have them, from the next change on."""
        wanted = begin(site.settings.station.finishing_steps(), site.settings.station.stand)
        change = self._change
        if (change.steps, change.stand) != (wanted.steps, wanted.stand) and change == begin(
            change.steps, change.stand
        ):
            self._change = wanted

    def _put_back_if_forsaken(self) -> None:
        if self._change.under_way and self._clock() > self._touched_at + FORSAKEN:
            self._change = begin(self._change.steps, self._change.stand)
            self._said = Said(SAYS["forsaken"], {})
