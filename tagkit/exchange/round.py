"""One exchange: send what is new here, fetch what is new for this site."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tagkit.exchange.address import driver
from tagkit.exchange.layout import admitted
from tagkit.exchange.pull import pull
from tagkit.exchange.push import Sent, push
from tagkit.exchange.standing import digest_of, standing

if TYPE_CHECKING:
    from tagkit.exchange.address import Connection
    from tagkit.record.record import Record

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True)
class Exchanged:
    """What an exchange did."""

    sent: int = 0
    fetched: int = 0
    already_here: int = 0
    followed: tuple[str, ...] = ()
    """Assets that are followed from now on."""
    refused: tuple[str, ...] = ()
    """A sentence for each event that was not taken in, and why; of very many the first."""
    refusals: int = 0
    """How many events were not taken in."""
    forked: tuple[str, ...] = ()
    """Epochs of this site that are written by two; this record goes on under new ones."""
    nothing_new: bool = False


def nothing_new(record: Record, connection: Connection) -> bool:
    """Whether neither side has anything for the other: one short question to the exchange."""
    notes = record.notes()
    return (
        notes.standing() == digest_of(standing(connection))
        and not notes.topics(incomplete=True)
        and notes.unsent() == 0
        and not notes.unfollowed()
    )


def exchange(record: Record, connection: Connection, step: Progress = lambda *_: None) -> Exchanged:
    """Sends and fetches until neither side has anything new. May be cut off at any moment and
    begun again; nothing is lost and nothing counts twice."""
    identity = admitted(connection, record.site)
    if record.notes().fact("exchange") != identity:
        with record.noting() as notes:
            notes.begin_with(identity)
    if nothing_new(record, connection):
        return Exchanged(nothing_new=True)
    sent, full = Sent(), None

    def send() -> None:
        nonlocal full
        try:
            sent.add(push(record, connection, step))
        except driver().errors.DiskFull as error:
            full = error  # what others have sent is fetched all the same

    send()
    # What is recorded here while others' events come goes out meanwhile.
    fetched = pull(record, connection, step, send)
    if full:
        raise full
    return Exchanged(
        sent=sent.events,
        fetched=fetched.events,
        already_here=fetched.already_here,
        followed=tuple(dict.fromkeys(fetched.followed)),
        refused=fetched.refused.told(),
        refusals=fetched.refused.in_all,
        forked=tuple(dict.fromkeys([*(chain.epoch for chain in sent.forked), *fetched.forked])),
    )
