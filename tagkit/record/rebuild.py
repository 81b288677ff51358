"""Making everything that is kept beside the journal anew from the signed events.

States, checkpoints, the list of each asset's events, the place of every event in the order, the
counters of numbers: whatever was damaged there is put right. The events are not touched, and
one that can't be read is left out; ``verify`` names it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

from tagkit.assets.tag import exact_tag
from tagkit.record.chain_check import index_mark
from tagkit.record.clock import milliseconds, system_clock
from tagkit.record.envelope import Event, MalformedEvent, from_bytes, hash_of
from tagkit.record.folder import Folder, understood
from tagkit.record.journal import Journal, site_of
from tagkit.record.queries import all_tags
from tagkit.record.state_check import state_differences
from tagkit.record.store import Connection

Progress = Callable[[int, int], None]


def rebuild(connection: Connection, progress: Progress) -> list[str]:
    """Makes it all anew within a transaction that the caller has begun; a sentence for each
    thing that was otherwise than the events give it."""
    before = _index(connection)
    states = dict(connection.execute("SELECT tag, state FROM assets").fetchall())
    for table in ("event_tags", "voids", "cites", "aside", "checkpoints", "assets"):
        connection.execute(f"DELETE FROM {table}")
    differences = _columns(connection)
    journal = _Arrivals(connection)
    total = connection.execute("SELECT count(*) FROM events").fetchone()[0]
    rows = connection.execute(
        "SELECT n, chain, raw, signature, apart FROM events ORDER BY chain, sequence"
    )
    for done, (n, chain, raw, signature, apart) in enumerate(rows, start=1):
        try:
            event = understood(from_bytes(bytes(raw), bytes(signature)))
        except MalformedEvent:
            continue
        journal.arrive(n, chain, event, bool(apart))
        if done % 500 == 0 or done == total:
            progress(done, total)
    journal.release_apart(milliseconds(system_clock()))
    _fold(connection)
    differences += _serials(connection)
    after = _index(connection)
    differences += [
        _LISTS.get(tag, f"{tag}: the list of its events was not what the events give")
        for tag in sorted(before.keys() | after.keys())
        if before[tag] != after[tag]
    ]
    return differences + _states(connection, states)


class _Arrivals(Journal):
    """Events come as if for the first time, but for their rows, which are there."""

    def arrive(self, n: int, chain: int, event: Event, apart: bool) -> None:
        """One event, after all earlier ones of its chain."""
        connection = self._connection
        effective = connection.execute("SELECT effective FROM events WHERE n = ?", (n,)).fetchone()[
            0
        ]
        event = replace(event, effective=min(effective, self.on_arrival(event)))
        if event.effective != effective:
            connection.execute("UPDATE events SET effective = ? WHERE n = ?", (event.effective, n))
        self.place(n, chain, event, apart=apart, own=False)


def _columns(connection: Connection) -> list[str]:
    """The columns beside the bytes."""
    differences = []
    chains: dict[int, tuple[str, int, str]] = {}
    rows = connection.execute(
        "SELECT e.n, e.chain, e.sequence, e.kind, e.clock, e.raw, c.epoch FROM events e "
        "JOIN chains c ON c.chain = e.chain ORDER BY e.chain, e.sequence"
    )
    wrong = []
    for n, chain, sequence, kind, clock, raw, epoch in rows:
        try:
            event = from_bytes(bytes(raw))
        except (MalformedEvent, TypeError):
            continue
        if (event.kind, event.clock) != (kind, clock):
            wrong.append((event.kind, event.clock, n))
            differences.append(f"{event.id}: the columns beside it said otherwise than it")
        if sequence == event.sequence:
            chains[chain] = (epoch, sequence, hash_of(bytes(raw)))
    for entry in wrong:
        connection.execute("UPDATE events SET kind = ?, clock = ? WHERE n = ?", entry)
    connection.execute("UPDATE events SET effective = clock WHERE effective IS NOT clock")
    for chain, (epoch, sequence, digest) in chains.items():
        # An end that is kept beyond the last event shows that the tail was cut off: it stays.
        row = connection.execute(
            "SELECT head_sequence, head_hash FROM chains WHERE chain = ?", (chain,)
        ).fetchone()
        reads = isinstance(row[0], int) and row[0] > sequence
        if not reads and row != (sequence, digest):
            differences.append(f"{epoch}: the end that was kept of it was not its last event")
            connection.execute(
                "UPDATE chains SET head_sequence = ?, head_hash = ? WHERE chain = ?",
                (sequence, digest, chain),
            )
    return differences


def _fold(connection: Connection) -> None:
    folder = Folder(connection)
    for number, tag in enumerate(all_tags(connection), start=1):
        folder.refold(tag, 0)
        if number % 100 == 0:
            folder.flush()
            folder = Folder(connection)
    folder.flush()


def _serials(connection: Connection) -> list[str]:
    site, used = site_of(connection), Counter[str]()
    for (text,) in connection.execute("SELECT tag FROM assets"):
        tag = exact_tag(text)
        if tag and tag.site == site:
            used[tag.kind.value] = max(used[tag.kind.value], tag.serial)
    last = dict(connection.execute("SELECT kind, last FROM serials").fetchall())
    behind = [
        (kind, serial)
        for kind, serial in used.items()
        if not isinstance(last.get(kind), int) or last[kind] < serial
    ]
    for entry in behind:
        connection.execute("INSERT OR REPLACE INTO serials VALUES (?, ?)", entry)
    return [f"serials, {kind}: numbers in use counted as not given out" for kind, _ in behind]


def _states(connection: Connection, before: dict[str, str]) -> list[str]:
    now = dict(connection.execute("SELECT tag, state FROM assets").fetchall())
    found = []
    for tag in sorted(before.keys() | now.keys(), key=str):
        if before.get(tag) == now.get(tag):
            continue
        if tag not in now:
            found.append(f"{tag}: a state was kept of it that no event gives")
        elif tag not in before:
            found.append(f"{tag}: its state was missing")
        else:
            found.append(f"{tag}: not what its events give: "
                         f"{state_differences(before[tag], now[tag])}")  # fmt: skip
    return found


def _index(connection: Connection) -> Counter[str]:
    marks: Counter[str] = Counter()
    for tag, effective, clock, n in connection.execute(
        "SELECT tag, effective, clock, n FROM event_tags"
    ):
        marks[tag] += index_mark(effective, clock, n)
    for name in ("voids", "cites", "aside"):
        for row in connection.execute(f"SELECT * FROM {name}"):
            marks[name] += index_mark(*row)
    for row in connection.execute("SELECT n, effective FROM events"):
        marks["order"] += index_mark(*row)
    return marks


_LISTS = {
    "voids": "the list of cancelled events was not what the events give",
    "cites": "the list of events that say which they follow was not what the events give",
    "aside": "the list of assets that are not followed was not what the events give",
    "order": "the order of the events was not what their clocks give",
}
