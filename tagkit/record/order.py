"""In which order events count, whatever a wild clock said.

Events are ordered by their *effective* clock, then their own, then site, station, epoch and
sequence. The effective clock is the event's own, except that an event can't be later than one
known to come after it: its successor in the chain, or an event that cites it in ``after``. So
a clock that stood in the year 2099 for a day loses as soon as the same station writes with a
sane one, on every copy of the record alike. Events pulled back together keep their own order.

Only stations of its own site pull an event back by citing it: whoever else could cite would
give the events of others any date.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

from tagkit.record.clock import TOLERANCE_MS, WILD_JUMP_MS, reading, tick
from tagkit.record.envelope import Event, from_bytes, split_id
from tagkit.record.store import Connection


@dataclass(frozen=True)
class Pulled:
    """An event whose effective clock was lowered."""

    n: int
    event: Event
    old: int
    new: int
    apart: bool


def next_clock(
    connection: Connection, now: int, write_heads: Callable[[], None], latest: int | None = None
) -> tuple[int, tuple[str, ...]]:
    """The clock value of an event written now, and the events it must cite in ``after``.

    Normally the clock goes on after everything in the record, also when the computer's clock
    was set back. Only where the record leaps over the present time by more than a day, the
    events beyond were written with a wrong date: the clock returns, and they are cited. But not
    where more was recorded beyond than fits between the leap and the present time: then the leap
    was a pause, and the clock was set back to before its end. For that the
    heads of the chains must be up to date, which ``write_heads`` sees to. ``now`` is the clock
    value of the present time, ``latest`` the latest effective clock of the record where the
    caller knows it.
    """
    if latest is None:
        row = connection.execute("SELECT max(effective) FROM events WHERE apart = 0").fetchone()
        latest = row[0] or 0
    limit = now + reading(TOLERANCE_MS)
    if latest <= limit:
        return tick(latest, now), ()
    before, beyond = (
        connection.execute(
            f"SELECT {what} FROM events WHERE apart = 0 AND {where}", (limit,)
        ).fetchone()[0]
        for what, where in (
            ("max(effective)", "effective <= ?"),
            ("min(effective)", "effective > ?"),
        )
    )
    if before is None or (beyond - before) >> 16 <= WILD_JUMP_MS:
        return tick(latest, now), ()
    if not _came_back(connection, limit) and _lasted_longer(connection, limit, limit - before):
        return tick(latest, now), ()
    # One step is left free below the new event for the ones that are pulled back under it.
    clock = tick(before + 1, now)
    write_heads()
    rows = connection.execute(
        "SELECT c.epoch, c.head_sequence FROM chains c JOIN events e "
        "ON e.chain = c.chain AND e.sequence = c.head_sequence "
        "WHERE e.apart = 0 AND e.effective >= ? ORDER BY c.name",
        (clock,),
    ).fetchall()
    return clock, tuple(f"{epoch}-{sequence}" for epoch, sequence in rows)


def _came_back(connection: Connection, limit: int) -> bool:
    """Whether this site has written at the present time after what is dated beyond it: that is
    what others wrote then, whom only their own site can pull back."""
    last, beyond = connection.execute(
        "SELECT (SELECT iif(e.effective <= ?1, e.n, 0) FROM events e JOIN chains c "
        "ON c.chain = e.chain WHERE c.site = (SELECT value FROM meta WHERE name = 'site') "
        "ORDER BY e.n DESC LIMIT 1), "
        "(SELECT min(n) FROM events WHERE apart = 0 AND effective > ?1)",
        (limit,),
    ).fetchone()
    return bool(last and last > beyond)


def _lasted_longer(connection: Connection, beyond: int, than: int) -> bool:
    """Whether what was recorded beyond a clock value took longer, without pauses of a day."""
    lasted, last = 0, None
    for (effective,) in connection.execute(
        "SELECT effective FROM events WHERE apart = 0 AND effective > ? ORDER BY effective",
        (beyond,),
    ):
        if last is not None and effective - last <= reading(WILD_JUMP_MS):
            lasted += effective - last
            if lasted > than:
                return True
        last = effective
    return False


def effective_on_arrival(connection: Connection, event: Event, chain: int | None = None) -> int:
    """The effective clock of an event that arrives after others that already cite it.

    Who cites a later event of the chain comes after this one too. With ``chain``, later events
    of the chain may be here already, and this one comes before the first of them.
    """
    effective = event.clock
    cited = connection.execute(
        "SELECT min(e.effective) FROM cites r JOIN events e ON e.n = r.n "
        "JOIN chains c ON c.chain = e.chain "
        "WHERE r.epoch = ? AND r.sequence >= ? AND c.site = ?",
        (event.epoch, event.sequence, event.site),
    ).fetchone()[0]
    if cited is not None:
        effective = latest_before(event.clock, cited, 0, False, True)
    later = (
        chain
        and connection.execute(
            "SELECT effective, clock FROM events WHERE chain = ? AND sequence > ? "
            "ORDER BY sequence LIMIT 1",
            (chain, event.sequence),
        ).fetchone()
    )
    if later:
        bound = latest_before(event.clock, later[0], later[1], later[1] > later[0], False)
        effective = min(effective, bound)
    return effective


def latest_before(clock: int, later: int, later_clock: int, later_pulled: bool, cited: bool) -> int:
    """The effective clock of an event that comes before another.

    ``clock`` is its own, ``later`` the effective clock of the other one, ``later_clock`` that
    one's own, ``later_pulled`` whether the two differ, ``cited`` whether the other one only
    cites it. Events of a chain that are pulled back together share one effective clock and
    keep the order of their own.
    """
    if clock < later:
        return clock
    if later_pulled and clock < later_clock and not cited:
        return later
    return later - 1


def pull_back(connection: Connection, chain: int, event: Event) -> Iterator[Pulled]:
    """Lowers the effective clocks of all events that come before ``event``; yields each."""
    start = (event.effective, event.clock, event.clock > event.effective, False)
    waiting = [(chain, event.sequence - 1, *start)]
    waiting += _cited(connection, event)
    while waiting:
        where, sequence, later, later_clock, later_pulled, cited = waiting.pop()
        rows = connection.execute(
            "SELECT n, clock, effective, apart, raw FROM events "
            "WHERE chain = ? AND sequence <= ? ORDER BY sequence DESC",
            (where, sequence),
        )
        lowered = []
        for n, clock, effective, apart, raw in rows:
            bound = latest_before(clock, later, later_clock, later_pulled, cited)
            if bound >= effective:
                break
            lowered.append((n, raw, effective, bound, bool(apart)))
            later, later_clock, later_pulled, cited = bound, clock, clock > bound, False
        for n, raw, old, new, was_apart in lowered:
            connection.execute("UPDATE events SET effective = ? WHERE n = ?", (new, n))
            found = replace(from_bytes(bytes(raw)), effective=new)
            waiting += _cited(connection, found)
            yield Pulled(n, found, old, new, was_apart)


def _cited(connection: Connection, event: Event) -> list[tuple[int, int, int, int, bool, bool]]:
    found = []
    for cited in event.after:
        parts = split_id(cited)
        row = (
            parts
            and connection.execute(
                "SELECT chain FROM chains WHERE epoch = ? AND site = ?", (parts[0], event.site)
            ).fetchone()
        )
        if parts and row:
            found.append((row[0], parts[1], event.effective, event.clock, False, True))
    return found
