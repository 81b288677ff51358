"""Checking what is kept beside the journal: the index by asset, states and checkpoints."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from tagkit.assets.tag import exact_tag
from tagkit.record.chain_check import Expected, Parts, index_mark
from tagkit.record.envelope import Event, MalformedEvent
from tagkit.record.fold import after, empty
from tagkit.record.folder import EVENT_COLUMNS, indexed, read_event
from tagkit.record.journal import PERSON_MARK
from tagkit.record.state import STATE_FIELDS, AssetState
from tagkit.record.store import Connection


def check_index(connection: Connection, expected: Expected) -> Iterator[Parts]:
    """Compares the indexes with what checking the chains gave."""
    found: Counter[str] = Counter()
    for tag, effective, clock, n in connection.execute(
        "SELECT tag, effective, clock, n FROM event_tags"
    ):
        found[tag] += index_mark(effective, clock, n)
    for tag in sorted(expected.tags.keys() | found.keys()):
        if expected.tags[tag] != found[tag]:
            yield "index differs", tag, "the list of its events is not what the events give"
    for name, columns, wanted in (
        ("voids", "epoch, sequence, n", expected.voids),
        ("cites", "epoch, sequence, n", expected.cites),
        ("aside", "tag, n", expected.aside),
    ):
        rows = connection.execute(f"SELECT {columns} FROM {name}")
        if sum(index_mark(*row) for row in rows) != wanted:
            yield "index differs", name, "the list is not what the events give"
    lost = connection.execute(
        "SELECT count(*) FROM events WHERE chain NOT IN (SELECT chain FROM chains)"
    ).fetchone()[0]
    if lost:
        yield "removed", "chains", f"the chain of {lost} event(s) is missing"


def check_states(connection: Connection) -> Iterator[Parts]:
    """Folds every asset from its events and compares.

    All assets in one pass through the order, so that an event that concerns three is read once.
    """
    checkpoints = {
        (tag, effective, clock): text
        for tag, effective, clock, text in connection.execute(
            "SELECT tag, effective, clock, state FROM checkpoints"
        )
    }
    states: dict[str, AssetState] = {}
    keys: dict[str, tuple[int, int]] = {}
    reached: dict[tuple[str, int, int], str] = {}
    unreadable: dict[str, str] = {}
    for tag, event in _in_order(connection):
        if isinstance(event, str):
            unreadable[tag] = event
            continue
        state = after(states.get(tag) or empty(tag), event, event.moment)
        states[tag], keys[tag] = state, (event.effective, event.clock)
        if (at := (tag, event.effective, event.clock)) in checkpoints:
            reached[at] = state.to_json()
    stored = {
        tag: (effective, clock, columns, text)
        for tag, effective, clock, *columns, text in connection.execute(
            "SELECT tag, effective, clock, kind, place, maker_serial, fleet_number, state "
            "FROM assets"
        )
    }
    wrong_on_the_way = {at[0] for at, text in checkpoints.items() if reached.get(at) != text}
    for tag in sorted(states.keys() | stored.keys() | unreadable.keys(), key=str):
        if tag in unreadable:
            yield "state differs", tag, f"one of its events can't be read ({unreadable[tag]})"
            continue
        folded = states.get(tag) or empty(tag)
        yield from _compare(tag, folded, keys.get(tag, (-1, -1)), stored.get(tag))
        if tag in wrong_on_the_way and tag in stored:
            yield "state differs", tag, "a state kept on the way is not what its events give"


def _in_order(connection: Connection) -> Iterator[tuple[str, Event | str]]:
    """Each asset with each of its events, in the order of events; or why one can't be read."""
    rows = connection.execute(
        "SELECT t.tag, t.n FROM event_tags t JOIN events e ON e.n = t.n "
        "JOIN chains c ON c.chain = e.chain WHERE t.tag NOT BETWEEN ? AND ? "
        "ORDER BY t.effective, t.clock, c.name, e.sequence",
        (PERSON_MARK, chr(ord(PERSON_MARK) + 1)),
    )
    read: int | None = None
    event: Event | str = ""
    for tag, n in rows:
        if n != read:
            read = n
            row = connection.execute(
                f"SELECT {EVENT_COLUMNS} FROM events e JOIN chains c ON c.chain = e.chain "
                "WHERE e.n = ?",
                (n,),
            ).fetchone()
            try:
                event = read_event(*row)
            except MalformedEvent as error:
                event = str(error)
        yield tag, event


def check_serials(connection: Connection, site: str) -> Iterator[Parts]:
    """The last number given out of each kind is not before one that is in use."""
    last = dict(connection.execute("SELECT kind, last FROM serials").fetchall())
    used: Counter[str] = Counter()
    for (number,) in connection.execute("SELECT tag FROM assets"):
        tag = exact_tag(str(number))
        if tag and tag.site == site:
            used[tag.kind.value] = max(used[tag.kind.value], tag.serial)
    for kind, serial in used.items():
        if not isinstance(last.get(kind), int) or last[kind] < serial:
            yield "index differs", f"serials, {kind}", "numbers in use count as not given out yet"


def _compare(
    tag: str,
    state: AssetState,
    key: tuple[int, int],
    stored: tuple[int, int, list[str | None], str] | None,
) -> Iterator[Parts]:
    if stored is None:
        yield "state differs", tag, "its state is missing"
        return
    effective, clock, columns, text = stored
    if text != (right := state.to_json()):
        found = state_differences(text, right)
        yield "state differs", tag, f"not what its events give: {found}"
    elif (effective, clock) != key or tuple(columns) != (state.kind, *indexed(state)):
        yield "state differs", tag, "what it is searched by is not what its events give"


def state_differences(text: str, right: str) -> str:
    """Which fields of a kept state are not those of the right one."""
    try:
        kept, state = AssetState.from_json(text), AssetState.from_json(right)
    except (ValueError, TypeError):
        return "unreadable"
    names = [name for name in STATE_FIELDS if getattr(kept, name) != getattr(state, name)]
    return ", ".join(names) or "written differently"
