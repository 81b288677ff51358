"""What a person does on a station's page, as the browser sends it, taken to the station."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from fastapi import WebSocket

from tagkit.assets.card import Card
from tagkit.assets.tag import Tag
from tagkit.errors import TagkitError
from tagkit.jobs.site import Site
from tagkit.station.inputs import Choose
from tagkit.web.access.devices import address_of, is_own_computer
from tagkit.web.access.pins import check_pin
from tagkit.web.access.shifts import needs_pin
from tagkit.web.booth.bay import Bay
from tagkit.web.booth.booth import Booth
from tagkit.web.visitor import Visitor


@dataclass(frozen=True)
class Press:
    """What follows for the camera: ``chosen`` ``among`` several in view; ``cards`` scanned."""

    chosen: Tag | None = None
    among: tuple[Tag, ...] = ()
    cards: tuple[Card, ...] = ()


def take(
    socket: WebSocket, site: Site, visitor: Visitor, counter: Booth | Bay, said: dict[str, Any]
) -> Press:
    """Do what ``said`` asks for; what makes no sense does nothing."""
    by = visitor.person if visitor.may("attendant") else None
    match said:
        case {"do": "press", "screen": int(number), "offer": int(offer)}:
            offers = counter.facing(site, by).screen.offers
            among = tuple(one.gives.tag for one in offers if isinstance(one.gives, Choose))
            return Press(counter.press(site, by, number, offer), among)
        case {"do": "next", "screen": int(number)}:
            counter.next_step(site, by, number)
        case {"do": "typed", "text": str(text)}:
            counter.typed(site, by, text)
        case {"do": "scan", "text": str(line)}:
            card = counter.scanned(site, by, line)
            return Press(cards=(card,) if card is not None else ())
        case {"do": "again"}:
            counter.again(site, by)
    if isinstance(counter, Booth):
        _at_station(socket, site, visitor, by, counter, said)
    return Press()


def _at_station(
    socket: WebSocket, site: Site, visitor: Visitor, by: str | None, booth: Booth,
    said: dict[str, Any],
) -> None:  # fmt: skip
    match said:
        case {"do": "undo"}:
            booth.undo(site, by)
        case {"do": "hold"}:
            booth.ask_hold(site, by)
        case {"do": "gauge"}:
            booth.gauge(site, by, _figure(said.get("percent")), _figure(said.get("hours")))
        case {"do": "release", "screen": int(number), "code": str(code), "reason": str(reason)}:
            try:
                _check_supervisor(socket, site, visitor, code, str(said.get("pin") or ""))
            except TagkitError as refused:
                booth.say("wrong_pin", problem=str(refused))
            else:
                booth.release(site, by, number, code, reason)
        case {"do": "release"}:  # of a page that was open while the server was renewed
            booth.say("changed")


def _check_supervisor(socket: WebSocket, site: Site, visitor: Visitor, code: str, pin: str) -> None:
    """Whoever must prove who he is does so; the conversation asks whether it is a supervisor."""
    state = socket.app.state
    own = is_own_computer(socket, state.options)
    code = code.strip().upper()
    person = site.record.person(code)
    if person is None or not needs_pin(person, state.access, own):
        return
    if visitor.person == code and visitor.may("supervisor"):
        return
    device = visitor.station if visitor.at_station else address_of(socket)
    check_pin(state.access, code, pin, device, site.now().timestamp(), visitor.at_station)


def _figure(given: object) -> float | None:
    """A number as it was typed, with a point or a comma."""
    try:
        figure = float(str(given).strip().replace(",", "."))
    except ValueError:
        return None
    return figure if math.isfinite(figure) else None
