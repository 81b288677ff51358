"""Cells know which battery they belong to."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

from tagkit.rules.identity import same_cells, swapped_with
from tagkit.rules.trend import RoundPoint

START = datetime(2026, 1, 5, tzinfo=UTC)


def handwriting(seed, rounds=6, cells=18):
    rng = random.Random(seed)
    offsets = [rng.gauss(0, 0.004) for _ in range(cells)]
    return [
        RoundPoint(
            START + timedelta(days=28 * place),
            {cell: value + rng.gauss(0, 0.0015) for cell, value in enumerate(offsets, start=1)},
        )
        for place in range(rounds)
    ]


def test_a_battery_s_next_round_looks_like_its_past():
    mine = handwriting(1)
    assert same_cells(mine[:5], mine[5]).odds > 5


def test_another_battery_s_round_does_not():
    mine, other = handwriting(1), handwriting(2)
    assert same_cells(mine[:5], other[5]).odds < -5


def test_swapped_labels_are_noticed_from_both_sides():
    a, b, c = handwriting(1), handwriting(2), handwriting(3)
    before = {"B-1": a[:5], "B-2": b[:5], "B-3": c[:5]}
    (swap,) = swapped_with(before, {"B-1": b[5], "B-2": a[5], "B-3": c[5]})
    assert {swap.one, swap.other} == {"B-1", "B-2"}
    assert swap.flag.code == "cells of another battery"
    assert "B-1" in swap.flag.sentence and "B-2" in swap.flag.sentence
    assert swapped_with(before, {"B-1": a[5], "B-2": b[5], "B-3": c[5]}) == ()


def test_another_number_of_cells_is_another_battery():
    mine, longer = handwriting(1), handwriting(1, cells=24)
    assert same_cells(mine[:5], longer[5]).odds < -5


def test_a_cell_left_out_changes_nothing():
    mine = handwriting(1)
    partly = RoundPoint(
        mine[5].at, {c: d for c, d in mine[5].distances.items() if c not in (3, 18)}
    )
    assert same_cells(mine[:5], partly).odds > 5


def test_a_round_broken_off_is_judged_by_what_was_read():
    mine, other = handwriting(1), handwriting(2)
    for whose, likely in ((mine, True), (other, False)):
        part = {cell: value for cell, value in whose[5].distances.items() if cell <= 10}
        assert (same_cells(mine[:5], RoundPoint(whose[5].at, part)).odds > 0) is likely
    assert same_cells(mine[:5], RoundPoint(mine[5].at, {})).odds is None


def test_one_bad_cell_does_not_make_it_another_battery():
    mine = handwriting(1)
    bad = RoundPoint(mine[5].at, {**mine[5].distances, 4: -0.060})
    assert same_cells(mine[:5], bad).odds > 0


def test_too_little_to_compare_is_said():
    mine = handwriting(1)
    assert same_cells(mine[:2], mine[5]).odds is None
    few = handwriting(1, cells=3)
    assert same_cells(few[:5], few[5]).reason == "too few cells in common"
