"""Events made ready before the write lock is taken, so that others are kept waiting less.

While a writer stands at the head of the queue, it works out from what the record then holds what
its events will be (their places in the chain, clocks, bytes and signatures) and what they make of
their assets. Under the lock that is put in place if all it rests on is still so: the end of the
chain, the latest clock, the assets' states. If not, the events are made there and then.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from tagkit.record.clock import TOLERANCE_MS, reading
from tagkit.record.envelope import Event
from tagkit.record.folder import Folder
from tagkit.record.journal import PERSON_MARK, Beginning
from tagkit.record.keys import StationKey
from tagkit.record.store import Connection

NEVER_SEEN = ""
"""In ``seen``: the person knew of no event of this asset."""

CERTAIN_ONLY = frozenset({"voided", "epoch_started", "authorised"})
"""Kinds that depend on more of the record than their assets' states."""


@dataclass
class Chain:
    """A chain that is written to, and where it ends."""

    number: int
    epoch: str
    sequence: int
    hash: str
    key: StationKey


@dataclass(frozen=True)
class Wanted:
    """An event that is to be written, whenever that will be."""

    station: str
    by: str
    kind: str
    tags: tuple[str, ...]
    body: dict[str, Any]
    seen: dict[str, str]
    at: Any
    """When it happened, if not now."""


class Draft:
    """What one writing has made ready."""

    def __init__(self, connection: Connection, station: str, chain: Chain, here: Beginning) -> None:
        """``chain``, the station's, as it ends ``here``, from where the events go on."""
        self.folder = Folder.before_the_lock(connection)
        self.station = station
        self.chain = chain
        self.latest = here.latest
        self.ready: list[tuple[Wanted, Event, Made]] = []
        self.required: list[Mapping[str, str]] = []
        """What had to be the last events of assets, and was."""
        self.identity = here.identity
        self._end = here.end

    def knows(self, seen: Mapping[str, str]) -> bool:
        """Whether the person knew of all events of these assets; that is required from now on."""
        known = all(
            (self.folder.last_event_before(tag) or NEVER_SEEN) == last for tag, last in seen.items()
        )
        if known and seen:
            self.required.append(seen)
        return known

    def add(self, wanted: Wanted, event: Event) -> Event:
        """Folds in an event that was made from here; gives what stands for it until it is
        certain."""
        moment = event.moment
        for tag in wanted.tags:
            if not tag.startswith(PERSON_MARK):
                self.folder.take(tag, event, moment)
        self.latest = event.clock
        self.chain.sequence, self.chain.hash = event.sequence, event.hash
        made = object.__new__(Made)
        self.ready.append((wanted, event, made))
        return made

    def still_right(self, here: Beginning) -> bool:
        """Whether what all this rests on is what the record holds under the lock."""
        return (
            not here.apart
            and here.identity == self.identity
            and here.end == self._end
            and self.folder.still_so()
        )


def may_begin(here: Beginning, now: int) -> bool:
    """Whether events can be made ready from here: nothing is set apart that will be folded in,
    and the record does not run before the clock."""
    return here.end is not None and not here.apart and here.latest <= now + reading(TOLERANCE_MS)


class Made(Event):
    """Stands for an event that is made ready. Whoever looks at it wants to be certain: then the
    lock is taken, and it becomes the event that was written."""

    def __getattribute__(self, name: str) -> Any:
        if name == "__class__":
            return Made
        certain: Callable[[], None] | None
        certain = object.__getattribute__(self, "__dict__").get("certain")
        if certain is None:
            raise RuntimeError("this event was not recorded: its writing came to nothing")
        certain()
        return getattr(self, name)


def promise(made: Event, certain: Callable[[], None]) -> None:
    """What takes the lock when somebody looks at the event."""
    object.__getattribute__(made, "__dict__")["certain"] = certain


def fulfil(made: Event, event: Event) -> None:
    """Makes the stand-in the event that was written."""
    own = object.__getattribute__(made, "__dict__")
    own.clear()
    own.update(vars(event))
    object.__setattr__(made, "__class__", Event)


def give_up(made: Sequence[Event]) -> None:
    """Their writing came to nothing."""
    for one in made:
        object.__getattribute__(one, "__dict__").clear()
