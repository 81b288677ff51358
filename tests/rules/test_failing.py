"""Cells that fall behind their own past."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from tagkit.rules.failing import failing_cells, falling_cells, weighed_cells
from tagkit.rules.trend import RoundPoint
from tagkit.settings import CellSettings

SETTINGS = CellSettings()
START = datetime(2026, 1, 5, tzinfo=UTC)


def battery(rounds, behind=lambda day: 0.0, cell=5, cells=18, noise=0.0015, seed=1):
    rng = random.Random(seed)
    offsets = [rng.gauss(0, 0.0025) for _ in range(cells)]
    points = []
    for place in range(rounds):
        day = 28.0 * place
        distances = {
            number: offset + rng.gauss(0, noise) - (behind(day) if number == cell else 0.0)
            for number, offset in enumerate(offsets, start=1)
        }
        points.append(RoundPoint(START + timedelta(days=day), distances))
    return points


def dying(day):
    """Doubles in 70 days, 0.060 behind (40 % of the acid locked) after 280."""
    return 0.060 * 2 ** ((day - 280) / 70)


def test_a_dying_cell_is_named_months_before_it_fails():
    points = battery(11, dying)
    named = [
        count for count in range(1, 12)
        if [flag.cell for flag in failing_cells(points[:count], SETTINGS)] == [5]
    ]  # fmt: skip
    # Failure on day 280, which is the eleventh round; four rounds ahead is the seventh.
    assert named[0] <= 7 and named == list(range(named[0], 12))


def test_it_says_how_far_behind_and_until_when():
    (found,) = falling_cells(battery(9, dying), SETTINGS)
    assert found.behind > 0.020 and found.percent > 90
    last = START + timedelta(days=8 * 28)
    assert last < found.passes_at < last + timedelta(days=120)
    assert found.flag.code == "failing cell"
    assert f"{found.passes_at:%Y-%m-%d}" in found.flag.sentence


def test_what_was_read_below_the_limit_is_not_foretold():
    """A last reading worse than the curve through all of them: it is there, not still to come."""
    *before, last = battery(10, dying)
    read = {**last.distances, 5: -SETTINGS.suspect - 0.001}
    (found,) = falling_cells([*before, RoundPoint(last.at, read)], SETTINGS)
    assert found.passes_at == last.at and found.flag.sentence.endswith("by now")


def test_healthy_batteries_are_left_alone():
    assert all(failing_cells(battery(13, seed=seed), SETTINGS) == () for seed in range(30))


@pytest.mark.parametrize(
    ("course", "seeds"),
    [
        (lambda day: 0.017, 6),  # always apart
        (lambda day: 0.012 * (day > 120), 6),  # diluted once
        (lambda day: 0.00012 * (day % 84), 4),  # lags, and is brought back every third month
        (lambda day: -0.012 * (day > 120), 2),  # given acid
    ],
)
def test_what_else_a_cell_does_is_not_failing(course, seeds):
    """After no round, whatever had been read until then."""
    for seed in range(seeds):
        points = battery(12, course, seed=seed)
        named = [failing_cells(points[:count], SETTINGS) for count in range(1, 13)]
        assert named == [()] * 12


@pytest.mark.parametrize(
    "course",
    [
        lambda day: min(0.150, dying(day)),
        lambda day: 0.0003 * max(0, day - 150),  # straight down, which a lagging cell does too
    ],
)
def test_a_cell_that_has_failed_stays_named(course):
    points = battery(14, course)
    assert [flag.cell for flag in failing_cells(points, SETTINGS)] == [5]


def test_the_site_says_how_likely_is_likely_enough():
    points = battery(11, dying, noise=0.0025, seed=4)
    weighed = [
        found[5][0].log_odds
        for count in range(3, 12)
        if 5 in (found := weighed_cells(points[:count], -math.inf))
    ]
    for percent in (5.0, 33.0, 95.0):
        settings = replace(SETTINGS, failing_percent=percent)
        named = [bool(failing_cells(points[:count], settings)) for count in range(3, 12)]
        assert sum(named) == sum(odds > math.log(percent / (100 - percent)) for odds in weighed)
    assert weighed[0] < 0 < 3 < weighed[-1]


def test_one_wrong_reading_names_nobody():
    slipped = battery(8, lambda day: 0.100 if day == 196 else 0.0)
    assert failing_cells(slipped, SETTINGS) == ()


def test_a_repaired_cell_begins_anew():
    points = battery(11, dying)
    repaired = {5: START + timedelta(days=8 * 28)}
    assert failing_cells(points, SETTINGS) != ()
    assert failing_cells(points, SETTINGS, repaired) == ()


def test_a_round_with_layered_acid_counts_for_less():
    points = battery(9)
    rng = random.Random(3)
    layered = {cell: value - rng.uniform(0, 0.025) for cell, value in points[-1].distances.items()}
    assert failing_cells([*points[:-1], RoundPoint(points[-1].at, layered)], SETTINGS) == ()


def test_few_rounds_name_nobody():
    assert failing_cells([], SETTINGS) == ()
    assert failing_cells(battery(2, lambda day: day / 1000), SETTINGS) == ()
    assert failing_cells(battery(4, lambda day: day / 5000), SETTINGS) == ()


def test_cells_left_out_of_a_round_do_no_harm():
    points = battery(10, dying)
    holes = [
        RoundPoint(point.at, {c: d for c, d in point.distances.items() if (c + n) % 9})
        for n, point in enumerate(points)
    ]
    assert [flag.cell for flag in failing_cells(holes, SETTINGS)] == [5]
    nothing_read = RoundPoint(points[-1].at + timedelta(days=28), {})
    assert [flag.cell for flag in failing_cells([*points, nothing_read], SETTINGS)] == [5]
