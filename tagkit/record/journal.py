"""Adding events to the journal, in a transaction that the caller has begun."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tagkit.record.clock import TOLERANCE_MS, reading
from tagkit.record.envelope import Event, from_bytes, split_id
from tagkit.record.folder import EVENT_COLUMNS, Folder, altered, put_rows, read_event
from tagkit.record.order import effective_on_arrival, pull_back
from tagkit.record.store import Connection

PERSON_MARK = "@"
"""In the index by asset a person stands as ``@CODE``."""


@dataclass(frozen=True)
class Beginning:
    """What whoever writes must know of the record, read in one go."""

    identity: str | None
    """Which file it takes itself for; see store.identity_of."""
    n: int
    """The last row of the journal."""
    latest: int
    """The latest effective clock."""
    apart: bool
    """Whether the time of events that are set apart has come."""
    end: tuple[int, str] | None = None
    """Sequence and hash of the last event of a chain that was asked for, while it may be written
    to."""


def beginning(connection: Connection, now_ms: int, chain: int = 0) -> Beginning:
    """That of the transaction that has just begun; of ``chain`` where it ends."""
    identity, n, latest, apart, sequence, last = connection.execute(
        "SELECT (SELECT value FROM meta WHERE name = 'identity'), "
        "(SELECT max(n) FROM events), (SELECT max(effective) FROM events WHERE apart = 0), "
        "EXISTS (SELECT 1 FROM events WHERE apart = 1 AND effective <= ?), "
        "c.head_sequence, c.head_hash "
        "FROM (SELECT 1) LEFT JOIN chains c ON c.chain = ? AND c.writable = 1",
        (reading(now_ms + TOLERANCE_MS), chain),
    ).fetchone()
    end = None if last is None else (sequence, last)
    return Beginning(identity, n or 0, latest or 0, bool(apart), end)


class Journal:
    """The journal as one transaction sees it."""

    def __init__(
        self,
        connection: Connection,
        n: int | None = None,
        site: str | None = None,
        folder: Folder | None = None,
    ) -> None:
        self._connection = connection
        self.folder = folder or Folder(connection)
        if n is None:
            n = connection.execute("SELECT max(n) FROM events").fetchone()[0] or 0
        self._n: int = n
        self._heads: dict[int, int] = {}
        self._last: dict[int, int] = {}
        self._awaited: dict[str, int] = {}
        self._parted: dict[str, bool] = {}
        self._followed: dict[str, bool] = {}
        self._site = site

    def add_own(self, chain: int, event: Event, *, leaps: bool) -> Event:
        """Adds an event written here; its clock is after everything known, so it is effective.

        ``leaps``: not after everything, its clock has come back from a wrong date.
        """
        if not leaps:
            self._heads[chain] = -1  # whatever stands before it there is earlier
        return self._add(chain, event, apart=False, own=True)

    def put_own(self, chain: int, event: Event) -> None:
        """Adds an event written here after everything known, which cancels and cites nothing and
        was folded in before the lock was taken."""
        self._insert(chain, event, apart=False)
        self._heads[chain] = event.effective
        self._last.pop(chain, None)
        self._enter(self._tags(event, None), event, self._n)

    def add_foreign(self, chain: int, event: Event, now_ms: int) -> Event:
        """Adds an event received from elsewhere; set apart if its clock is wild."""
        if event.sequence <= self._last_awaited(event.epoch) or self._stands_between(chain, event):
            between = chain if self._is_parted(event) else None
            event = altered(event, effective=self.on_arrival(event, between))
        else:
            event = altered(event, effective=event.clock)
        apart = event.effective > reading(now_ms + TOLERANCE_MS)
        return self._add(chain, event, apart=apart, own=False)

    def on_arrival(self, event: Event, between: int | None = None) -> int:
        """The effective clock of an event that comes now; see order.py."""
        return effective_on_arrival(self._connection, event, between)

    def _add(self, chain: int, event: Event, *, apart: bool, own: bool) -> Event:
        self._insert(chain, event, apart=apart)
        return self.place(self._n, chain, event, apart=apart, own=own)

    def _insert(self, chain: int, event: Event, *, apart: bool) -> None:
        self._n += 1
        self._connection.execute(
            "INSERT INTO events VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                self._n, chain, event.sequence, event.kind, event.clock, event.effective,
                int(apart), event.raw, event.signature,
            ),
        )  # fmt: skip

    def place(self, n: int, chain: int, event: Event, *, apart: bool, own: bool) -> Event:
        """Gives an event whose row is there its place in the order and under its assets."""
        connection = self._connection
        for cited in event.after:
            if parts := split_id(cited):
                connection.execute("INSERT OR IGNORE INTO cites VALUES (?, ?, ?)", (*parts, n))
                self._awaited.pop(parts[0], None)
        between = not own and self._is_parted(event) and self._stands_between(chain, event)
        if between:
            self._heads.pop(chain, None)  # it stands before events that are here already
        before = self._head_effective(chain, event.sequence)
        if not between:
            self._heads[chain] = event.effective
        if self._last.get(chain, event.sequence) < event.sequence:
            self._last[chain] = event.sequence
        if not apart:
            event = self._index(n, event, own=own)
        if before >= event.effective or event.after:
            for pulled in pull_back(connection, chain, event):
                self._heads.clear()
                if not pulled.apart:
                    self._move(pulled.n, pulled.event, pulled.old)
        return event

    def _stands_between(self, chain: int, event: Event) -> bool:
        """Whether later events of its chain are here already."""
        if chain not in self._last:
            row = self._connection.execute(
                "SELECT max(sequence) FROM events WHERE chain = ?", (chain,)
            ).fetchone()
            self._last[chain] = row[0] or 0
        return event.sequence <= self._last[chain]

    def _last_awaited(self, epoch: str) -> int:
        """The last event of a chain that others here cite or cancel; few chains have one."""
        if epoch not in self._awaited:
            (cited, cancelled) = self._connection.execute(
                "SELECT (SELECT max(sequence) FROM cites WHERE epoch = ?1), "
                "(SELECT max(sequence) FROM voids WHERE epoch = ?1)",
                (epoch,),
            ).fetchone()
            self._awaited[epoch] = max(cited or 0, cancelled or 0)
        return self._awaited[epoch]

    def _head_effective(self, chain: int, sequence: int) -> int:
        if chain in self._heads:
            return self._heads[chain]
        row = self._connection.execute(
            "SELECT effective FROM events WHERE chain = ? AND sequence < ? "
            "ORDER BY sequence DESC LIMIT 1",
            (chain, sequence),
        ).fetchone()
        return row[0] if row else -1

    def release_apart(self, now_ms: int) -> int:
        """Folds in the events whose time has come or whose clock was put right; how many."""
        rows = self._connection.execute(
            f"SELECT e.n, {EVENT_COLUMNS} FROM events e JOIN chains c ON c.chain = e.chain "
            "WHERE e.apart = 1 AND e.effective <= ? ORDER BY e.effective, e.clock, e.sequence",
            (reading(now_ms + TOLERANCE_MS),),
        ).fetchall()
        for n, *row in rows:
            self._connection.execute("UPDATE events SET apart = 0 WHERE n = ?", (n,))
            self._index(n, read_event(*row), own=False)
        return len(rows)

    def follow(self, tag: str) -> None:
        """Enters events that are here already under an asset that is followed from now on."""
        there = put_aside(self._connection, tag)
        self._followed[tag] = True
        self._connection.execute("DELETE FROM aside WHERE tag = ?", (tag,))
        for n, event in there:
            self._enter([tag], event, n)
            if not tag.startswith(PERSON_MARK):
                self.folder.enter(tag, event)

    def _index(self, n: int, event: Event, *, own: bool) -> Event:
        """Enters the event under its assets and folds it in."""
        meant = self._meant(event)
        target = meant if meant and cancels(event, meant) else None
        if target:
            self._connection.execute(
                "INSERT OR IGNORE INTO voids VALUES (?, ?, ?)",
                (target.epoch, target.sequence, n),
            )
            self._awaited.pop(target.epoch, None)
        elif meant is None and (parts := meant_by(event)):
            self._connection.execute("INSERT OR IGNORE INTO voids VALUES (?, ?, ?)", (*parts, n))
            self._awaited.pop(parts[0], None)
        tags = self._tags(event, target)
        if not own and self._is_parted(event):
            tags = self._set_aside(tags, n)
        self._enter(tags, event, n)
        if not own:
            event = self._meet_voids(event)
        moment = event.moment
        for tag in tags:
            if tag.startswith(PERSON_MARK):
                continue
            if target and tag in target.tags:
                self.folder.cancel(tag, event, target)
            else:
                self.folder.take(tag, event, moment)
        return event

    def _enter(self, tags: Sequence[str], event: Event, n: int) -> None:
        rows = [(tag, event.effective, event.clock, n) for tag in tags]
        put_rows(self._connection, "event_tags", rows)

    def _meet_voids(self, event: Event) -> Event:
        """An event may arrive after the one that voids it."""
        if event.sequence > self._last_awaited(event.epoch):
            return event
        rows = self._connection.execute(
            "SELECT e.n, e.effective, e.clock, e.raw FROM voids v JOIN events e ON e.n = v.n "
            "WHERE v.epoch = ? AND v.sequence = ?",
            (event.epoch, event.sequence),
        ).fetchall()
        voided = False
        for n, effective, clock, raw in rows:
            if not cancels(from_bytes(bytes(raw)), event):
                self._connection.execute("DELETE FROM voids WHERE n = ?", (n,))
                continue
            voided = True
            for tag in self._of_void(n, self._tags(event, None)):
                self._connection.execute(
                    "INSERT OR IGNORE INTO event_tags VALUES (?, ?, ?, ?)",
                    (tag, effective, clock, n),
                )
                if not tag.startswith(PERSON_MARK):
                    self.folder.refold(tag, min(event.effective, effective))
        return altered(event, voided=voided)

    def _move(self, n: int, event: Event, old: int) -> None:
        """Takes an event to its new place in the order."""
        event = read_event(event.raw, event.signature, event.effective)
        tags = self._tags(event, self._target(event))
        if self._is_parted(event):
            tags = self._set_aside(tags, n)
        for tag in tags:
            self._connection.execute(
                "DELETE FROM event_tags WHERE tag = ? AND effective = ? AND clock = ? AND n = ?",
                (tag, old, event.clock, n),
            )
            self._enter([tag], event, n)
            if not tag.startswith(PERSON_MARK):
                self.folder.refold(tag, min(event.effective, old))

    def _target(self, event: Event) -> Event | None:
        """The event that a ``voided`` cancels, if it is here and not set apart."""
        meant = self._meant(event)
        return meant if meant and cancels(event, meant) else None

    def _meant(self, event: Event) -> Event | None:
        """The event that a ``voided`` names, whether or not it cancels it."""
        parts = meant_by(event)
        return find_event(self._connection, *parts) if parts else None

    def _tags(self, event: Event, target: Event | None) -> list[str]:
        if self._site is None:
            self._site = site_of(self._connection)
        named = [*own_tags(event, self._site), *(own_tags(target, self._site) if target else ())]
        return list(dict.fromkeys(named))

    def _is_parted(self, event: Event) -> bool:
        """Whether only a part of the event's chain comes here."""
        if event.epoch not in self._parted:
            row = self._connection.execute(
                "SELECT whole FROM chains WHERE epoch = ?", (event.epoch,)
            ).fetchone()
            self._parted[event.epoch] = bool(row) and not row[0]
        return self._parted[event.epoch]

    def _of_void(self, n: int, tags: list[str]) -> list[str]:
        """Under which of the assets of what it voids an event is found."""
        (parted,) = self._connection.execute(
            "SELECT NOT c.whole FROM events e JOIN chains c ON c.chain = e.chain WHERE e.n = ?",
            (n,),
        ).fetchone()
        return self._set_aside(tags, n) if parted else tags

    def _set_aside(self, tags: list[str], n: int) -> list[str]:
        """Those that are followed here; the others are noted, in case they will be.

        Of an asset that is not followed only some events come. A state folded from some would
        be wrong, so that there is none.
        """
        followed = []
        for tag in tags:
            if tag not in self._followed:
                row = self._connection.execute("SELECT 1 FROM followed WHERE topic = ?", (tag,))
                self._followed[tag] = row.fetchone() is not None
            if self._followed[tag]:
                followed.append(tag)
            else:
                self._connection.execute("INSERT OR IGNORE INTO aside VALUES (?, ?)", (tag, n))
        return followed


def own_tags(event: Event, site: str) -> list[str]:
    """What an event is found under at ``site``: the assets it concerns, and the person it
    authorises. Whom another site authorises has no rights here."""
    tags = [tag for tag in event.tags if not tag.startswith(PERSON_MARK)]
    if event.kind != "authorised" or event.site != site:
        return tags
    person = event.body.get("person")
    return [*tags, f"{PERSON_MARK}{person}"] if isinstance(person, str) else tags


def cancels(void: Event, target: Event) -> bool:
    """Whether ``void`` cancels the event that it means.

    It must name every asset of it, so that whoever follows one of them gets it too; what
    concerns no asset is cancelled by its own site only.
    """
    assets = {tag for tag in target.tags if not tag.startswith(PERSON_MARK)}
    return assets <= set(void.tags) if assets else void.site == target.site


def site_of(connection: Connection) -> str:
    """The site whose record this is."""
    return str(connection.execute("SELECT value FROM meta WHERE name = 'site'").fetchone()[0])


def meant_by(event: Event) -> tuple[str, int] | None:
    """Epoch and sequence of the event that a ``voided`` names; None for other kinds."""
    target = event.body.get("event") if event.known and event.kind == "voided" else None
    return split_id(target) if isinstance(target, str) else None


def put_aside(connection: Connection, tag: str) -> list[tuple[int, Event]]:
    """Row and event of what is here already of an asset that is not followed yet."""
    rows = connection.execute(
        f"SELECT e.n, {EVENT_COLUMNS} FROM aside a JOIN events e ON e.n = a.n "
        "JOIN chains c ON c.chain = e.chain WHERE a.tag = ? ORDER BY a.n",
        (tag,),
    ).fetchall()
    return [(n, read_event(*row)) for n, *row in rows]


def find_event(
    connection: Connection, epoch: str, sequence: int, *, also_apart: bool = False
) -> Event | None:
    """The event with this id, or None."""
    row = connection.execute(
        f"SELECT {EVENT_COLUMNS}, e.apart FROM chains c JOIN events e ON e.chain = c.chain "
        "WHERE c.epoch = ? AND e.sequence = ?",
        (epoch, sequence),
    ).fetchone()
    if row is None or (row[-1] and not also_apart):
        return None
    return read_event(*row[:-1])
