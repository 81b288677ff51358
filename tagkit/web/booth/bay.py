"""The check at the bay: the next battery where it stands, before a tonne is moved.

The same labels, the same rules, the same answer as at the station; nothing can be logged here,
because no confirming input is ever given to the conversation.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from tagkit.assets.card import Card, card_in
from tagkit.assets.tag import Kind, Tag, parse_tag
from tagkit.errors import WrongInput
from tagkit.jobs.conversation import decoded, shown
from tagkit.jobs.facts import RecordFacts
from tagkit.jobs.site import Site
from tagkit.reader.read import Read
from tagkit.reader.scanner import Foreign as ForeignLine
from tagkit.reader.scanner import parse_line
from tagkit.station.change import Change, advance, begin
from tagkit.station.facts import Facts
from tagkit.station.inputs import (
    Cancel,
    Certain,
    Characters,
    Choose,
    Foreign,
    Input,
    Seen,
    Shown,
    Typed,
)
from tagkit.station.screen import Offer, Screen, look
from tagkit.station.words import Line
from tagkit.web.booth.booth import Facing
from tagkit.web.booth.says import SAYS, Said

_MOST_TRUCKS = 6
_ABOUT_OUT = ("line.out", "line.to", "step.", "question.")


class Bay:
    """One person with a phone or tablet beside a battery."""

    def __init__(self, name: str, trucks: Callable[[], Sequence[tuple[Tag, str]]]) -> None:
        """``trucks``: those that wait for a battery, with the station where each stands."""
        self.name = name
        self._trucks = trucks
        self._change: Change = begin()
        self._said: Said | None = None
        self._number = 0
        self._key: object = None
        self._offers: tuple[Offer, ...] = ()
        self._listeners: set[Callable[[], None]] = set()

    def listen(self, told: Callable[[], None]) -> Callable[[], None]:
        """As for a station."""
        self._listeners.add(told)
        return lambda: self._listeners.discard(told)

    def facing(self, site: Site, _by: str | None) -> Facing:
        """What to show now."""
        facts = RecordFacts(site, site.record, self.name)
        screen = bay_screen(self._change, facts)
        if self._change.truck is None and screen.stage == "show":
            waiting = self._waiting(facts)
            todo = Line("do.waiting") if waiting else screen.todo
            screen = replace(screen, offers=(*waiting, *screen.offers), todo=todo)
        key = (screen.stage, screen.token, screen.offers, screen.asks)
        if key != self._key:
            self._key, self._number = key, self._number + 1
        self._offers = screen.offers
        return Facing(self._number, screen, self._said)

    def labels(
        self, site: Site, _by: str | None, reads: Sequence[Read], _around: Sequence[Read] = ()
    ) -> None:
        """Labels in view."""
        self._give(site, shown(reads))

    @property
    def unsure(self) -> bool:
        """Whether something rests on a recovered read alone."""
        return bool(self._change.unsure)

    def certain(self, site: Site, _by: str | None, reads: Sequence[Read]) -> None:
        """As for a station."""
        tags = decoded(reads)
        if tags & self._change.unsure:
            self._give(site, Certain(tags))

    def foreign(self, site: Site, _by: str | None, text: str) -> None:
        """A code that is not one of ours."""
        self._give(site, Foreign(text))

    def typed(self, site: Site, by: str | None, text: str) -> None:
        """A number, the characters asked for, or what people call a truck."""
        if not text.strip():
            return
        if self.facing(site, by).screen.asks == "characters":
            self._give(site, Characters(text))
            return
        self._give(site, self._truck_called(site, text) or Typed(text))

    def scanned(self, site: Site, _by: str | None, line: str) -> Card | None:
        """A line from a handheld scanner."""
        found = parse_line(line)
        if isinstance(found, ForeignLine):
            card = card_in(found.text)
            if card is None:
                self._give(site, Foreign(found.text))
            return card
        if found is not None:
            self._give(site, Shown((Seen(found),)))
        return None

    def press(self, site: Site, by: str | None, number: int, offer: int) -> Tag | None:
        """One of several, a waiting truck, or start again."""
        now = self.facing(site, by)
        if number != now.number or not 0 <= offer < len(now.screen.offers):
            self.say("changed")
            return None
        gives = now.screen.offers[offer].gives
        if isinstance(gives, (Choose, Shown, Cancel)):
            self._give(site, gives)
        return gives.tag if isinstance(gives, Choose) else None

    def next_step(self, site: Site, by: str | None, number: int) -> None:
        """Enter: start again, where that is all there is to press."""
        now = self.facing(site, by)
        if now.leads and not isinstance(now.screen.offers[0].gives, Shown):
            self.press(site, by, number, 0)

    def again(self, site: Site, _by: str | None) -> None:
        """Another battery, another truck."""
        self._give(site, Cancel())

    def say(self, key: str, **values: object) -> None:
        """Tell the person something."""
        self._said = Said(SAYS[key], values)
        self._told()

    def _give(self, site: Site, given: Input) -> None:
        self._said = None
        self._change = advance(self._change, given, RecordFacts(site, site.record, self.name))
        self._told()

    def _told(self) -> None:
        for told in tuple(self._listeners):
            told()

    def _waiting(self, facts: Facts) -> tuple[Offer, ...]:
        offers = []
        for tag, station in self._trucks()[:_MOST_TRUCKS]:
            truck = facts.asset(tag)
            if truck is None:
                continue
            fleet = getattr(truck.plate, "fleet_number", None)
            name = f"{tag} {fleet.value if fleet else ''} ({station})"
            line = Line("press.choose", {"number": name})
            offers.append(Offer(line, Shown((Seen(tag),))))
        return tuple(offers)

    @staticmethod
    def _truck_called(site: Site, text: str) -> Shown | None:
        """Here, where nothing is logged, a fleet number will do."""
        try:
            parse_tag(text)
        except WrongInput:
            state = site.record.by_fleet_number(text.strip().upper()) or (
                site.record.by_fleet_number(text.strip())
            )
            if state is None or state.retired_at:
                return None
            tag = parse_tag(state.tag)
            return Shown((Seen(tag),)) if tag.kind is Kind.TRUCK else None
        return None


def bay_screen(change: Change, facts: Facts) -> Screen:
    """What the station would answer about this pair, without anything to press for."""
    screen = look(change, facts)
    if screen.stage in ("show", "choose", "recovered"):
        return screen
    ready, fits = screen.readiness, screen.verdict is not None and screen.verdict.fits
    again = (Offer(Line("press.again"), Cancel()),)
    lines = tuple(line for line in screen.lines if not line.key.startswith(_ABOUT_OUT))
    if not fits or ready is None:
        return replace(screen, offers=again)
    # What the record holds against the place is asked at the truck; here it is only said.
    asked = tuple(line for line in screen.lines if line.key.startswith("question."))
    if ready.ready:
        return replace(
            screen, posture="ask" if asked else "go",
            headline=Line("question" if asked else "fit"), lines=(*lines, *asked), todo=None,
            offers=again, asks=None,
        )  # fmt: skip
    told = any(
        line.key == "question.on_charge" for line in asked
    )  # with what the charger is called
    reasons = tuple(
        Line("line.reason", {"reason": reason})
        for reason in ready.reasons
        if not (told and reason.code == "on charge")
    )
    lines = tuple(line for line in lines if line.key != "line.reason")
    return replace(
        screen, posture="stop", headline=Line("stop.not_ready"), offers=again, asks=None,
        lines=(*lines, *reasons, *asked), todo=screen.todo or Line("do.held_for_good"),
    )  # fmt: skip
