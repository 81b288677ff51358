"""Specific gravity: temperature correction and freezing."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.rules.electrolyte import corrected_gravity, freezing_celsius


def test_a_warm_reading_is_raised_and_a_cold_one_lowered():
    # The rule of US practice: four points (0.004) for 10 °F (5.56 °C).
    assert corrected_gravity(1.250, 25 + 50 / 9) == pytest.approx(1.254, abs=0.0002)
    assert corrected_gravity(1.250, 25 - 50 / 9) == pytest.approx(1.246, abs=0.0002)
    assert corrected_gravity(1.280, 25) == 1.280


@pytest.mark.parametrize(
    ("gravity", "celsius"),
    [(1.100, -8), (1.130, -12), (1.160, -17), (1.225, -37), (1.280, -68), (1.320, -68), (1.0, 0)],
)
def test_freezing_points_of_the_table(gravity, celsius):
    assert freezing_celsius(gravity) == pytest.approx(celsius)


@given(st.floats(0.9, 1.4), st.floats(0.9, 1.4))
def test_stronger_electrolyte_freezes_no_earlier(one, other):
    weak, strong = sorted((one, other))
    assert freezing_celsius(strong) <= freezing_celsius(weak)
