"""From a request to the person behind it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from starlette.requests import HTTPConnection

from tagkit.jobs.people import last_day_passed
from tagkit.jobs.site import Site
from tagkit.record.state import Person
from tagkit.web.access.browser import Browser, cookie_name, form_token
from tagkit.web.access.devices import is_own_computer, station_of
from tagkit.web.access.pins import has_pin
from tagkit.web.access.shifts import needs_pin, shift_of
from tagkit.web.access.store import AccessStore
from tagkit.web.options import ServeOptions
from tagkit.web.visitor import Role, Visitor

LANGUAGE, UNITS = "language", "units"
ELSEWHERE = "elsewhere"
"""Under this name a device writes that is no station: a phone, by a person who gave a PIN."""


@dataclass(frozen=True)
class _Someone:
    person: Person
    proved: bool
    until: datetime | None


def visitor_of(connection: HTTPConnection, site: Site) -> Visitor:
    """Who asks, by the cookies of this browser, its device, and the people in the record.

    Serves requests and WebSockets alike.
    """
    state = connection.app.state
    store: AccessStore = state.access
    options: ServeOptions = state.options
    browser: Browser = connection.state.browser
    own = is_own_computer(connection, options)
    enrolled = station_of(connection, store, options, site.now().timestamp())
    own_name = site.settings.station.name if own else ELSEWHERE
    someone = _someone(connection, store, site, own)
    person = someone.person if someone else None
    ran_out = person.until if person and last_day_passed(site, person.until) else None
    if ran_out and site.settings.people.run_out == "refuse":
        someone = person = ran_out = None
    role, pin_wanted = _role(store, someone, own, ran_out is not None)
    language, units = _preferences(connection, store, options, site, person)
    return Visitor(
        person=person.code if person else None,
        initials=person.initials if person else "",
        role=role,
        station=enrolled or own_name,
        language=language,
        units=units,
        csrf=form_token(browser, store),
        at_station=own or enrolled is not None,
        shift_until=someone.until if someone else None,
        pin_wanted=pin_wanted,
        ran_out=ran_out,
    )


def _someone(
    connection: HTTPConnection, store: AccessStore, site: Site, own: bool
) -> _Someone | None:
    """Who has begun a shift here; else, on this computer, whom site.toml names."""
    if shift := shift_of(connection, site):
        person = site.record.person(shift.person)
        return _Someone(person, shift.proof == "pin", shift.until) if person else None
    named = site.settings.station.by.strip().upper() if own else ""
    if not named or has_pin(store, named):
        return None
    person = site.record.person(named)
    return _Someone(person, False, None) if person else None


def _role(
    store: AccessStore, someone: _Someone | None, own: bool, ran_out: bool
) -> tuple[Role, bool]:
    """What the person may do now, and whether a PIN would allow more."""
    if someone is None:
        return "guest", False
    person = someone.person
    if ran_out:
        return "attendant", False  # the site warns: changes go on, nothing beyond them
    if not someone.proved and needs_pin(person, store, own):
        return "technician", True
    known: Role = person.role  # type: ignore[assignment]
    return known, False


def _preferences(
    connection: HTTPConnection,
    store: AccessStore,
    options: ServeOptions,
    site: Site,
    person: Person | None,
) -> tuple[str, str]:
    """Language and units: the person's own, else this browser's, else the site's."""
    kept = (
        store.one("SELECT language, units FROM preferences WHERE person = ?", (person.code,))
        if person
        else None
    )
    language, units = kept or (
        connection.cookies.get(cookie_name(LANGUAGE, options), ""),
        connection.cookies.get(cookie_name(UNITS, options), ""),
    )
    settings = site.settings.site
    if not language and not person:
        language = asked_for(connection.headers.get("accept-language", ""))
    return (
        language if language in ("en", "es") else settings.language,
        units if units in ("metric", "us") else settings.units,
    )


def asked_for(header: str) -> str:
    """The first of our languages that an unknown browser asks for (RFC 9110, Accept-Language)."""
    for one in header.split(","):
        language = one.partition(";")[0].strip().lower()[:2]
        if language in ("en", "es"):
            return language
    return ""
