"""PINs: kept as argon2id, chosen by their owners, tried a few times at most."""

from __future__ import annotations

import re
import threading
from functools import cache
from itertools import pairwise

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from tagkit.errors import WrongInput
from tagkit.web.access import tries
from tagkit.web.access.refused import NotAllowed
from tagkit.web.access.store import AccessStore
from tagkit.web.access.tries import MINUTE, Limit

_PIN = re.compile(r"[0-9]{6,12}", re.ASCII)
# 64 MiB each (RFC 9106, second recommended choice): a flood of tries must not fill the memory.
_HASHER = PasswordHasher()
_AT_ONCE = threading.BoundedSemaphore(2)


def has_pin(store: AccessStore, person: str) -> bool:
    """Whether this person has chosen one."""
    return store.one("SELECT 1 FROM pins WHERE person = ?", (person,)) is not None


def choose_pin(store: AccessStore, person: str, pin: str, now: float) -> None:
    """Keep a PIN for a person; WrongInput for one that is too easily guessed.

    Shifts that the person has open anywhere are closed.
    """
    if not _PIN.fullmatch(pin):
        raise WrongInput("a PIN is 6 to 12 digits", "Choose another one", "PIN")
    steps = {(int(b) - int(a)) % 10 for a, b in pairwise(pin)}
    if len(steps) == 1 or len(set(pin)) < 3:
        raise WrongInput(
            "this PIN is too easily guessed", "Choose one that is no row and no repetition", "PIN"
        )
    with _AT_ONCE:
        made = _HASHER.hash(pin)
    with store.writing():
        store.run("INSERT OR REPLACE INTO pins VALUES (?, ?, ?)", (person, made, now))
        store.run("DELETE FROM shifts WHERE person = ?", (person,))


def check_pin(store: AccessStore, person: str, pin: str, device: str, now: float,
              trusted: bool) -> None:  # fmt: skip
    """NotAllowed unless this is the person's PIN; TooManyTries when nobody is listened to.

    ``device`` is the station's name or the network address. Tries at a ``trusted`` device (an
    enrolled station, the server's own computer) are counted apart, so that somebody guessing
    from elsewhere on the network does not keep the right person out at the station.
    """
    limits = [
        Limit(f"pin {person} at {device}", 5, 15 * MINUTE),
        Limit(f"pin at {device}", 20, 60 * MINUTE),
        Limit(f"pin {person} at {'stations' if trusted else 'elsewhere'}", 30, 60 * MINUTE),
    ]
    with store.writing():
        tries.check(store, limits, now, "the PIN")
        tries.count(store, limits, now)  # taken back when it was right: none slips in between
    row = store.one("SELECT hash FROM pins WHERE person = ?", (person,))
    with _AT_ONCE:
        right = _verifies(row[0] if row else _nobodys(), pin) and row is not None
    if not right:
        raise NotAllowed(
            "the person's code or the PIN is wrong",
            "Try again; a PIN is chosen on the server's own computer with “tagkit pin CODE”",
        )
    tries.take_back(store, limits, now)
    tries.forget(store, [limits[0].subject, limits[2].subject])


def _verifies(kept: str, pin: str) -> bool:
    try:
        return _HASHER.verify(kept, pin)
    except (VerificationError, InvalidHashError):
        return False


@cache
def _nobodys() -> str:
    """Checked for people without a PIN, so that the time tells nothing."""
    return _HASHER.hash("nobody")
