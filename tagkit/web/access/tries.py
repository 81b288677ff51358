"""Wrong tries are counted, and after some of them nobody is listened to for a while.

What is counted expires by itself: whoever tries a thousand codes gets nowhere, and the right
person is kept out for minutes, not for ever.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tagkit.web.access.refused import TooManyTries
from tagkit.web.access.store import AccessStore

MINUTE = 60.0


@dataclass(frozen=True)
class Limit:
    """At most ``tries`` wrong ones of a subject within ``seconds``."""

    subject: str
    tries: int
    seconds: float


def check(store: AccessStore, limits: Sequence[Limit], now: float, what: str) -> None:
    """TooManyTries when any of the limits is reached. The try itself is not looked at."""
    for limit in limits:
        rows = store.all(
            "SELECT at FROM tries WHERE subject = ? AND at > ? ORDER BY at DESC LIMIT ?",
            (limit.subject, now - limit.seconds, limit.tries),
        )
        if len(rows) >= limit.tries:
            raise TooManyTries(
                f"{what} was wrong too often", float(rows[-1][0]) + limit.seconds - now
            )


def count(store: AccessStore, limits: Sequence[Limit], now: float) -> None:
    """One more wrong try."""
    with store.writing():
        store.run("DELETE FROM tries WHERE at < ?", (now - 24 * 60 * MINUTE,))
        for limit in limits:
            store.run("INSERT INTO tries VALUES (?, ?)", (limit.subject, now))


def take_back(store: AccessStore, limits: Sequence[Limit], now: float) -> None:
    """The try that was counted at ``now`` was a right one."""
    with store.writing():
        for limit in limits:
            store.run("DELETE FROM tries WHERE subject = ? AND at = ?", (limit.subject, now))


def forget(store: AccessStore, subjects: Sequence[str]) -> None:
    """The right one was given: these begin anew."""
    with store.writing():
        for subject in subjects:
            store.run("DELETE FROM tries WHERE subject = ?", (subject,))
