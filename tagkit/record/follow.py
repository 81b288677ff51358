"""What this record follows at the exchange with other sites, and how far it has come there.

A topic is what an event is asked for by: the number of an asset; ``#EPOCH`` for what the order
of a chain's events depends on; ``>SITE`` for assets that were sent to a site. A topic is
followed from the moment on that something is recorded of it here, and for ever: a site has
every event of the assets that it holds or has held.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass

from tagkit.record.ahead import Ahead
from tagkit.record.folder import Foreseen
from tagkit.record.journal import Journal, site_of
from tagkit.record.store import Connection

CHAIN_MARK = "#"
SENT_MARK = ">"
MARKS = (CHAIN_MARK, SENT_MARK)


@dataclass(frozen=True)
class OwnChain:
    """A chain of this site, with its end."""

    station: str
    epoch: str
    public_key: bytes
    sequence: int
    hash: str


_NOTHING: Mapping[str, Foreseen] = {}

StoredEvent = tuple[int, bytes, bytes]
"""Sequence, stored bytes, signature."""


def follow(
    connection: Connection,
    topics: Iterable[str],
    transaction: Callable[[], AbstractContextManager[None]],
    longest_hold: float,
) -> list[str]:
    """Follows topics as :meth:`ExchangeNotes.follow` does, so many at a time that the lock is
    held for moments only."""
    waiting, ahead = deque(dict.fromkeys(topics)), Ahead(connection)
    new: list[str] = []
    while waiting:
        some: list[str] = []
        foreseen: dict[str, Foreseen] = {}
        end = time.monotonic() + longest_hold
        while waiting and len(some) < MOST_AT_ONCE and not (foreseen and time.monotonic() > end):
            some.append(waiting.popleft())
            if state := ahead.follow(some[-1]):
                foreseen[some[-1]] = state
        with transaction():
            new += ExchangeNotes(connection).follow(some, foreseen)
    return new


MOST_AT_ONCE = 500


class ExchangeNotes:
    """What is noted of the exchange; changed within :meth:`Record.noting` only."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    # What is followed

    def follow(
        self, topics: Iterable[str], foreseen: Mapping[str, Foreseen] = _NOTHING
    ) -> list[str]:
        """Follows topics from now on; gives those that were not yet. Events that are here
        already are folded in: before the lock is taken by :func:`follow`, see ahead.py."""
        journal = Journal(self._connection)
        journal.folder.foreseen(foreseen)
        new = []
        for topic in topics:
            row = self._connection.execute(
                "INSERT OR IGNORE INTO followed VALUES (?, 0) RETURNING topic", (topic,)
            ).fetchone()
            if row:
                new.append(topic)
                journal.follow(topic)
        journal.folder.flush()
        return new

    def unfollowed(self) -> list[str]:
        """Assets that the record knows and does not follow yet."""
        rows = self._connection.execute(
            "SELECT tag FROM assets WHERE tag NOT IN (SELECT topic FROM followed)"
        ).fetchall()
        return [tag for (tag,) in rows]

    def topics(self, incomplete: bool = False) -> list[str]:
        """What is followed; only that of which earlier events have not come yet."""
        where = "WHERE complete = 0" if incomplete else ""
        rows = self._connection.execute(f"SELECT topic FROM followed {where}").fetchall()
        return [topic for (topic,) in rows]

    def completed(self, topics: Iterable[str]) -> None:
        """All earlier events of these have come."""
        for topic in topics:
            self._connection.execute("UPDATE followed SET complete = 1 WHERE topic = ?", (topic,))

    # How far it has come

    def begin_with(self, exchange: str) -> None:
        """Forgets how far it had come when this is another exchange than before."""
        if self.fact("exchange") == exchange:
            return
        self.keep_fact("exchange", exchange)
        self.ask_again()

    def ask_again(self) -> None:
        """Lets everything be asked for and sent once more; what is here stays."""
        self.keep_standing("")
        self._connection.execute("DELETE FROM exchange_sites")
        self._connection.execute("DELETE FROM meta WHERE name LIKE 'looked %'")
        self._connection.execute("DELETE FROM exchange_chains")
        self._connection.execute("UPDATE followed SET complete = 0")

    def versions(self) -> dict[str, int]:
        """Site -> how often it had sent something when it was last asked for."""
        rows = self._connection.execute("SELECT site, version FROM exchange_sites").fetchall()
        return dict(rows)

    def keep_versions(self, versions: Mapping[str, int]) -> None:
        """Everything up to these versions is here."""
        self.keep_standing("")
        for entry in versions.items():
            self._connection.execute("INSERT OR REPLACE INTO exchange_sites VALUES (?, ?)", entry)

    def standing(self) -> str:
        """The digest of all that :meth:`versions` says, so that it need not be read; "" when it
        was not asked for since one of them changed."""
        return self.fact("standing") or ""

    def keep_standing(self, digest: str) -> None:
        """All versions that this is the digest of are kept."""
        self.keep_fact("standing", digest)

    def cursor(self, site: str, epoch: str) -> int:
        """Up to where a chain that stands under a site was asked for (under this one: sent)."""
        row = self._connection.execute(
            "SELECT sequence FROM exchange_chains WHERE epoch = ?", (f"{site}/{epoch}",)
        ).fetchone()
        return row[0] if row else 0

    def cursors(self, site: str, epochs: list[str]) -> dict[str, int]:
        """The same of many chains; those of which nothing is noted are left out."""
        found: dict[str, int] = {}
        for at in range(0, len(epochs), MOST_AT_ONCE):
            names = [f"{site}/{epoch}" for epoch in epochs[at : at + MOST_AT_ONCE]]
            marks = ", ".join("?" * len(names))
            rows = self._connection.execute(
                f"SELECT epoch, sequence FROM exchange_chains WHERE epoch IN ({marks})", names
            )
            found.update((name[len(site) + 1 :], sequence) for name, sequence in rows)
        return found

    def keep_cursor(self, site: str, epoch: str, sequence: int) -> None:
        """The chain was asked for, or sent, up to here."""
        self._connection.execute(
            "INSERT OR REPLACE INTO exchange_chains VALUES (?, ?)", (f"{site}/{epoch}", sequence)
        )

    def keep_head(self, epoch: str, sequence: int, digest: str) -> None:
        """The exchange has seen this end of a chain: a later cut shows against it."""
        self._connection.execute(
            "INSERT INTO exchange_heads VALUES (?, ?, ?) ON CONFLICT (epoch) DO UPDATE "
            "SET sequence = excluded.sequence, hash = excluded.hash "
            "WHERE excluded.sequence > sequence",
            (epoch, sequence, digest),
        )

    def chains_of(self, site: str) -> list[str]:
        """The epochs of a site of which anything is here."""
        rows = self._connection.execute("SELECT epoch FROM chains WHERE site = ?", (site,))
        return sorted(epoch for (epoch,) in rows)

    def looked(self, site: str) -> tuple[int, str] | None:
        """Where looking through a site's chains stopped: its version when that was begun, and
        the last chain looked at. None: it did not stop within."""
        version, blank, epoch = (self.fact(f"looked {site}") or "").partition(" ")
        return (int(version), epoch) if blank else None

    def keep_looked(self, site: str, where: tuple[int, str] | None) -> None:
        """The same, kept."""
        if where is None:
            self._connection.execute("DELETE FROM meta WHERE name = ?", (f"looked {site}_noted",))
        else:
            self.keep_fact(f"looked {site}", f"{where[0]} {where[1]}")

    def fact(self, name: str) -> str | None:
        """A fact kept about the exchange."""
        row = self._connection.execute(
            "SELECT value FROM meta WHERE name = ?", (f"{name}_noted",)
        ).fetchone()
        return row[0] if row else None

    def keep_fact(self, name: str, value: str) -> None:
        """Keeps a fact about the exchange."""
        self._connection.execute(
            "INSERT OR REPLACE INTO meta VALUES (?, ?)", (f"{name}_noted", value)
        )

    # This record's chains

    def own_chains(self) -> list[OwnChain]:
        """The chains of this site, whoever wrote them."""
        rows = self._connection.execute(
            "SELECT station, epoch, public_key, head_sequence, head_hash FROM chains "
            "WHERE site = ? AND whole = 1 AND head_sequence > 0 ORDER BY name",
            (site_of(self._connection),),
        ).fetchall()
        return [OwnChain(row[0], row[1], bytes(row[2]), row[3], row[4]) for row in rows]

    def unsent(self) -> int:
        """Events of this site that were not sent yet."""
        row = self._connection.execute(
            "SELECT sum(c.head_sequence - coalesce(x.sequence, 0)) FROM chains c "
            "LEFT JOIN exchange_chains x ON x.epoch = c.site || '/' || c.epoch "
            "WHERE c.site = ? AND c.whole = 1 AND c.head_sequence > coalesce(x.sequence, 0)",
            (site_of(self._connection),),
        ).fetchone()
        return int(row[0] or 0)

    def apart(self) -> int:
        """Events that are set apart for a wild clock."""
        row = self._connection.execute("SELECT count(*) FROM events WHERE apart = 1").fetchone()
        return int(row[0])

    def events(self, epoch: str, after: int, limit: int) -> Iterator[StoredEvent]:
        """Events of a chain in order, from after a sequence on."""
        rows = self._connection.execute(
            "SELECT e.sequence, e.raw, e.signature FROM chains c JOIN events e "
            "ON e.chain = c.chain WHERE c.epoch = ? AND e.sequence > ? "
            "ORDER BY e.sequence LIMIT ?",
            (epoch, after, limit),
        )
        for sequence, raw, signature in rows:
            yield sequence, bytes(raw), bytes(signature)

    def signatures(self, epoch: str, after: int, until: int) -> dict[int, bytes]:
        """Sequence -> signature of the events of a chain that are here, within (after, until]."""
        rows = self._connection.execute(
            "SELECT e.sequence, e.signature FROM chains c JOIN events e ON e.chain = c.chain "
            "WHERE c.epoch = ? AND e.sequence > ? AND e.sequence <= ?",
            (epoch, after, until),
        )
        return {sequence: bytes(signature) for sequence, signature in rows}

    def knows_chain(self, epoch: str) -> bool:
        """Whether anything of this chain is here."""
        found = self._connection.execute("SELECT 1 FROM chains WHERE epoch = ?", (epoch,))
        return found.fetchone() is not None

    def forked(self) -> list[str]:
        """The epochs that somebody else goes on with differently, under the same key."""
        return (self.fact("forked") or "").split()

    def abandon_chain(self, epoch: str) -> None:
        """This record writes no more under the chain: somebody else does, too."""
        self.keep_fact("forked", " ".join([*self.forked(), epoch]))
        self._connection.execute("UPDATE chains SET writable = 0 WHERE epoch = ?", (epoch,))
        self._connection.execute(
            "INSERT OR REPLACE INTO meta VALUES ('epoch_reason', 'written twice')"
        )
