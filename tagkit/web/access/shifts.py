"""Shifts: a person begins one at a device and is known there until it ends.

A badge or a typed code says who somebody is, a PIN proves it. A badge or code is enough where
the device itself is known: an enrolled station, or the computer that serves. Elsewhere, and to
act as a supervisor over the network, the PIN is asked for; whoever has chosen one is asked for it
everywhere before acting as a supervisor.
"""

from __future__ import annotations

import logging
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

from starlette.requests import HTTPConnection

from tagkit.assets.card import Badge, card_in
from tagkit.jobs.people import last_day_passed, ran_out
from tagkit.jobs.site import Site
from tagkit.record.clock import TOLERANCE
from tagkit.record.state import Person
from tagkit.web.access.browser import Browser
from tagkit.web.access.devices import address_of, is_own_computer, station_of
from tagkit.web.access.pins import check_pin, has_pin
from tagkit.web.access.refused import NotAllowed
from tagkit.web.access.store import AccessStore
from tagkit.web.access.tries import MINUTE

Proof = Literal["code", "badge", "pin"]
HOUR = 60 * MINUTE
log = logging.getLogger("tagkit.web.access")


@dataclass(frozen=True)
class Shift:
    """A person at work in one browser."""

    person: str
    proof: Proof
    opened_at: datetime
    until: datetime
    """When it ends if nothing is done meanwhile."""


def open_shift(
    connection: HTTPConnection, site: Site, who: str, *, pin: str | None = None
) -> Shift:
    """Begin the shift of the person that ``who`` names, in the browser of this request.

    ``who`` is a person's code or what a badge says; ``connection`` a request, or the WebSocket
    of a station to which the badge was shown. Whoever had a shift open here is off it. Raises
    NotAllowed, saying why: not recorded, authorisation run out, PIN needed or wrong;
    TooManyTries after wrong PINs.
    """
    state = connection.app.state
    store: AccessStore = state.access
    now = site.now().timestamp()
    card = card_in(who.strip())
    code = (card.person if isinstance(card, Badge) else who).strip().upper()
    station = station_of(connection, store, state.options, now)
    own = is_own_computer(connection, state.options)
    device = station or ("own computer" if own else address_of(connection))
    if isinstance(card, Badge) and card.site != site.settings.site.code:
        raise NotAllowed(f"this badge is of another site ({card.site})", "Show one of this site")
    try:
        if pin and connection.scope["type"] != "http":
            raise NotAllowed("a PIN is not taken here", "Give it on the page of your shift")
        if pin:
            check_pin(store, code, pin, device, now, trusted=station is not None or own)
        elif station is None and not own:
            raise NotAllowed(
                "this device is not a station of the site", "Give your PIN too, or enrol it"
            )
        person = site.record.person(code)
        if person is None:
            raise NotAllowed(
                f"{code or 'nobody'} is not recorded at this site",
                "Have a supervisor record the person, with “tagkit authorise”",
            )
        check_still_authorised(site, person)
    except NotAllowed as refused:
        log.warning("shift refused", extra={"person": code, "device": device,
                                            "why": refused.problem})  # fmt: skip
        raise
    proof: Proof = "pin" if pin else "badge" if isinstance(card, Badge) else "code"
    browser: Browser = connection.state.browser
    with store.writing():
        store.run("DELETE FROM shifts WHERE token = ?", (browser.key,))
        store.run("DELETE FROM shifts WHERE opened < ?", (now - 72 * HOUR,))
        if connection.scope["type"] == "http":
            browser.renew()  # a WebSocket has no answer that could carry a new cookie
        store.run("INSERT INTO shifts VALUES (?, ?, ?, ?, ?)", (browser.key, code, proof, now, now))
    log.info("shift opened", extra={"person": code, "device": device, "proof": proof})
    return _shift(site, code, proof, now, now)


def close_shift(connection: HTTPConnection) -> None:
    """The person at this browser is off."""
    browser: Browser = connection.state.browser
    connection.app.state.access.run("DELETE FROM shifts WHERE token = ?", (browser.key,))
    browser.renew()


@dataclass(frozen=True)
class OpenShift:
    """A shift as a supervisor sees it in the list of those that are open."""

    key: str
    person: str
    proof: Proof
    opened_at: datetime
    seen_at: datetime


def open_shifts(store: AccessStore) -> list[OpenShift]:
    """Every shift that was not ended, the latest first; some may have run out by now."""
    return [
        OpenShift(key, person, proof, datetime.fromtimestamp(opened, UTC),
                  datetime.fromtimestamp(seen, UTC))
        for key, person, proof, opened, seen in store.all(
            "SELECT token, person, proof, opened, seen FROM shifts ORDER BY seen DESC"
        )
    ]  # fmt: skip


def end_shift(store: AccessStore, key: str) -> None:
    """End a shift from elsewhere; one that is over already stays so."""
    store.run("DELETE FROM shifts WHERE token = ?", (key,))


def shift_of(connection: HTTPConnection, site: Site) -> Shift | None:
    """The shift open in this browser, or None when there is none or it has ended.

    A page that was opened and a form that was sent count as something done. What pages ask for
    by themselves does not, nor do frames of a camera: see :func:`still_here`.
    """
    browser: Browser = connection.state.browser
    store: AccessStore = connection.app.state.access
    if browser.new:
        return None
    row = store.one(
        "SELECT person, proof, opened, seen FROM shifts WHERE token = ?", (browser.key,)
    )
    if row is None:
        return None
    now = site.now().timestamp()
    found = _shift(site, *row)
    set_back = now < row[2] - TOLERANCE.total_seconds()
    if set_back or now >= found.until.timestamp():
        store.note("DELETE FROM shifts WHERE token = ?", (browser.key,))
        return None
    if now - row[3] > MINUTE and _by_hand(connection):
        still_here(connection, site)
    return found


def still_here(connection: HTTPConnection, site: Site) -> None:
    """Somebody did something at this browser: pressed, showed a label or a card."""
    connection.app.state.access.note(
        "UPDATE shifts SET seen = ? WHERE token = ?",
        (site.now().timestamp(), connection.state.browser.key),
    )


def _by_hand(connection: HTTPConnection) -> bool:
    if connection.scope["type"] != "http" or connection.url.path.startswith("/live/"):
        return False
    by_itself = connection.headers.get("HX-Request") == "true"
    return connection.scope["method"] != "GET" or not by_itself


def _shift(site: Site, person: str, proof: Proof, opened: float, seen: float) -> Shift:
    limits = site.settings.access
    until = min(opened + limits.shift_hours * HOUR, seen + limits.idle_hours * HOUR)
    return Shift(
        person, proof, datetime.fromtimestamp(opened, UTC), datetime.fromtimestamp(until, UTC)
    )


def check_still_authorised(site: Site, person: Person) -> None:
    """NotAllowed when the authorisation ran out, unless the site only warns."""
    if last_day_passed(site, person.until) and site.settings.people.run_out == "refuse":
        raise NotAllowed(
            ran_out(site, person),
            "Have a supervisor renew it, with “tagkit authorise”",
        )


def needs_pin(person: Person, store: AccessStore, own_computer: bool) -> bool:
    """Whether this person acts as a supervisor only after a PIN."""
    return person.role == "supervisor" and (not own_computer or has_pin(store, person.code))
