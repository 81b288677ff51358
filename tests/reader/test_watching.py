"""Frame after frame: what the first look misses is read within a second or so."""

from __future__ import annotations

from collections.abc import Collection
from typing import ClassVar

import numpy as np
import pytest
from scenes import clutter, scene
from tagkit.assets.tag import Kind, Tag, tag_for
from tagkit.reader import watching
from tagkit.reader.decoders import first_look
from tagkit.reader.read import Read
from tagkit.reader.tracking import Tracker
from tagkit.reader.watching import Watch

BATTERY = tag_for(Kind.BATTERY, "QM", 417)
TRUCK = tag_for(Kind.TRUCK, "QM", 11)


def test_labels_that_read_easily_are_read_in_every_frame() -> None:
    watch = Watch()
    for seed in range(4):
        shown = scene([str(BATTERY), str(TRUCK)], seed, module=4)
        assert {read.tag for read in watch.read(shown.grey)} == {BATTERY, TRUCK}


def test_a_label_too_small_for_the_first_look_is_seen_over_frames() -> None:
    """1.35 pixels a module in a busy room: found among the other things, read within 3 s."""
    watch, tracker, seen = Watch(), Tracker(), []
    room = scene([str(BATTERY)], 4, width=960, height=540, module=1.35, turn=15, noise=0).grey
    rng = np.random.default_rng(0)
    for frame in range(30):
        noisy = np.clip(room + rng.normal(0, 4, room.shape), 0, 255).astype(np.uint8)
        assert first_look(noisy) == []
        seen += tracker.update(watch.read(noisy), frame / 10).seen
    assert [read.tag for read in seen] == [BATTERY]


def test_a_frame_pays_for_no_more_than_its_allowance(monkeypatch) -> None:
    asked = []

    def ask(opinion, grey, place, side):
        asked.append((opinion.name, opinion.price(place, side)))
        return []

    monkeypatch.setattr(watching, "ask", ask)
    watch, room = Watch(), clutter(3, 1280, 720)
    for _ in range(80):
        before = len(asked)
        watch.read(room)
        prices = [price for _, price in asked[before:]]
        assert sum(prices) <= watching._ALLOWANCE
    # Every opinion gets its turn.
    assert {name for name, _ in asked} == {opinion.name for opinion in watching._IN_TURN}


def test_nothing_label_like_costs_no_second_opinion(monkeypatch) -> None:
    monkeypatch.setattr(watching, "ask", lambda *_: 1 / 0)
    watch = Watch()
    for _ in range(20):
        assert watch.read(np.full((480, 640), 120, np.uint8)) == []


def test_nothing_is_read_in_a_room_without_labels() -> None:
    watch = Watch()
    for seed in range(200, 216):
        assert watch.read(clutter(seed, 1280, 720)) == []


class Stream:
    """In the place of recovery: names the truck whenever it is asked."""

    asked: ClassVar[list[tuple[int, list[Tag | None]]]] = []

    def __init__(self, roster: Collection[Tag]) -> None:
        self.roster = roster

    def look(self, grey, reads, *, budget_ms):
        self.asked.append((len(self.roster), [read.tag for read in reads]))
        place = ((0.0, 0.0), (9.0, 0.0), (9.0, 9.0), (0.0, 9.0))
        return [Read(TRUCK, str(TRUCK), "recovered", 1e-7, place, "recovery")]


@pytest.fixture
def asked(monkeypatch) -> list[tuple[int, list[Tag | None]]]:
    monkeypatch.setattr("tagkit.reader.recovery.stream.RecoveryStream", Stream)
    monkeypatch.setattr(Stream, "asked", [])
    return Stream.asked


def test_recovery_gets_two_of_three_frames_and_what_was_read_in_them(asked) -> None:
    watch = Watch({BATTERY, TRUCK})
    shown = scene([str(BATTERY)], 1, width=640, height=480, module=4).grey
    shown[:200, :200] = clutter(3, 1280, 720)[300:500, 300:500]  # something label-like stays unread
    found = [[(read.tag, read.method) for read in watch.read(shown)] for _ in range(6)]
    read, both = [(BATTERY, "decoded")], [(BATTERY, "decoded"), (TRUCK, "recovered")]
    assert found == [read, both, both] * 2
    assert asked == [(2, [BATTERY])] * 4


def test_a_new_roster_reaches_recovery(asked) -> None:
    watch, room = Watch({BATTERY}), clutter(3, 1280, 720)
    for _ in range(2):
        watch.read(room)
    watch.roster = {BATTERY, TRUCK}
    for _ in range(2):
        watch.read(room)
    assert [known for known, _ in asked] == [1, 2]


def test_without_a_roster_or_anything_label_like_recovery_is_not_asked(asked) -> None:
    watch, room = Watch(), clutter(3, 1280, 720)
    for _ in range(4):
        watch.read(room)
    watch = Watch({BATTERY})
    for _ in range(20):
        watch.read(np.full((480, 640), 120, np.uint8))
    assert asked == []
