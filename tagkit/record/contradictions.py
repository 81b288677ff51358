"""What can't all be so: values for the lead to settle, and for the station to have answered."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta

from tagkit.assets.tag import exact_tag
from tagkit.record.clock import read_time
from tagkit.record.envelope import Event
from tagkit.record.folder import EVENT_COLUMNS, plain, read_event
from tagkit.record.given_out import registered_by_two
from tagkit.record.journal import site_of
from tagkit.record.schema import ODD
from tagkit.record.state import AssetState
from tagkit.record.store import Connection
from tagkit.record.words import describe, place_words


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
                f"by the record {battery_in.tag} is in {place_words(place)} since {place['since']}",
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
                    f"by the record {other.tag} is in truck {truck} since {other.place['since']}",
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


def contradictions(connection: Connection) -> list[Contradiction]:
    """All that the record holds at present."""
    return [
        *_several_in_one_place(connection),
        *_same_serial(connection),
        *_by_state(connection),
        *_wild_clocks(connection),
        *_between_sites(connection),
    ]


def _states(connection: Connection, where: str, table: str = "assets") -> list[AssetState]:
    rows = connection.execute(f"SELECT state FROM {table} WHERE {where} ORDER BY tag").fetchall()
    return [AssetState.from_json(row[0]) for row in rows]


def _several_in_one_place(connection: Connection) -> list[Contradiction]:
    states = _states(
        connection,
        # Places in words hold as many as are set there. Only batteries have a place.
        "place IN (SELECT place FROM assets INDEXED BY assets_by_place "
        "WHERE place BETWEEN 'C-' AND 'T.' "
        "GROUP BY place HAVING count(*) > 1)",
    )
    by_place: dict[tuple[str, str], list[AssetState]] = {}
    for state in states:
        if state.place and state.place["kind"] in ("truck", "charger"):
            by_place.setdefault((state.place["kind"], state.place["name"]), []).append(state)
    return [
        Contradiction(
            "several in one place",
            (name, *(state.tag for state in held)),
            f"{kind} {name} can't hold {' and '.join(state.tag for state in held)} at once",
            "Look which one is there, and record where the others are",
            tuple(state.place["event"] for state in held if state.place),
        )
        for (kind, name), held in sorted(by_place.items())
        if len(held) > 1
    ]


def _same_serial(connection: Connection) -> list[Contradiction]:
    states = _states(
        connection,
        "maker_serial IN (SELECT maker_serial FROM assets INDEXED BY assets_by_serial "
        "WHERE maker_serial IS NOT NULL GROUP BY maker_serial HAVING count(*) > 1)",
    )
    groups: dict[tuple[str, str], list[AssetState]] = {}
    for state in states:
        if state.retired_at is None and state.registered_at is not None and state.maker_serial:
            groups.setdefault((state.kind, plain(state.maker_serial) or ""), []).append(state)
    return [
        Contradiction(
            "same serial",
            tuple(state.tag for state in group),
            f"{' and '.join(state.tag for state in group)} have the same maker's serial "
            f"{group[0].maker_serial}",
            "Read the serials on both, and amend the wrong one",
        )
        for group in groups.values()
        if len(group) > 1
    ]


def _by_state(connection: Connection) -> list[Contradiction]:
    found = []
    for state in _states(connection, ODD, "assets INDEXED BY assets_odd"):
        if state.retired_at and state.place and state.place["kind"] in ("truck", "charger"):
            found.append(
                Contradiction(
                    "retired in use",
                    (state.tag, state.place["name"]),
                    f"{state.tag} is retired, yet it is in {place_words(state.place)}",
                    "Take it out, or have the retirement undone",
                    (state.place["event"],),
                )
            )
        if state.unsettled:
            found.append(
                Contradiction(
                    "unsettled",
                    (state.tag,),
                    f"what is stamped on {state.tag} differs from its sheet",
                    "Settle which is right with “tagkit marry” or “tagkit amend”",
                )
            )
        if state.unknown_kinds:
            found.append(
                Contradiction(
                    "not understood",
                    (state.tag,),
                    f"{state.tag} has entries this program does not understand: "
                    + ", ".join(state.unknown_kinds),
                    "Update tagkit on this computer",
                )
            )
    return found


def _wild_clocks(connection: Connection) -> list[Contradiction]:
    rows = connection.execute(
        "SELECT e.raw, e.signature, e.effective, 0 FROM events e INDEXED BY events_apart "
        "WHERE e.apart = 1 ORDER BY e.chain, e.sequence"
    ).fetchall()
    chains: dict[tuple[str, str], list[str]] = {}
    tags: dict[tuple[str, str], set[str]] = {}
    for row in rows:
        event = read_event(*row)
        chains.setdefault((event.site, event.station), []).append(event.id)
        tags.setdefault((event.site, event.station), set()).update(event.tags)
    return [
        Contradiction(
            "wild clock",
            tuple(sorted(tags[site, station])),
            f"the clock of station “{station}” of {site} is ahead: {len(ids)} of its entries are "
            "set apart until their time has come or the clock is put right",
            "Put the clock of that station right and record something there",
            tuple(ids),
        )
        for (site, station), ids in chains.items()
    ]


LEAST_TRANSPORT = timedelta(hours=1)
"""Nothing that weighs a tonne is loaded, driven to another site and unloaded in less."""

_LOOK_BACK = 30


def _between_sites(connection: Connection) -> list[Contradiction]:
    """What two sites say of one asset: at both at once, or registered by both."""
    site_of_epoch = dict(connection.execute("SELECT epoch, site FROM chains").fetchall())
    own = site_of(connection)
    found = []
    if any(site != own for site in site_of_epoch.values()):
        for state in _states(connection, f"place IS NOT NULL AND NOT ({_TOLD_HERE})"):
            told = site_of_epoch.get((state.place or {}).get("event", "").rpartition("-")[0], own)
            tag = exact_tag(state.tag)
            if told != own or (tag and tag.site != own):
                found += _at_two_sites(connection, state)
    return found + _registered_twice(connection)


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


def _at_two_sites(connection: Connection, state: AssetState) -> list[Contradiction]:
    last: Event | None = None
    for event in _placements(connection, state.tag):
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
                (state.tag,),
                f"{state.tag} was recorded at site {event.site} ({describe(event)}) and at site "
                f"{last.site} ({describe(last)})",
                "Look which site has it, and record where it is; one of them read another number",
                (event.id, last.id),
            )
        ]
    return []


def _placements(connection: Connection, tag: str) -> Iterator[Event]:
    """The last events that say where an asset is, newest first."""
    rows = connection.execute(
        f"SELECT {EVENT_COLUMNS} FROM event_tags t JOIN events e ON e.n = t.n "
        "JOIN chains c ON c.chain = e.chain WHERE t.tag = ? "
        "AND e.kind IN ('changed', 'moved', 'seen_at', 'charge_started') "
        "ORDER BY t.effective DESC, t.clock DESC, c.name DESC, e.sequence DESC LIMIT ?",
        (tag, _LOOK_BACK),
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
