"""The robust slope and its interval."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.rules.slopes import slopes_outside, theil_sen


def test_a_straight_line_is_found_exactly():
    found = theil_sen([0, 28, 56, 84], [0.0, -0.01, -0.02, -0.03])
    assert found.per_day == pytest.approx(-0.01 / 28)
    assert found.intercept == pytest.approx(0)
    assert found.low == pytest.approx(found.high) == pytest.approx(found.per_day)


def test_one_wild_reading_does_not_move_it():
    days = [0, 28, 56, 84, 112, 140]
    straight = theil_sen(days, [0, -1, -2, -3, -4, -5])
    wild = theil_sen(days, [0, -1, 70, -3, -4, -5])
    assert wild.per_day == pytest.approx(straight.per_day, rel=0.05)


@pytest.mark.parametrize(
    ("points", "confidence", "outside"),
    [(3, 90, 0), (4, 90, 1), (4, 95, 0), (5, 90, 2), (5, 95, 1), (10, 95, 12)],
)
def test_the_interval_counts_as_kendall_s_table_does(points, confidence, outside):
    # Kendall's S, one-sided (M. G. Kendall, Rank Correlation Methods, table 1):
    # n=4 P(S>=6)=0.042, n=5 P(S>=8)=0.042 and P(S>=10)=0.0083, n=10 P(S>=23)=0.023,
    # P(S>=21)=0.036; so many slopes from each end are left out.
    assert slopes_outside(points, confidence) == outside


def test_too_few_points_have_no_interval_and_one_day_no_slope():
    assert theil_sen([0, 28], [0, -1]).low is None
    assert theil_sen([5, 5, 5], [0, -1, -2]) is None
    assert theil_sen([], []) is None


def test_the_interval_holds_the_true_slope_as_often_as_it_says():
    rng = random.Random(5)
    days = [28.0 * round_number for round_number in range(7)]
    inside = 0
    for _ in range(2000):
        found = theil_sen(days, [-0.0001 * day + rng.gauss(0, 0.003) for day in days])
        inside += found.low <= -0.0001 <= found.high
    assert 0.90 <= inside / 2000 <= 0.96


@given(
    st.lists(st.integers(-1000, 1000), min_size=3, max_size=12),
    st.integers(-50, 50),
    st.integers(-50, 50),
)
def test_adding_a_line_adds_its_slope(values, slope, level):
    days = [7.0 * place for place in range(len(values))]
    plain = theil_sen(days, values)
    shifted = theil_sen(days, [v + slope * d + level for d, v in zip(days, values, strict=True)])
    assert shifted.per_day == pytest.approx(plain.per_day + slope, abs=1e-6)
