"""Recovery shares each frame's time: a little work in every call, names as soon as they are sure."""

from __future__ import annotations

import numpy as np
import pytest
from tagkit.reader.recovery.stream import RecoveryStream
from worn_labels import picture, registered, withheld

ROSTER = registered()
TAG = ROSTER.variants[20].tag


def test_a_search_spread_over_calls_names_the_label() -> None:
    grey = picture(str(TAG), 0.3, 3)
    stream = RecoveryStream(ROSTER)
    calls = 0
    while not (found := stream.look(grey, budget_ms=5)):
        calls += 1
        assert calls < 2000
    assert calls > 3
    assert [(read.tag, read.method) for read in found] == [(TAG, "recovered")]
    assert found[0].false_match_bound <= 1e-6


def test_a_call_lasts_as_long_as_its_own_clock_says_however_long_it_took() -> None:
    grey = picture(str(TAG), 0.3, 3)
    standing = RecoveryStream(ROSTER, clock=lambda: 0.0)  # the processor had no time for it yet
    assert [read.tag for read in standing.look(grey, budget_ms=1)] == [TAG]


def test_a_named_label_is_followed_and_given_again_where_it_is_now() -> None:
    grey = picture(str(TAG), 0.3, 3)
    stream = RecoveryStream(ROSTER)
    first = stream.look(grey)[0]
    moved = np.roll(grey, (2, 5), axis=(0, 1))
    second = stream.look(moved)[0]
    assert second.tag == TAG
    for (x, y), (u, v) in zip(first.corners, second.corners, strict=True):
        assert (u - x, v - y) == pytest.approx((5, 2), abs=1.2)


def test_a_label_taken_away_is_forgotten() -> None:
    stream = RecoveryStream(ROSTER)
    assert stream.look(picture(str(TAG), 0.3, 3))
    wall = np.full((480, 640), 120, np.uint8)
    for _ in range(8):
        found = stream.look(wall)
    assert found == []


def test_a_label_that_a_decoder_read_is_not_given_twice() -> None:
    grey = picture(str(TAG), 0.3, 3)
    stream = RecoveryStream(ROSTER)
    first = stream.look(grey)
    assert stream.look(grey, first) == []


def test_labels_that_are_not_registered_get_no_name_however_long_one_looks() -> None:
    stream = RecoveryStream(ROSTER)
    grey = picture(str(withheld()[3]), 0.2, 3)
    for seed in range(4):
        grain = np.random.default_rng(seed).normal(0, 4, grey.shape)
        assert stream.look(np.clip(grey + grain, 0, 255).astype(np.uint8)) == []


def test_without_a_roster_nothing_is_looked_for_and_a_new_one_starts_anew() -> None:
    stream = RecoveryStream()
    grey = picture(str(TAG), 0.3, 3)
    assert stream.look(grey) == []
    stream.roster = ROSTER
    assert [read.tag for read in stream.look(grey)] == [TAG]
    stream.reset()
    assert [read.tag for read in stream.look(grey)] == [TAG]
