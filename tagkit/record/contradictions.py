"""What can't all be so: values for the lead to settle, and for the station to have answered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from tagkit.record.folder import plain, read_event
from tagkit.record.schema import ODD
from tagkit.record.state import AssetState
from tagkit.record.store import Connection
from tagkit.record.words import place_words


@dataclass(frozen=True)
class Contradiction:
    """One thing that the record says in two ways."""

    kind: str
    """several in one place, elsewhere, occupied, same serial, retired in use, unsettled,
    not understood, wild clock."""
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
