"""Fetching from the exchange what concerns the assets that this site holds or has held.

Of other sites come the events of followed assets, of this site's own chains all that another
record of it has sent. How far a chain was asked for is a sequence up to which the exchange
has every event, counted at the exchange: an event that is committed late is never skipped.
Nothing that comes is believed; see tagkit.record.receive.

The sites have turns (turns.py), so that one with very much to fetch, or with very much nonsense,
delays its own events and not those of others.
"""

from __future__ import annotations

import logging
import time
from collections.abc import Callable, Generator, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from itertools import chain as in_turn
from typing import TYPE_CHECKING

from tagkit.exchange import asking
from tagkit.exchange.address import driver
from tagkit.exchange.asking import End, Part, Row
from tagkit.exchange.layout import partition_of
from tagkit.exchange.standing import digest_of, standing, versions_in
from tagkit.exchange.topics import SITE_WORD, arrivals
from tagkit.exchange.turns import Turns
from tagkit.record.envelope import MalformedEvent, from_bytes, hash_of, strictly_from_bytes
from tagkit.record.follow import CHAIN_MARK, SENT_MARK
from tagkit.record.refusals import Refusals
from tagkit.record.room import check_room

if TYPE_CHECKING:
    from tagkit.exchange.address import Connection
    from tagkit.record.envelope import Event
    from tagkit.record.record import Record

ROUNDS = 50
"""Each round follows what the one before brought up; two or three are usual."""

CHAINS = 5_000
"""Ends of chains that are looked at together. A station, a restored record, a copied one begin
a chain; most sites have a dozen."""

LONGEST_LOOK = 1.0
"""Seconds for which chains of a site are looked for that are not here; then the next exchange
goes on from there."""

FEW = 50
"""Up to so many chains are asked for one by one, in stretches; of more those together that have
few events."""

FEW_EVENTS = 1_000

Progress = Callable[[str, int, int], None]


@dataclass
class Fetched:
    """What came."""

    events: int = 0
    already_here: int = 0
    refused: Refusals = field(default_factory=Refusals)
    followed: list[str] = field(default_factory=list)
    """Assets that are followed from now on."""
    forked: list[str] = field(default_factory=list)
    """Own epochs that somebody else goes on with differently, under the same key."""
    faulty: bool = False

    def broke_off(self, of: str, error: Exception) -> None:
        """A fault of ours came up at the events of a site; they are asked for again next time."""
        self.faulty = True
        self.refused.append(
            f"What site {of.rpartition(' ')[2]} sent can't all be taken in: a fault of ours "
            f"({type(error).__name__}: {error}), please report it. The others' comes all the same."
        )
        logging.getLogger("tagkit.exchange").error("events of %s", of, exc_info=error)


def pull(
    record: Record,
    connection: Connection,
    step: Progress,
    meanwhile: Callable[[], None] = lambda: None,
) -> Fetched:
    """Fetches everything that is new for this site; ``meanwhile`` is done now and then where
    that takes long."""
    fetched = Fetched()
    for _ in range(ROUNDS):
        new = record.follow([f"{SENT_MARK}{record.site}", *record.notes().unfollowed()])
        fetched.followed += [topic for topic in new if topic[0] not in (SENT_MARK, CHAIN_MARK)]
        before = fetched.events
        turns = Turns(step, fetched.broke_off)
        _add_earlier(record, connection, turns, fetched)
        line = _add_changed(record, connection, turns, fetched)
        while turns.take():
            meanwhile()
            line = _add_changed(record, connection, turns, fetched)
        done = not record.notes().topics(incomplete=True) or fetched.faulty
        if fetched.events == before and done:
            break
    if record.notes().versions() == versions_in(line):
        with record.noting() as notes:
            notes.keep_standing(digest_of(line))
    return fetched


def fetch_followed(record: Record, connection: Connection, fetched: Fetched) -> bool:
    """The earlier events of what is followed anew; whether there may be more to ask for."""
    if not record.notes().topics(incomplete=True):
        return False
    turns = Turns(lambda *_: None, fetched.broke_off)
    _add_earlier(record, connection, turns, fetched)
    while turns.take():
        pass
    return not fetched.faulty


def _add_changed(record: Record, connection: Connection, turns: Turns, fetched: Fetched) -> str:
    """Gives a turn to the sites that have sent something since; the line of all versions."""
    line = standing(connection)
    known = record.notes().versions()
    changed = {
        site: version
        for site, version in versions_in(line).items()
        if known.get(site) != version and site not in turns
    }
    if not changed:
        return line
    rows = connection.execute(
        "SELECT site, array_agg(topic) FROM tagkit.directory "
        "WHERE topic = ANY(%s) AND site = ANY(%s) GROUP BY site",
        (record.notes().topics(), list(changed)),
    ).fetchall()
    topics: dict[str, list[str]] = dict(rows)
    # Sites that never wrote of a followed asset are passed over together.
    passed = {site for site in changed if site != record.site and site not in topics}
    if passed:
        with record.noting() as notes:
            notes.keep_versions({site: changed[site] for site in passed})
    for site in sorted(changed.keys() - passed):
        turns.add(
            site, _changed(record, connection, site, changed[site], topics.get(site, []), fetched)
        )
    return line


def _changed(
    record: Record,
    connection: Connection,
    site: str,
    version: int,
    topics: list[str],
    fetched: Fetched,
) -> Iterator[None]:
    """What a site has sent since, a part each time: first of the chains that are here, then of
    the others, from where the last look stopped.

    Only when all have been looked at is everything here that the site had when that was begun.
    """
    notes = record.notes()
    known = asking.ends_of(connection, site, notes.chains_of(site))
    for end in known:
        yield from _of_chain(record, connection, site, end, topics, fetched)
    begun, after = notes.looked(site) or (version, "")
    here = {end.epoch for end in known}
    stopped = yield from _look(record, connection, site, after, here, topics, fetched)
    with record.noting() as kept:
        if stopped is None:
            kept.keep_versions({site: begun})
        kept.keep_looked(site, None if stopped is None else (begun, stopped))


def _look(
    record: Record,
    connection: Connection,
    site: str,
    after: str,
    here: set[str],
    topics: list[str],
    fetched: Fetched,
) -> Generator[None, None, str | None]:
    """Looks through the chains of a site that are not here, from after one on; where it stopped
    because that took too long, or None."""
    until = time.monotonic() + LONGEST_LOOK
    while True:
        others = asking.ends_after(connection, site, after, CHAINS)
        for end in _to_ask(record, connection, site, others):
            if end.epoch in here:
                continue
            yield from _of_chain(record, connection, site, end, topics, fetched)
            if time.monotonic() > until:
                return end.epoch
        if len(others) < CHAINS:
            return None
        after = others[-1].epoch
        if time.monotonic() > until:
            return after
        yield


def _to_ask(record: Record, connection: Connection, site: str, ends: list[End]) -> list[End]:
    """Those of these chains of which there is more than was asked for."""
    notes = record.notes()
    if site == record.site:
        asked = {own.epoch: own.sequence for own in notes.own_chains()}
    else:
        asked = notes.cursors(site, [end.epoch for end in ends])
    more = {
        end.epoch: asked.get(end.epoch, 0) for end in ends if end.sequence > asked.get(end.epoch, 0)
    }
    there = asking.having_next(connection, site, more) if more else set()
    return [end for end in ends if end.epoch in there]


def _of_chain(
    record: Record,
    connection: Connection,
    site: str,
    end: End,
    topics: list[str],
    fetched: Fetched,
) -> Iterator[None]:
    if site == record.site:
        return _own(record, connection, end, fetched)
    return _parted(record, connection, site, end, topics, fetched)


def _parted(
    record: Record,
    connection: Connection,
    site: str,
    end: End,
    topics: list[str],
    fetched: Fetched,
) -> Iterator[None]:
    """The events of a chain of another site that concern followed assets."""
    after = record.notes().cursor(site, end.epoch)
    while after < end.sequence:
        wanted = min(after + asking.WINDOW, end.sequence)
        until = asking.contiguous(connection, site, end.epoch, after, wanted)
        if until > after:
            reached = _between(record, connection, site, end.epoch, topics, after, until, fetched)
            if reached < until:
                until = wanted = reached
            with record.noting() as notes:
                notes.keep_cursor(site, end.epoch, until)
        if until < wanted:
            return  # the rest is asked for when the gap is filled
        after = until
        yield


def _add_earlier(record: Record, connection: Connection, turns: Turns, fetched: Fetched) -> None:
    """Gives turns to the events of assets that are followed anew, from wherever something is
    known of them."""
    topics = record.notes().topics(incomplete=True)
    if not topics:
        return
    places = connection.execute(
        "SELECT site, array_agg(topic) FROM tagkit.directory WHERE topic = ANY(%s) "
        "AND site <> %s GROUP BY site ORDER BY site",
        (topics, record.site),
    ).fetchall()
    lacking = {site for site, _ in places}

    def of(site: str, there: list[str]) -> Iterator[None]:
        yield from _earlier_of(record, connection, site, there, fetched)
        lacking.discard(site)
        complete()

    def complete() -> None:
        if not lacking:
            with record.noting() as notes:
                notes.completed(topics)

    for site, there in places:
        turns.add(f"earlier of {site}", of(site, there))
    complete()


def _earlier_of(
    record: Record, connection: Connection, site: str, topics: list[str], fetched: Fetched
) -> Iterator[None]:
    """The same from one site."""
    after = ""
    while True:
        parts = asking.parts_of(connection, site, topics, after, CHAINS)
        together = len(parts) > FEW
        large = [part for part in parts if not together or part.places > FEW_EVENTS]
        for part in large:
            yield from _stretches(record, connection, site, topics, part, fetched)
        without = {part.epoch for part in large}
        for epochs in _groups(parts, without) if together else ():
            yield from _of_many(record, connection, site, topics, epochs, without, fetched)
        if len(parts) < CHAINS:
            return
        after = parts[-1].epoch


def _stretches(
    record: Record,
    connection: Connection,
    site: str,
    topics: list[str],
    part: Part,
    fetched: Fetched,
) -> Iterator[None]:
    """One chain, in stretches so long that about a window of events comes each time."""
    stretch = max(asking.WINDOW, (part.last - part.first + 1) * asking.WINDOW // part.places)
    after = part.first - 1
    while after < part.last:
        until = min(after + stretch, part.last)
        after = _between(record, connection, site, part.epoch, topics, after, until, fetched)
        yield


def _groups(parts: list[Part], without: set[str]) -> Iterator[list[str]]:
    """The other chains, as many at a time as have a window of events together."""
    group, places = [], 0
    for part in parts:
        if part.epoch not in without:
            group.append(part.epoch)
            places += part.places
        if group and places >= asking.WINDOW:
            yield group
            group, places = [], 0
    if group:
        yield group


def _of_many(
    record: Record,
    connection: Connection,
    site: str,
    topics: list[str],
    epochs: list[str],
    without: set[str],
    fetched: Fetched,
) -> Iterator[None]:
    """Many chains that have few events each."""
    place, more = ("", 0), True
    while more:
        rows, more = asking.events_of_many(connection, site, topics, epochs, without, place)
        _take(record, connection, site, rows, fetched)
        place = rows[-1][:2] if rows else place
        yield


def _between(
    record: Record,
    connection: Connection,
    site: str,
    epoch: str,
    topics: list[str],
    after: int,
    until: int,
    fetched: Fetched,
) -> int:
    """Fetches the events of a chain within (after, until] that are asked for by one of these
    topics; up to where it came, which is less when the answer became too large."""
    here = record.notes().signatures(epoch, after, until)
    rows, there, reached = asking.events_between(
        connection, site, epoch, topics, after, until, here
    )
    fetched.already_here += there
    if there and not rows:
        _follow_chains(record, [epoch])
    _take(record, connection, site, rows, fetched)
    return reached


def _take(
    record: Record,
    connection: Connection,
    site: str,
    rows: list[Row],
    fetched: Fetched,
) -> None:
    """Takes in events that stand in a site's partition; only its own are its to tell."""
    if not rows:
        return
    check_room(record.directory)
    notes = record.notes()
    epochs = sorted({epoch for epoch, *_ in rows})
    new = [epoch for epoch in epochs if not notes.knows_chain(epoch)]
    first = asking.first_events(connection, site, new) if new else []
    # First of all, as these rows are not looked at again once they are here.
    if sent_here := _sent_here(record.site, rows):
        fetched.followed += record.follow(sent_here)
    events = (event for row in in_turn(first, rows) if (event := _its_own(site, *row, fetched)))
    received = record.receive(events, parted=site != record.site)
    fetched.events += received.taken
    fetched.already_here += received.already_here
    fetched.refused.add(received.refused)
    if site != record.site:
        _follow_chains(record, epochs)


def _follow_chains(record: Record, epochs: list[str]) -> None:
    """What the order of their events depends on is asked for from now on."""
    topics = [f"{CHAIN_MARK}{epoch}" for epoch in epochs if record.notes().knows_chain(epoch)]
    record.follow(topics)


def _sent_here(site: str, rows: list[Row]) -> list[str]:
    """The assets that events among these send to ``site``."""
    word = f'"{SITE_WORD}'.encode()  # whoever writes it otherwise is no station
    found: list[str] = []
    for _, _, raw, _ in rows:
        if word in raw:
            with suppress(MalformedEvent):
                found += arrivals([from_bytes(bytes(raw))], site)
    return found


def _its_own(
    site: str, epoch: str, sequence: int, raw: bytes, signature: bytes, fetched: Fetched
) -> Event | None:
    try:
        event = strictly_from_bytes(bytes(raw), bytes(signature))
    except MalformedEvent as error:
        fetched.refused.append(f"{epoch}-{sequence} of {site}: no event: {error}.")
        return None
    if (event.site, event.epoch, event.sequence) != (site, epoch, sequence):
        fetched.refused.append(
            f"{epoch}-{sequence} of {site}: it says to be {event.id} of {event.site}."
        )
        return None
    return event


def _own(record: Record, connection: Connection, end: End, fetched: Fetched) -> Iterator[None]:
    """What another record of this site has sent, or this one before it was restored."""
    here = {own.epoch: own for own in record.notes().own_chains()}
    own = here.get(end.epoch)
    after = own.sequence if own else 0
    if end.sequence <= after or end.epoch in record.notes().forked():
        return
    if own and not _goes_on(record, connection, end.epoch, own.sequence, own.hash):
        fetched.forked.append(end.epoch)
        with record.noting() as notes:
            notes.abandon_chain(end.epoch)
        return
    while after < end.sequence:
        rows = asking.own_events(connection, record.site, end.epoch, after)
        run = [row for number, row in enumerate(rows, start=after + 1) if row[1] == number]
        before = fetched.events
        _take(record, connection, record.site, run, fetched)
        if not run or fetched.events == before or len(run) < len(rows):
            return
        after = run[-1][1]
        yield
    with record.noting() as notes:
        # It came from there, so that it need not be sent.
        notes.keep_cursor(record.site, end.epoch, after)


def _goes_on(
    record: Record, connection: Connection, epoch: str, sequence: int, digest: str
) -> bool:
    """Whether the exchange has the same event at the end of this record's chain."""
    row = connection.execute(
        driver()
        .sql.SQL("SELECT raw FROM {} WHERE epoch = %s AND sequence = %s")
        .format(partition_of("events", record.site)),
        (epoch, sequence),
    ).fetchone()
    return row is None or hash_of(bytes(row[0])) == digest
