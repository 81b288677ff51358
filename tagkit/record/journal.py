"""Adding events to the journal, in a transaction that the caller has begun."""

from __future__ import annotations

from dataclasses import replace

from tagkit.record.clock import TOLERANCE_MS, reading
from tagkit.record.envelope import Event, split_id
from tagkit.record.folder import EVENT_COLUMNS, Folder, read_event
from tagkit.record.order import effective_on_arrival, pull_back
from tagkit.record.store import Connection

PERSON_MARK = "@"
"""In the index by asset a person stands as ``@CODE``."""


class Journal:
    """The journal as one transaction sees it."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self.folder = Folder(connection)
        row = connection.execute("SELECT max(n) FROM events").fetchone()
        self._n: int = row[0] or 0
        self._heads: dict[int, int] = {}

    def add_own(self, chain: int, event: Event) -> Event:
        """Adds an event written here; its clock is after everything known, so it is effective."""
        return self._add(chain, event, apart=False, own=True)

    def add_foreign(self, chain: int, event: Event, now_ms: int) -> Event:
        """Adds an event received from elsewhere; set apart if its clock is wild."""
        event = replace(event, effective=effective_on_arrival(self._connection, event))
        apart = event.effective > reading(now_ms + TOLERANCE_MS)
        return self._add(chain, event, apart=apart, own=False)

    def _add(self, chain: int, event: Event, *, apart: bool, own: bool) -> Event:
        connection = self._connection
        self._n += 1
        connection.execute(
            "INSERT INTO events VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
            (
                self._n, chain, event.sequence, event.kind, event.clock, event.effective,
                int(apart), event.raw, event.signature,
            ),
        )  # fmt: skip
        n = self._n
        for cited in event.after:
            if parts := split_id(cited):
                connection.execute("INSERT OR IGNORE INTO cites VALUES (?, ?, ?)", (*parts, n))
        before = self._head_effective(chain, event.sequence)
        self._heads[chain] = event.effective
        if not apart:
            event = self._index(n, event, own=own)
        if before >= event.effective or event.after:
            for pulled in pull_back(connection, chain, event):
                self._heads.clear()
                if not pulled.apart:
                    self._move(pulled.n, pulled.event, pulled.old)
        return event

    def _head_effective(self, chain: int, sequence: int) -> int:
        if chain in self._heads:
            return self._heads[chain]
        row = self._connection.execute(
            "SELECT effective FROM events WHERE chain = ? AND sequence = ?", (chain, sequence - 1)
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

    def _index(self, n: int, event: Event, *, own: bool) -> Event:
        """Enters the event under its assets and folds it in."""
        target = self._target(event)
        if target:
            self._connection.execute(
                "INSERT OR IGNORE INTO voids VALUES (?, ?, ?)",
                (target.epoch, target.sequence, n),
            )
        elif event.kind == "voided" and event.known and (parts := _target_id(event)):
            self._connection.execute("INSERT OR IGNORE INTO voids VALUES (?, ?, ?)", (*parts, n))
        tags = self._tags(event, target)
        for tag in tags:
            self._enter(tag, event, n)
        if not own:
            event = self._meet_voids(event)
        moment = event.moment
        for tag in tags:
            if tag.startswith(PERSON_MARK):
                continue
            if target and tag in target.tags:
                self.folder.refold(tag, min(event.effective, target.effective))
            else:
                self.folder.take(tag, event, moment)
        return event

    def _enter(self, tag: str, event: Event, n: int) -> None:
        self._connection.execute(
            "INSERT OR IGNORE INTO event_tags VALUES (?, ?, ?, ?)",
            (tag, event.effective, event.clock, n),
        )

    def _meet_voids(self, event: Event) -> Event:
        """An event may arrive after the one that voids it."""
        rows = self._connection.execute(
            "SELECT e.n, e.effective, e.clock FROM voids v JOIN events e ON e.n = v.n "
            "WHERE v.epoch = ? AND v.sequence = ?",
            (event.epoch, event.sequence),
        ).fetchall()
        for n, effective, clock in rows:
            for tag in self._tags(event, None):
                self._connection.execute(
                    "INSERT OR IGNORE INTO event_tags VALUES (?, ?, ?, ?)",
                    (tag, effective, clock, n),
                )
                if not tag.startswith(PERSON_MARK):
                    self.folder.refold(tag, min(event.effective, effective))
        return replace(event, voided=True) if rows else event

    def _move(self, n: int, event: Event, old: int) -> None:
        """Takes an event to its new place in the order."""
        event = read_event(event.raw, event.signature, event.effective)
        for tag in self._tags(event, self._target(event)):
            self._connection.execute(
                "DELETE FROM event_tags WHERE tag = ? AND effective = ? AND clock = ? AND n = ?",
                (tag, old, event.clock, n),
            )
            self._enter(tag, event, n)
            if not tag.startswith(PERSON_MARK):
                self.folder.refold(tag, min(event.effective, old))

    def _target(self, event: Event) -> Event | None:
        """The event that a ``voided`` cancels, if it is here and not set apart."""
        if event.kind != "voided" or not event.known or not (parts := _target_id(event)):
            return None
        return find_event(self._connection, *parts)

    @staticmethod
    def _tags(event: Event, target: Event | None) -> list[str]:
        return list(dict.fromkeys([*own_tags(event), *(own_tags(target) if target else ())]))


def own_tags(event: Event) -> list[str]:
    """What an event is found under: the assets it concerns, and the person it authorises."""
    tags = [tag for tag in event.tags if not tag.startswith(PERSON_MARK)]
    person = event.body.get("person") if event.kind == "authorised" else None
    return [*tags, f"{PERSON_MARK}{person}"] if isinstance(person, str) else tags


def _target_id(event: Event) -> tuple[str, int] | None:
    target = event.body.get("event")
    return split_id(target) if isinstance(target, str) else None


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
