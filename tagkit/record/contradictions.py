"""What can't all be so: values for the lead to settle, and for the station to have answered."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import partial

from tagkit.record.clock import read_time
from tagkit.record.envelope import Event
from tagkit.record.folder import EVENT_COLUMNS, read_event
from tagkit.record.given_out import registered_by_two
from tagkit.record.journal import site_of
from tagkit.record.schema import ODD
from tagkit.record.state import AssetState
from tagkit.record.store import Connection
from tagkit.record.words import describe, place_words
from tagkit.rules.times import readable_anywhere


@dataclass(frozen=True)
class Contradiction:
    """One thing that the record says in two ways."""

    kind: str
    """several in one place, elsewhere, occupied, same serial, retired in use, unsettled,
    not understood, wild clock, at two sites, registered twice."""
    tags: tuple[str, ...]
    text: str
    remedy: str
    events: tuple[str, ...] = ()
    """Ids of the events that say so, where they are known."""


def change_against_record(
    truck: str,
    battery_in: AssetState | None,
    battery_out: str | None,
    held: Sequence[AssetState],
) -> list[Contradiction]:
    """What the record says otherwise when this change is shown; empty when it agrees.

    ``held`` are the batteries that the record has in the truck. The caller has each answered:
    as shown, or as recorded.
    """
    found = []
    place = battery_in.place if battery_in else None
    if battery_in and place and place["kind"] == "truck" and place["name"] != truck:
        found.append(
            Contradiction(
                "elsewhere",
                (battery_in.tag, place["name"]),
                f"by the record {battery_in.tag} is in {place_words(place)} since "
                f"{readable_anywhere(place['since'])}",
                "Read its number again; if it is right, answer as shown",
                (place["event"],),
            )
        )
    for other in held:
        if (
            other.place
            and other.tag != battery_out
            and (battery_in is None or other.tag != battery_in.tag)
        ):
            found.append(
                Contradiction(
                    "occupied",
                    (truck, other.tag),
                    f"by the record {other.tag} is in truck {truck} since "
                    f"{readable_anywhere(other.place['since'])}",
                    f"Say where {other.tag} is: answer as recorded if it was taken out now",
                    (other.place["event"],),
                )
            )
    if battery_out and held and all(other.tag != battery_out for other in held):
        found.append(
            Contradiction(
                "elsewhere",
                (battery_out, truck),
                f"by the record {battery_out} was not in truck {truck}",
                "Read its number again; if it is right, answer as shown",
            )
        )
    return found


Lead = Callable[[], Contradiction | None]
"""One that was found, to be told; None when it was settled in between."""


def contradictions(connection: Connection, most: int | None = None) -> list[Contradiction]:
    """All that the record holds at present, or the first so many."""
    told = (lead() for lead in _leads(connection))
    return list(itertools.islice((one for one in told if one), most))


def count_contradictions(connection: Connection) -> int:
    """How many there are: without reading a state or an event of any."""
    return len(_leads(connection))


def _leads(connection: Connection) -> list[Lead]:
    """What is found by indexes and by words in the states, which cost little beside reading
    thousands of states."""
    return [
        *_several_in_one_place(connection),
        *_same_serial(connection),
        *_by_state(connection),
        *_wild_clocks(connection),
        *_between_sites(connection),
    ]


def _states(connection: Connection, tags: Sequence[str]) -> list[AssetState]:
    """Those of a few assets, in the order of their numbers."""
    marks = ", ".join("?" * len(tags))
    rows = connection.execute(
        f"SELECT state FROM assets WHERE tag IN ({marks}) ORDER BY tag", tags
    ).fetchall()
    return [AssetState.from_json(row[0]) for row in rows]


def _grouped(rows: Iterable[tuple[str, str]]) -> list[tuple[str, list[str]]]:
    """Those that stand under the same word, where there are several."""
    groups: dict[str, list[str]] = {}
    for word, tag in rows:
        groups.setdefault(word, []).append(tag)
    return [(word, tags) for word, tags in groups.items() if len(tags) > 1]


def _bears(word: str) -> str:
    """Whether a state's text has this at its outermost: what stands at its default is left out."""
    return f"instr(state, '\"{word}\":') > 0"


# Only batteries have a place; one in words holds as many as are set there.
_IN_TRUCK_OR_CHARGER = "place BETWEEN 'C-' AND 'T.' AND place GLOB '[CT]-*-*-?'"


def _several_in_one_place(connection: Connection) -> list[Lead]:
    rows = connection.execute(
        "SELECT place, tag FROM assets INDEXED BY assets_by_place "
        f"WHERE {_IN_TRUCK_OR_CHARGER} ORDER BY place, tag"
    )
    return [partial(_tell_several, connection, name, tags) for name, tags in _grouped(rows)]


def _tell_several(connection: Connection, name: str, tags: list[str]) -> Contradiction | None:
    held = [
        state
        for state in _states(connection, tags)
        if state.place
        and state.place["name"] == name
        and state.place["kind"] in ("truck", "charger")
    ]
    if len(held) < 2:
        return None
    kind = held[0].place["kind"] if held[0].place else ""
    return Contradiction(
        "several in one place",
        (name, *(state.tag for state in held)),
        f"{kind} {name} can't hold {' and '.join(state.tag for state in held)} at once",
        "Look which one is there, and record where the others are",
        tuple(state.place["event"] for state in held if state.place),
    )


def _same_serial(connection: Connection) -> list[Lead]:
    rows = connection.execute(
        "SELECT kind || maker_serial, tag FROM assets WHERE maker_serial IN "
        "(SELECT maker_serial FROM assets INDEXED BY assets_by_serial "
        "WHERE maker_serial IS NOT NULL GROUP BY maker_serial HAVING count(*) > 1) "
        f"AND {_bears('registered_at')} AND NOT {_bears('retired_at')} ORDER BY tag"
    )
    return [partial(_tell_serial, connection, tags) for _, tags in _grouped(rows)]


def _tell_serial(connection: Connection, tags: list[str]) -> Contradiction | None:
    group = [state for state in _states(connection, tags) if state.retired_at is None]
    if len(group) < 2:
        return None
    return Contradiction(
        "same serial",
        tuple(state.tag for state in group),
        f"{' and '.join(state.tag for state in group)} have the same maker's serial "
        f"{group[0].maker_serial}",
        "Read the serials on both, and amend the wrong one",
    )


def _by_state(connection: Connection) -> list[Lead]:
    rows = connection.execute(
        f"SELECT tag, {_bears('retired_at')} AND {_IN_TRUCK_OR_CHARGER}, "
        f"{_bears('unsettled')}, {_bears('unknown_kinds')} "
        f"FROM assets INDEXED BY assets_odd WHERE {ODD} ORDER BY tag"
    )
    return [
        partial(tell, connection, tag)
        for tag, *odd in rows
        for tell, found in zip((_tell_retired, _tell_unsettled, _tell_unknown), odd, strict=True)
        if found
    ]


def _tell_retired(connection: Connection, tag: str) -> Contradiction | None:
    for state in _states(connection, [tag]):
        if state.retired_at and state.place and state.place["kind"] in ("truck", "charger"):
            return Contradiction(
                "retired in use",
                (tag, state.place["name"]),
                f"{tag} is retired, yet it is in {place_words(state.place)}",
                "Take it out, or have the retirement undone",
                (state.place["event"],),
            )
    return None


def _tell_unsettled(connection: Connection, tag: str) -> Contradiction | None:
    for state in _states(connection, [tag]):
        if state.unsettled:
            return Contradiction(
                "unsettled",
                (tag,),
                f"what is stamped on {tag} differs from its sheet",
                "Settle which is right with “tagkit marry” or “tagkit amend”",
            )
    return None


def _tell_unknown(connection: Connection, tag: str) -> Contradiction | None:
    for state in _states(connection, [tag]):
        if state.unknown_kinds:
            return Contradiction(
                "not understood",
                (tag,),
                f"{tag} has entries this program does not understand: "
                + ", ".join(state.unknown_kinds),
                "Update tagkit on this computer",
            )
    return None


def _wild_clocks(connection: Connection) -> list[Lead]:
    rows = connection.execute(
        "SELECT c.site, c.station, e.chain FROM events e INDEXED BY events_apart "
        "JOIN chains c ON c.chain = e.chain WHERE e.apart = 1 GROUP BY e.chain ORDER BY e.chain"
    )
    chains: dict[tuple[str, str], list[int]] = {}
    for site, station, chain in rows:
        chains.setdefault((site, station), []).append(chain)
    return [partial(_tell_wild, connection, *whose, found) for whose, found in chains.items()]


def _tell_wild(
    connection: Connection, site: str, station: str, chains: list[int]
) -> Contradiction | None:
    rows = connection.execute(
        "SELECT e.raw, e.signature, e.effective, 0 FROM events e INDEXED BY events_apart "
        f"WHERE e.apart = 1 AND e.chain IN ({', '.join('?' * len(chains))}) "
        "ORDER BY e.chain, e.sequence",
        chains,
    ).fetchall()
    events = [read_event(*row) for row in rows]
    if not events:
        return None
    return Contradiction(
        "wild clock",
        tuple(sorted({tag for event in events for tag in event.tags})),
        f"the clock of station “{station}” of {site} is ahead: {len(events)} of its entries are "
        "set apart until their time has come or the clock is put right",
        "Put the clock of that station right and record something there",
        tuple(event.id for event in events),
    )


LEAST_TRANSPORT = timedelta(hours=1)
"""Nothing that weighs a tonne is loaded, driven to another site and unloaded in less."""


def _between_sites(connection: Connection) -> list[Lead]:
    """What two sites say of one asset: at both at once, or registered by both.

    These are told at once: only the events themselves say whether there was time for a transport.
    """
    own = site_of(connection)
    found = []
    if connection.execute("SELECT 1 FROM chains WHERE site <> ? LIMIT 1", (own,)).fetchone():
        rows = connection.execute(
            f"SELECT tag FROM assets WHERE place IS NOT NULL AND NOT ({_TOLD_HERE}) "
            f"AND {_BY_TWO_SITES} ORDER BY tag"
        ).fetchall()
        for (tag,) in rows:
            found += _at_two_sites(connection, tag)
    return [partial(_told, one) for one in found + _registered_twice(connection)]


def _told(one: Contradiction) -> Contradiction:
    return one


EPOCH_LENGTH = 16
"""Letters in the name of an epoch."""

# A battery of this site's own, placed by one of its own stations: nearly all of them. The place's
# first word is the event that told it, and ends with a chain's epoch; what is written otherwise
# is not passed over.
_PLACED = '"place":{"event":"'
_TOLD_HERE = (
    "substr(tag, 3, instr(substr(tag, 3), '-') - 1) = (SELECT value FROM meta WHERE name = 'site') "
    f"AND instr(state, '{_PLACED}') > 0 "
    f"AND substr(state, instr(state, '{_PLACED}') + {len(_PLACED)}, {EPOCH_LENGTH}) IN "
    "(SELECT epoch FROM chains WHERE site = (SELECT value FROM meta WHERE name = 'site'))"
)


def _at_two_sites(connection: Connection, tag: str) -> list[Contradiction]:
    last: Event | None = None
    for event in _placements(connection, tag):
        if last is None or event.site == last.site:
            last = event
            continue
        place = event.body.get("place") or {}
        if place.get("name") == f"site {last.site}":
            return []
        if read_time(last.moment) - read_time(event.moment) >= LEAST_TRANSPORT:
            return []
        return [
            Contradiction(
                "at two sites",
                (tag,),
                f"{tag} was recorded at site {event.site} ({describe(event)}) and at site "
                f"{last.site} ({describe(last)})",
                "Look which site has it, and record where it is; one of them read another number",
                (event.id, last.id),
            )
        ]
    return []


_LAST_PLACEMENTS = (
    "FROM event_tags t JOIN events e ON e.n = t.n JOIN chains c ON c.chain = e.chain "
    "WHERE t.tag = {tag} AND e.kind IN ('changed', 'moved', 'seen_at', 'charge_started') "
    "ORDER BY t.effective DESC, t.clock DESC, c.name DESC, e.sequence DESC LIMIT 30"
)
_BY_TWO_SITES = (
    "(SELECT count(DISTINCT site) FROM "
    f"(SELECT c.site {_LAST_PLACEMENTS.format(tag='assets.tag')})) > 1"
)


def _placements(connection: Connection, tag: str) -> Iterator[Event]:
    """The last events that say where an asset is, newest first."""
    rows = connection.execute(
        f"SELECT {EVENT_COLUMNS} {_LAST_PLACEMENTS.format(tag='?')}", (tag,)
    ).fetchall()
    for row in rows:
        event = read_event(*row)
        if event.known and not event.voided:
            yield event


def _registered_twice(connection: Connection) -> list[Contradiction]:
    """A number that two records gave out, as two restored from one backup may."""
    found = []
    for tag in registered_by_two(connection):
        events = _registrations(connection, tag)
        if len({event.epoch for event in events}) > 1:
            found.append(
                Contradiction(
                    "registered twice",
                    (tag,),
                    f"the number {tag} was given to two: {' and '.join(map(describe, events))}",
                    "Find both, and give one of them a new number and label",
                    tuple(event.id for event in events),
                )
            )
    return found


def _registrations(connection: Connection, tag: str) -> list[Event]:
    """Those that stand, in chains beside one that is no longer written to here."""
    rows = connection.execute(
        f"SELECT {EVENT_COLUMNS} FROM event_tags t JOIN events e ON e.n = t.n "
        "JOIN chains c ON c.chain = e.chain "
        "WHERE t.tag = ? AND e.kind = 'registered' AND e.apart = 0 AND EXISTS "
        "(SELECT 1 FROM chains o "
        "WHERE o.site = c.site AND o.epoch <> c.epoch AND o.writable = 0) ORDER BY e.n",
        (tag,),
    ).fetchall()
    events = [read_event(*row) for row in rows]
    return [event for event in events if event.known and not event.voided]
