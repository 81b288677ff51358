"""Checking what is kept beside the journal: the index by asset, states and checkpoints."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from tagkit.assets.tag import exact_tag
from tagkit.record.chain_check import Expected, Parts, index_mark
from tagkit.record.envelope import MalformedEvent
from tagkit.record.fold import after, empty
from tagkit.record.folder import events_of, indexed
from tagkit.record.journal import PERSON_MARK
from tagkit.record.queries import all_tags
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
    """Folds every asset from its events and compares."""
    stored = {
        tag: (effective, clock, columns, text)
        for tag, effective, clock, *columns, text in connection.execute(
            "SELECT tag, effective, clock, kind, place, maker_serial, fleet_number, state "
            "FROM assets"
        )
    }
    tags = set(all_tags(connection)) | stored.keys()
    for tag in sorted(one for one in tags if not str(one).startswith(PERSON_MARK)):
        try:
            yield from _check_one(connection, tag, stored.get(tag))
        except MalformedEvent as error:
            yield "state differs", tag, f"one of its events can't be read ({error})"


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


def _check_one(
    connection: Connection, tag: str, stored: tuple[int, int, list[str | None], str] | None
) -> Iterator[Parts]:
    checkpoints = {
        (effective, clock): text
        for effective, clock, text in connection.execute(
            "SELECT effective, clock, state FROM checkpoints WHERE tag = ?", (tag,)
        ).fetchall()
    }
    state, key = empty(tag), (-1, -1)
    reached: dict[tuple[int, int], str] = {}
    for event in events_of(connection, tag):
        state, key = after(state, event, event.moment), (event.effective, event.clock)
        if key in checkpoints:
            reached[key] = state.to_json()
    if stored is None:
        yield "state differs", tag, "its state is missing"
        return
    effective, clock, columns, text = stored
    if text != state.to_json():
        yield (
            "state differs",
            tag,
            f"not what its events give: {state_differences(text, state.to_json())}",
        )
    elif (effective, clock) != key or tuple(columns) != (state.kind, *indexed(state)):
        yield "state differs", tag, "what it is searched by is not what its events give"
    for at, kept in checkpoints.items():
        if reached.get(at) != kept:
            yield "state differs", tag, "a state kept on the way is not what its events give"
            return


def state_differences(text: str, right: str) -> str:
    """Which fields of a kept state are not those of the right one."""
    try:
        kept, state = AssetState.from_json(text), AssetState.from_json(right)
    except (ValueError, TypeError):
        return "unreadable"
    names = [name for name in STATE_FIELDS if getattr(kept, name) != getattr(state, name)]
    return ", ".join(names) or "written differently"
