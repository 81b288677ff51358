"""Real messages of two stations, one of them spoilt on the way: byte by byte and in their order.

Whatever becomes of them, nothing is taken that its station did not sign and that does not go on
its chain; nothing is raised; the other station's events of the same batch come in; and the record
stays clean.
"""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tagkit.assets.tag import Kind
from tagkit.record.clock import clock_text, read_clock
from tagkit.record.envelope import NO_EVENT, canonical, hash_of
from tagkit.record.keys import new_key
from tagkit.record.record import Record
from tagkit.record.verify import verify

Parcel = tuple[bytes, bytes]


class Peers:
    """A record here, and two sites whose stations begin new chains as often as one likes."""

    def __init__(self, top: Path) -> None:
        self.top, self.written = top, {}
        for site in ("QB", "QC"):
            with Record.create(top / site, site) as record:
                with record.writing("TS", "desk") as writing:
                    battery, truck = (
                        str(writing.issue(kind)) for kind in (Kind.BATTERY, Kind.TRUCK)
                    )
                    for tag in (battery, truck):
                        writing.append("registered", [tag], {"nameplate": {}})
                    for number in range(3):
                        place = {"kind": "stand", "name": f"stand {number}"}
                        writing.append("moved", [], {"battery": battery, "place": place})
                    writing.append("changed", [], {"truck": truck, "battery_in": battery})
                    writing.append("held", [], {"asset": battery, "reason": "leak"})
                self.written[site] = [json.loads(raw) for raw, _ in record.export()]
        self.here = Record.create(top / "here", "QA")

    def batch(self, site: str) -> list[Parcel]:
        """The events of a site under a new key, in the bytes that its station would write."""
        key, parcels, previous = new_key(self.top / "keys"), [], NO_EVENT
        for content in self.written[site]:
            body = dict(content["body"])
            if content["kind"] == "epoch_started":
                body["public_key"] = key.public.hex()
            raw = canonical(content | {"epoch": key.epoch, "previous": previous, "body": body})
            parcels.append((raw, key.sign(raw)))
            previous = hash_of(raw)
        return parcels

    def kept(self, parcels: list[Parcel]) -> list[Parcel]:
        """What is here of the chain of these parcels, in its order."""
        epoch = json.loads(parcels[0][0])["epoch"]
        numbers = range(1, len(parcels) + 20)
        found = (self.here.event(f"{epoch}-{number}") for number in numbers)
        return [(event.raw, event.signature) for event in found if event]


@pytest.fixture(scope="module")
def peers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Peers]:
    made = Peers(tmp_path_factory.mktemp("mutated"))
    yield made
    made.here.close()
    assert [str(one) for one in verify(made.top / "here") if one.grave] == []


Spoil = Callable[[list[Parcel], int, random.Random], None]


def flipped(data: bytes, chance: random.Random) -> bytes:
    spoilt = bytearray(data)
    if spoilt:
        spoilt[chance.randrange(len(spoilt))] ^= 1 << chance.randrange(8)
    return bytes(spoilt)


def content_of(parcel: Parcel) -> dict[str, Any]:
    """What it says; of one that is beyond reading already, nothing."""
    try:
        said = json.loads(parcel[0])
    except ValueError:
        said = {}
    return said if isinstance(said, dict) else {}


def a_bit(batch: list[Parcel], at: int, chance: random.Random) -> None:
    batch[at] = (flipped(batch[at][0], chance), batch[at][1])


def a_bit_of_the_signature(batch: list[Parcel], at: int, chance: random.Random) -> None:
    batch[at] = (batch[at][0], flipped(batch[at][1], chance))


def the_end(batch: list[Parcel], at: int, chance: random.Random) -> None:
    raw, signature = batch[at]
    batch[at] = (raw[: chance.randrange(len(raw) + 1)], signature[: chance.randrange(65)])


def more_bytes(batch: list[Parcel], at: int, chance: random.Random) -> None:
    batch[at] = (batch[at][0] + chance.choice([b" ", b"\n", b"\0", b"}"]), batch[at][1])


def a_value(batch: list[Parcel], at: int, chance: random.Random) -> None:
    content = content_of(batch[at]) or {"kind": "moved"}
    name = chance.choice(sorted(content))
    other = content_of(chance.choice(batch)).get(name)
    odd = chance.choice([other, None, 0, -1, 1 << 70, "", "x" * 90, [], {}, [[]], True, "QC", "QA"])
    batch[at] = (canonical(content | {name: odd}), batch[at][1])


def a_later_clock(batch: list[Parcel], at: int, chance: random.Random) -> None:
    content = content_of(batch[at])
    try:
        clock = read_clock(content["clock"]) + (chance.randrange(1 << 20) << 16)
    except (KeyError, TypeError, ValueError):
        clock = chance.randrange(1 << 62)
    batch[at] = (canonical(content | {"clock": clock_text(clock)}), batch[at][1])


def an_entry(batch: list[Parcel], at: int, chance: random.Random) -> None:
    content = content_of(batch[at]) or {"kind": "moved"}
    del content[chance.choice(sorted(content))]
    batch[at] = (canonical(content), batch[at][1])


def left_out(batch: list[Parcel], at: int, chance: random.Random) -> None:
    del batch[at]


def twice(batch: list[Parcel], at: int, chance: random.Random) -> None:
    batch.insert(chance.randrange(len(batch)), batch[at])


def elsewhere(batch: list[Parcel], at: int, chance: random.Random) -> None:
    batch.insert(chance.randrange(len(batch)), batch.pop(at))


def anothers_signature(batch: list[Parcel], at: int, chance: random.Random) -> None:
    batch[at] = (batch[at][0], chance.choice(batch)[1])


def nothing(batch: list[Parcel], at: int, chance: random.Random) -> None:
    batch[at] = (chance.choice([b"", b"null", b"{}", b"\xff"]), chance.choice([b"", bytes(64)]))


SPOILS: list[Spoil] = [
    a_bit, a_bit_of_the_signature, the_end, more_bytes, a_value, a_later_clock, an_entry, left_out,
    twice, elsewhere, anothers_signature, nothing,
]  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(
    spoils=st.lists(st.sampled_from(SPOILS), min_size=1, max_size=4),
    seed=st.integers(0, 1 << 32),
    parted=st.booleans(),
)
def test_a_spoilt_batch_brings_in_nothing_false_and_holds_nothing_else_up(
    peers: Peers, spoils: list[Spoil], seed: int, parted: bool
) -> None:
    chance = random.Random(seed)
    true, other = peers.batch("QB"), peers.batch("QC")
    spoilt = list(true)
    for spoil in spoils:
        if spoilt:
            spoil(spoilt, chance.randrange(len(spoilt)), chance)
    mixed = list(other)  # each of the two in its own order
    for place, parcel in zip(
        sorted(chance.randrange(len(other) + 1) for _ in spoilt), spoilt, strict=True
    ):
        mixed.insert(mixed.index(other[place]) if place < len(other) else len(mixed), parcel)
    told = peers.here.receive(mixed, parted=parted)
    assert told.taken + told.already_here + len(told.refused) == len(mixed)
    assert all(isinstance(sentence, str) and sentence for sentence in told.refused)
    assert peers.kept(other) == other, "the other station's events came in"
    kept = peers.kept(true)
    assert [parcel for parcel in kept if parcel not in true] == [], (
        "its station wrote no such event"
    )
    assert kept == [parcel for parcel in true if parcel in kept], "in its order"
    if not parted:
        assert kept == true[: len(kept)], "without a gap"
    assert told.taken == len(other) + len(kept)
    assert told.refused or set(spoilt) <= set(true)


def test_the_true_events_come_in_after_spoilt_ones(peers: Peers) -> None:
    """A batch that broke on its way is sent again."""
    chance = random.Random(7)
    for spoil in SPOILS:
        true = peers.batch("QB")
        spoilt = list(true)
        spoil(spoilt, 3, chance)
        peers.here.receive(spoilt)
        told = peers.here.receive(true)
        assert told.refused == [], spoil.__name__
        assert peers.kept(true) == true, spoil.__name__
