"""Checking one chain: links, signatures, order, and the columns kept beside the bytes."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from tagkit.record.envelope import NO_EVENT, Event, MalformedEvent, from_bytes, hash_of, split_id
from tagkit.record.folder import understood
from tagkit.record.journal import cancels, find_event, own_tags
from tagkit.record.keys import epoch_of, signed_by
from tagkit.record.order import latest_before
from tagkit.record.store import Connection

Parts = tuple[str, str, str]
"""kind, where and text of a finding."""


@dataclass
class ChainCheck:
    """What checking a chain gave."""

    site: str
    station: str
    epoch: str
    whole: bool = True
    """Whether all of the chain is meant to be here, not only what followed assets need."""
    last: int = 0
    """Sequence of the last event that is there and rightly signed."""
    findings: list[Parts] = field(default_factory=list)
    hashes: dict[int, str] = field(default_factory=dict)
    """Of the sequences asked for."""
    mentioned: dict[str, int] = field(default_factory=dict)
    """The last event of each chain that this one's events refer to."""


@dataclass
class Expected:
    """What the indexes must hold, as sums of :func:`index_mark`."""

    site: str
    """Whose record this is."""
    followed: frozenset[str] = frozenset()
    """The assets of which every event is here, also those of parted chains."""
    tags: Counter[str] = field(default_factory=Counter)
    aside: int = 0
    voids: int = 0
    cites: int = 0


@dataclass(frozen=True, slots=True)
class _Row:
    place: int
    event: Event | None
    hash: str
    valid: bool


def check_chain(
    connection: Connection,
    chain: tuple[Any, ...],
    wanted: set[int],
    expected_index: Expected,
    step: Callable[[int], None],
) -> ChainCheck:
    """Checks the chain of a row of ``chains``.

    ``wanted`` are sequences whose hashes are to be given back. Into ``expected_index`` goes
    what the indexes must hold.
    """
    number, site, station, epoch, key, head, head_hash, whole = chain
    check = ChainCheck(site, station, epoch, bool(whole))
    if epoch_of(bytes(key)) != epoch:
        check.findings.append(
            ("changed", f"{epoch}, station “{station}”", "its public key is not the epoch's")
        )
    odd = False
    expected, previous = 1, NO_EVENT
    order = _Order(connection, check)
    for n, row, columns in _rows(connection, number, site, station, epoch, bytes(key)):
        step(1)
        event = row.event
        if event is None or not row.valid:
            odd = True
            continue
        if not whole and row.place > expected:
            # What stands between concerns no asset that is followed here.
            expected, previous = row.place, event.previous
        odd |= row.place != expected or event.sequence != expected or event.previous != previous
        expected, previous = expected + 1, row.hash
        if event.sequence in wanted:
            check.hashes[event.sequence] = row.hash
        check.last = max(check.last, event.sequence)
        _mention(check, event)
        kind, clock, effective, apart = columns
        if (kind, clock) != (event.kind, event.clock):
            check.findings.append(
                ("index differs", event.id, "the columns beside the event say otherwise than it")
            )
        order.next(event, effective)
        for parts in {parts for one in event.after if (parts := split_id(one))}:
            expected_index.cites += index_mark(*parts, n)
        if not apart:
            _expect(connection, expected_index, event, n, effective, bool(whole))
    order.end()
    if odd or head != check.last or (check.last and head_hash != previous):
        rows = [row for _, row, _ in _rows(connection, number, site, station, epoch, bytes(key))]
        check.findings += _explain(check, rows, head)
    return check


def _rows(
    connection: Connection, number: int, site: str, station: str, epoch: str, key: bytes
) -> Iterator[tuple[int, _Row, tuple[str, int, int, int]]]:
    rows = connection.execute(
        "SELECT n, sequence, raw, signature, kind, clock, effective, apart FROM events "
        "WHERE chain = ? ORDER BY sequence",
        (number,),
    )
    for n, place, raw, signature, *columns in rows:
        raw, signature = bytes(raw), bytes(signature)
        event = None
        try:
            event = from_bytes(raw, signature)
        except MalformedEvent:
            valid = False
        else:
            valid = (event.site, event.station, event.epoch) == (
                site, station, epoch,
            ) and signed_by(key, raw, signature)  # fmt: skip
        yield n, _Row(place, event, hash_of(raw), valid), tuple(columns)


def _mention(check: ChainCheck, event: Event) -> None:
    for identity in (*event.seen.values(), *event.after):
        parts = split_id(identity)
        if parts and parts[1] > check.mentioned.get(parts[0], 0):
            check.mentioned[parts[0]] = parts[1]


class _Order:
    """Checks the effective clocks, each of which follows from the ones after it."""

    def __init__(self, connection: Connection, check: ChainCheck) -> None:
        self._connection = connection
        self._check = check
        self._cited: dict[int, int] = dict(
            connection.execute(
                "SELECT r.sequence, min(e.effective) FROM cites r JOIN events e ON e.n = r.n "
                "JOIN chains c ON c.chain = e.chain "
                "WHERE r.epoch = ? AND c.site = ? GROUP BY r.sequence",
                (check.epoch, check.site),
            ).fetchall()
        )
        self._before: tuple[Event, int] | None = None

    def next(self, event: Event, effective: int) -> None:
        """The next event of the chain."""
        pulled = event.clock > effective
        self._settle((effective, event.clock, pulled), event.sequence)
        self._before = (event, effective)

    def end(self) -> None:
        """No event is left; who cites one that is yet to come comes after the last one."""
        self._settle(None, None)

    def _settle(self, later: tuple[int, int, bool] | None, until: int | None) -> None:
        """``until``: the next event that is here; who cites one between the two, which concerns
        nothing that is followed here, comes after the first."""
        if self._before is None:
            return
        event, effective = self._before
        should = event.clock
        if later:
            should = min(should, latest_before(event.clock, *later, False))
        for sequence, cited in self._cited.items():
            if sequence >= event.sequence and (until is None or sequence < until):
                should = min(should, latest_before(event.clock, cited, 0, False, True))
        if should != effective:
            self._check.findings.append(
                ("index differs", event.id, "its place in the order is not what its clock gives")
            )


def _expect(
    connection: Connection, expected: Expected, event: Event, n: int, effective: int, whole: bool
) -> None:
    if event.kind in _WITH_A_MEANING:
        event = understood(event)
    tags = own_tags(event, expected.site)
    if event.kind == "voided" and event.known and isinstance(event.body["event"], str):
        parts = split_id(event.body["event"])
        target = _readable(connection, parts) if parts else None
        if target is None or cancels(event, target):
            tags += own_tags(target, expected.site) if target else []
            expected.voids += index_mark(*parts, n) if parts else 0
    for tag in dict.fromkeys(tags):
        if whole or tag in expected.followed:
            expected.tags[tag] += index_mark(effective, event.clock, n)
        else:
            expected.aside += index_mark(tag, n)


_WITH_A_MEANING = ("voided", "authorised")
"""Kinds whose body says under what else they are found."""


def _readable(connection: Connection, parts: tuple[str, int]) -> Event | None:
    """An event that another one cancels; one that can't be read is found by itself."""
    try:
        return find_event(connection, *parts)
    except MalformedEvent:
        return None


def index_mark(*entry: object) -> int:
    """A number for an entry of an index; the sums are compared."""
    return hash(entry)


def _explain(check: ChainCheck, rows: list[_Row], head: int) -> list[Parts]:
    """What was done to a chain that is not as it was written."""
    findings: list[Parts] = []
    valid = {row.event.sequence: row for row in rows if row.event and row.valid}
    top = max(valid, default=0)
    there = set(valid)
    for row in rows:
        if row.valid:
            continue
        where = f"{check.epoch}-{row.place}, station “{check.station}”"
        if row.place in valid or row.place > max(top, head):
            findings.append(("inserted", where, "the station did not sign this event"))
        else:
            there.add(row.place)
            findings.append(("changed", where, "the event is not the one that the station signed"))
    findings += _moved(check, rows)
    last = max([head, *there])
    for first, end in _gaps(there if check.whole else there | set(range(1, last)), last):
        ids = f"{check.epoch}-{first}" + (f" to {check.epoch}-{end}" if end > first else "")
        kind = "cut off" if end == last else "removed"
        findings.append((kind, f"{ids}, station “{check.station}”", "missing here"))
    for sequence, row in sorted(valid.items()):
        before = valid.get(sequence - 1)
        named = row.event.previous if row.event else ""
        if (before and named != before.hash) or (sequence == 1 and named != NO_EVENT):
            findings.append(
                ("broken link", f"{check.epoch}-{sequence}, station “{check.station}”",
                 "it was written after another event than the one before it")
            )  # fmt: skip
    if not findings:
        text = (
            "an event was added past the end that is kept"
            if head < top
            else "the end that is kept of it is not its last event"
        )
        findings.append(("inserted" if head < top else "index differs", check.epoch, text))
    return findings


def _moved(check: ChainCheck, rows: list[_Row]) -> list[Parts]:
    standing = [(row.place, row.event.sequence) for row in rows if row.event and row.valid]
    sequences = [sequence for _, sequence in standing]
    if sequences == sorted(set(sequences)):
        displaced = [] if any(not row.valid for row in rows) else standing
        missing = set(range(1, max(sequences, default=0) + 1)) - set(sequences)
        displaced = [] if missing else displaced
    else:
        displaced = standing
    return [
        ("reordered", f"{check.epoch}-{sequence}, station “{check.station}”",
         f"stands in place {place}")
        for place, sequence in displaced
        if place != sequence
    ]  # fmt: skip


def _gaps(there: set[int], last: int) -> Iterator[tuple[int, int]]:
    first = None
    for sequence in range(1, last + 2):
        if sequence <= last and sequence not in there:
            first = sequence if first is None else first
        elif first is not None:
            yield first, sequence - 1
            first = None
