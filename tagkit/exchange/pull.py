"""Fetching from the exchange what concerns the assets that this site holds or has held.

Of other sites come the events of followed assets, of this site's own chains all that another
record of it has sent. How far a chain was asked for is a sequence up to which the exchange
has every event, counted at the exchange: an event that is committed late is never skipped.
Nothing that comes is believed; see tagkit.record.receive.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import closing, suppress
from dataclasses import dataclass, field
from itertools import chain as in_turn
from typing import TYPE_CHECKING, Any

from tagkit.exchange.address import driver
from tagkit.exchange.layout import partition_of
from tagkit.exchange.standing import digest_of, standing, versions_in
from tagkit.exchange.topics import SITE_WORD, arrivals
from tagkit.record.envelope import MalformedEvent, from_bytes, hash_of, strictly_from_bytes
from tagkit.record.follow import CHAIN_MARK, SENT_MARK

if TYPE_CHECKING:
    from tagkit.exchange.address import Connection
    from tagkit.record.envelope import Event
    from tagkit.record.record import Record

WINDOW = 20_000
"""Sequences of a chain that are asked for at once: an answer stays small, and what has come is
kept when the line breaks."""

WINDOW_BYTES = 32_000_000
"""An answer of largest events stays small in memory, too."""

STREAMED = 20
"""Rows that are handed over together; of largest events that is 20 MB."""

ROUNDS = 50
"""Each round follows what the one before brought up; two or three are usual."""

Progress = Callable[[str, int, int], None]


@dataclass
class Fetched:
    """What came."""

    events: int = 0
    already_here: int = 0
    refused: list[str] = field(default_factory=list)
    followed: list[str] = field(default_factory=list)
    """Assets that are followed from now on."""
    forked: list[str] = field(default_factory=list)
    """Own epochs that somebody else goes on with differently, under the same key."""


@dataclass(frozen=True)
class _Chain:
    epoch: str
    sequence: int
    hash: str


def pull(record: Record, connection: Connection, step: Progress) -> Fetched:
    """Fetches everything that is new for this site."""
    fetched = Fetched()
    line = standing(connection)
    versions = versions_in(line)
    for _ in range(ROUNDS):
        new = record.follow([f"{SENT_MARK}{record.site}", *record.notes().unfollowed()])
        fetched.followed += [topic for topic in new if topic[0] not in (SENT_MARK, CHAIN_MARK)]
        before = fetched.events
        fetch_followed(record, connection, fetched)
        known = record.notes().versions()
        changed = {site: v for site, v in versions.items() if known.get(site) != v}
        if changed:
            _fetch_changed(record, connection, changed, fetched, step)
        if fetched.events == before and not record.notes().topics(incomplete=True):
            break
    if record.notes().versions() == versions:
        with record.noting() as notes:
            notes.keep_standing(digest_of(line))
    return fetched


def fetch_followed(record: Record, connection: Connection, fetched: Fetched) -> bool:
    """The earlier events of what is followed anew; whether there was anything to ask for."""
    incomplete = record.notes().topics(incomplete=True)
    if incomplete:
        _fetch_earlier(record, connection, incomplete, fetched)
        with record.noting() as notes:
            notes.completed(incomplete)
    return bool(incomplete)


def _fetch_changed(
    record: Record,
    connection: Connection,
    changed: dict[str, int],
    fetched: Fetched,
    step: Progress,
) -> None:
    """What the sites that have sent something since have of the followed assets."""
    mine = record.notes().topics()
    rows = connection.execute(
        "SELECT site, array_agg(topic) FROM tagkit.directory "
        "WHERE topic = ANY(%s) AND site = ANY(%s) GROUP BY site",
        (mine, list(changed)),
    ).fetchall()
    topics: dict[str, list[str]] = dict(rows)
    # Sites that never wrote of a followed asset are passed over together.
    passed = {site for site in changed if site != record.site and site not in topics}
    with record.noting() as notes:
        notes.keep_versions({site: changed[site] for site in passed})
    asked = sorted(changed.keys() - passed)
    for number, site in enumerate(asked, start=1):
        for chain in _chains(connection, site):
            if site == record.site:
                _fetch_own(record, connection, chain, fetched, step)
            else:
                _fetch_parted(record, connection, site, chain, topics[site], fetched)
        with record.noting() as notes:
            notes.keep_versions({site: changed[site]})
        step("fetching", number, len(asked))


def _chains(connection: Connection, site: str) -> list[_Chain]:
    rows = connection.execute(
        "SELECT epoch, sequence, hash FROM tagkit.heads WHERE site = %s ORDER BY epoch", (site,)
    ).fetchall()
    return [_Chain(*row) for row in rows]


def _contiguous(connection: Connection, site: str, epoch: str, after: int, until: int) -> int:
    """Up to which sequence the exchange has every event of the chain."""
    sql = driver().sql
    events = partition_of("events", site)
    row = connection.execute(
        sql.SQL(
            "SELECT count(*) FROM {} WHERE epoch = %s AND sequence > %s AND sequence <= %s"
        ).format(events),
        (epoch, after, until),
    ).fetchone()
    if row and row[0] == until - after:
        return until
    # Something is missing: the end of the run that begins at the cursor.
    row = connection.execute(
        sql.SQL(
            "SELECT max(sequence) FROM (SELECT sequence, row_number() OVER (ORDER BY sequence) n "
            "FROM {} WHERE epoch = %s AND sequence > %s AND sequence <= %s) s "
            "WHERE sequence = %s + n"
        ).format(events),
        (epoch, after, until, after),
    ).fetchone()
    return int(row[0]) if row and row[0] else after


def _fetch_parted(
    record: Record,
    connection: Connection,
    site: str,
    chain: _Chain,
    topics: list[str],
    fetched: Fetched,
) -> None:
    """The events of a chain of another site that concern followed assets."""
    after = record.notes().cursor(site, chain.epoch)
    while after < chain.sequence:
        wanted = min(after + WINDOW, chain.sequence)
        until = _contiguous(connection, site, chain.epoch, after, wanted)
        if until > after:
            reached = _fetch_between(
                record, connection, site, chain.epoch, topics, after, until, fetched
            )
            if reached < until:
                until = wanted = reached
            with record.noting() as notes:
                notes.keep_cursor(site, chain.epoch, until)
        if until < wanted:
            return  # the rest is asked for when the gap is filled
        after = until


def _fetch_earlier(
    record: Record, connection: Connection, topics: list[str], fetched: Fetched
) -> None:
    """The events of assets that are followed anew, from wherever something is known of them."""
    places = connection.execute(
        "SELECT site, array_agg(topic) FROM tagkit.directory WHERE topic = ANY(%s) "
        "AND site <> %s GROUP BY site ORDER BY site",
        (topics, record.site),
    ).fetchall()
    for site, there in places:
        chains = connection.execute(
            driver()
            .sql.SQL(
                "SELECT epoch, count(*), min(sequence), max(sequence) FROM {} "
                "WHERE topic = ANY(%s) GROUP BY epoch ORDER BY epoch"
            )
            .format(partition_of("topics", site)),
            (there,),
        ).fetchall()
        for epoch, count, first, last in chains:
            # So long that about a window of events comes each time.
            stretch = max(WINDOW, (last - first + 1) * WINDOW // count)
            after = first - 1
            while after < last:
                until = min(after + stretch, last)
                after = _fetch_between(
                    record, connection, site, epoch, there, after, until, fetched
                )


_Row = tuple[str, int, bytes, bytes]


def _fetch_between(
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
    topics; up to where it came, which is less when the answer became too large.

    What is here already does not come again: of events around here only the signatures are
    asked for first. No two events have the same one.
    """
    sql = driver().sql
    events, asked = partition_of("events", site), partition_of("topics", site)
    here = record.notes().signatures(epoch, after, until)
    meant = sql.SQL(
        "e.sequence IN (SELECT t.sequence FROM {} t WHERE t.topic = ANY(%s) AND t.epoch = %s "
        "AND t.sequence > %s AND t.sequence <= %s)"
    ).format(asked)
    which: tuple[object, ...] = (topics, epoch, after, until)
    if here:
        found = connection.execute(
            sql.SQL("SELECT e.sequence, e.signature FROM {} e WHERE e.epoch = %s AND {}").format(
                events, meant
            ),
            (epoch, *which),
            binary=True,
        ).fetchall()
        lacking = [sequence for sequence, signature in found if here.get(sequence) != signature]
        fetched.already_here += len(found) - len(lacking)
        if not lacking:
            _follow_chains(record, [epoch])
            return until
        meant, which = sql.SQL("e.sequence = ANY(%s)"), (lacking,)
    rows, cut = _rows(
        connection,
        sql.SQL(
            "SELECT e.epoch, e.sequence, e.raw, e.signature FROM {} e WHERE e.epoch = %s "
            "AND {} ORDER BY e.sequence"
        ).format(events, meant),
        (epoch, *which),
    )
    _take(record, connection, site, rows, fetched)
    return rows[-1][1] if cut else until


def _rows(
    connection: Connection, query: Any, values: tuple[object, ...]
) -> tuple[list[_Row], bool]:
    """The answer, and whether it was cut off because it became too large to be held at once."""
    rows: list[_Row] = []
    size = 0
    together = STREAMED if driver().pq.version() >= 170_000 else 1
    with connection.cursor() as cursor:
        answer: Any = cursor.stream(query, values, binary=True, size=together)
        with closing(answer):
            for row in answer:
                rows.append(row)
                size += len(row[2]) + len(row[3])
                if size > WINDOW_BYTES:
                    return rows, True
    return rows, False


def _take(
    record: Record,
    connection: Connection,
    site: str,
    rows: list[_Row],
    fetched: Fetched,
) -> None:
    """Takes in events that stand in a site's partition; only its own are its to tell."""
    if not rows:
        return
    sql = driver().sql
    notes = record.notes()
    epochs = sorted({epoch for epoch, *_ in rows})
    new = [epoch for epoch in epochs if not notes.knows_chain(epoch)]
    first: list[_Row] = []
    if new:
        first, _ = _rows(
            connection,
            sql.SQL(
                "SELECT epoch, sequence, raw, signature FROM {} "
                "WHERE epoch = ANY(%s) AND sequence = 1"
            ).format(partition_of("events", site)),
            (new,),
        )
    # First of all, as these rows are not looked at again once they are here.
    if sent_here := _sent_here(record.site, rows):
        fetched.followed += record.follow(sent_here)
    events = (event for row in in_turn(first, rows) if (event := _its_own(site, *row, fetched)))
    received = record.receive(events, parted=site != record.site)
    fetched.events += received.taken
    fetched.already_here += received.already_here
    fetched.refused += received.refused
    if site != record.site:
        _follow_chains(record, epochs)


def _follow_chains(record: Record, epochs: list[str]) -> None:
    """What the order of their events depends on is asked for from now on."""
    topics = [f"{CHAIN_MARK}{epoch}" for epoch in epochs if record.notes().knows_chain(epoch)]
    record.follow(topics)


def _sent_here(site: str, rows: list[_Row]) -> list[str]:
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


def _fetch_own(
    record: Record, connection: Connection, chain: _Chain, fetched: Fetched, step: Progress
) -> None:
    """What another record of this site has sent, or this one before it was restored."""
    sql = driver().sql
    here = {own.epoch: own for own in record.notes().own_chains()}
    own = here.get(chain.epoch)
    after = own.sequence if own else 0
    if chain.sequence <= after or chain.epoch in record.notes().forked():
        return
    if own and not _goes_on(record, connection, chain.epoch, own.sequence, own.hash):
        fetched.forked.append(chain.epoch)
        with record.noting() as notes:
            notes.abandon_chain(chain.epoch)
        return
    while after < chain.sequence:
        rows, _ = _rows(
            connection,
            sql.SQL(
                "SELECT epoch, sequence, raw, signature FROM {} WHERE epoch = %s "
                "AND sequence > %s ORDER BY sequence LIMIT %s"
            ).format(partition_of("events", record.site)),
            (chain.epoch, after, WINDOW),
        )
        run = [row for number, row in enumerate(rows, start=after + 1) if row[1] == number]
        before = fetched.events
        _take(record, connection, record.site, run, fetched)
        if not run or fetched.events == before or len(run) < len(rows):
            return
        after = run[-1][1]
        step("fetching own", after, chain.sequence)
    with record.noting() as notes:
        # It came from there, so that it need not be sent.
        notes.keep_cursor(record.site, chain.epoch, after)


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
