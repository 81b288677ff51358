"""Devices: which computer asks, and enrolling one as a station by a one-time code."""

from __future__ import annotations

import ipaddress
import re
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime

from starlette.requests import HTTPConnection

from tagkit.errors import NotFound, WrongInput
from tagkit.web.access import tries
from tagkit.web.access.browser import cookie_name
from tagkit.web.access.refused import NotAllowed
from tagkit.web.access.store import AccessStore, hashed
from tagkit.web.access.tries import MINUTE, Limit
from tagkit.web.options import ServeOptions

CODE_MINUTES = 15
STATION_COOKIE = "station"
STATION_DAYS = 400
"""Browsers keep a cookie no longer; it is given out anew at every visit of /stations."""

_NAME = re.compile(r"[A-Za-z0-9._-]{1,32}", re.ASCII)
_LETTERS = "23456789ABCDEFGHJKMNPQRSTUVWXYZ"
_PASSED_ON = ("forwarded", "x-forwarded-for", "x-forwarded-host", "x-real-ip", "via")


@dataclass(frozen=True)
class EnrolledStation:
    """A device that writes into the record under a name of its own."""

    name: str
    by: str
    enrolled_at: datetime
    seen_at: datetime


def is_own_computer(connection: HTTPConnection, options: ServeOptions) -> bool:
    """Whether the person sits at the computer that serves.

    What another program passed on from elsewhere does not count. Without ``lan`` nothing but
    this computer reaches the address that is listened on.
    """
    if any(name in connection.headers for name in _PASSED_ON):
        return False
    return not options.lan or _is_loopback(address_of(connection))


def _is_loopback(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def address_of(connection: HTTPConnection) -> str:
    """The network address that asks."""
    return connection.client.host if connection.client else "unknown"


def station_of(
    connection: HTTPConnection, store: AccessStore, options: ServeOptions, now: float
) -> str | None:
    """The name under which this device was enrolled, or None."""
    token = connection.cookies.get(cookie_name(STATION_COOKIE, options))
    if not token:
        return None
    row = store.one("SELECT name, seen FROM stations WHERE token = ?", (hashed(token),))
    if row is None:
        return None
    if now - row[1] > MINUTE:
        store.note("UPDATE stations SET seen = ? WHERE name = ?", (now, row[0]))
    return str(row[0])


def new_code(store: AccessStore, station: str, by: str, now: float) -> str:
    """A code by which one device becomes ``station``, once, within a quarter of an hour.

    ``station`` may be empty: then the name is given at the device.
    """
    if station:
        _check_name(station)
    code = "".join(secrets.choice(_LETTERS) for _ in range(8))
    with store.writing():
        store.run("DELETE FROM enrolments WHERE expires < ?", (now,))
        store.run(
            "INSERT INTO enrolments VALUES (?, ?, ?, ?)",
            (hashed(code), station, by, now + CODE_MINUTES * MINUTE),
        )
    return f"{code[:4]}-{code[4:]}"


def enrol(store: AccessStore, code: str, station: str, address: str, now: float) -> tuple[str, str]:
    """Use a code: the station's name and the token that the device keeps.

    Raises NotAllowed for a code that is wrong, used or too old, TooManyTries after some of
    these, WrongInput for a name that can't be one or is another station's.
    """
    limits = [Limit(f"enrol at {address}", 5, 15 * MINUTE), Limit("enrol", 60, 60 * MINUTE)]
    plain = re.sub(r"[^0-9A-Z]", "", code.upper())
    with store.writing():
        tries.check(store, limits, now, "the code")
        row = store.one(
            # No code of before a clock that was set back.
            "SELECT station, by FROM enrolments WHERE code = ? AND expires BETWEEN ? AND ?",
            (hashed(plain), now, now + CODE_MINUTES * MINUTE),
        )
        if row is not None:
            return _enrolled(store, plain, row[0] or station.strip(), row[1], now)
    tries.count(store, limits, now)
    raise NotAllowed(
        "this code is wrong, was used, or is too old",
        "Have a supervisor make a new one, under Stations or with “tagkit enrol”",
    )


def _enrolled(store: AccessStore, code: str, name: str, by: str, now: float) -> tuple[str, str]:
    _check_name(name)
    if store.one("SELECT 1 FROM stations WHERE name = ?", (name,)):
        raise WrongInput(
            f"there is a station {name} already",
            "Give another name, or have a supervisor end the other one first",
            "name",
        )
    token = secrets.token_urlsafe(32)
    store.run("DELETE FROM enrolments WHERE code = ?", (hashed(code),))
    store.run("INSERT INTO stations VALUES (?, ?, ?, ?, ?)", (name, hashed(token), by, now, now))
    return name, token


def stations(store: AccessStore) -> list[EnrolledStation]:
    """Every enrolled station, by name."""
    return [
        EnrolledStation(name, by, _moment(enrolled), _moment(seen))
        for name, by, enrolled, seen in store.all(
            "SELECT name, by, enrolled, seen FROM stations ORDER BY name"
        )
    ]


def end_station(store: AccessStore, name: str) -> None:
    """The device is no station any more; NotFound when it was none."""
    if not store.run("DELETE FROM stations WHERE name = ?", (name,)):
        raise NotFound(f"there is no station {name}", "Look at the list of stations")


def _moment(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)


def _check_name(name: str) -> None:
    if not _NAME.fullmatch(name):
        raise WrongInput(
            f"“{name}” is not a station's name", "Use up to 32 letters, digits, . _ -", "name"
        )
