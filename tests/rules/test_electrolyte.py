"""Specific gravity: temperature correction, state of charge, freezing."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.rules.electrolyte import (
    GravityScale,
    charge_percent,
    charge_state,
    corrected_gravity,
    freezing_celsius,
    gravity_at_charge,
    gravity_scale,
)
from tagkit.settings import ElectrolyteSettings

SCALE = GravityScale()
SITE = ElectrolyteSettings()


def test_a_warm_reading_is_raised_and_a_cold_one_lowered():
    # The rule of US practice: four points (0.004) for 10 °F (5.56 °C).
    assert corrected_gravity(1.250, 25 + 50 / 9) == pytest.approx(1.254, abs=0.0002)
    assert corrected_gravity(1.250, 25 - 50 / 9) == pytest.approx(1.246, abs=0.0002)
    assert corrected_gravity(1.280, 25) == 1.280


def test_five_degrees_of_reference_are_three_and_a_half_points():
    assert corrected_gravity(1.280, 20, 25) == pytest.approx(1.2765)
    assert corrected_gravity(1.280, 25, 20) == pytest.approx(1.2835)


@given(st.floats(1.0, 1.35), st.floats(-30, 70), st.floats(-30, 70))
def test_a_correction_there_and_back_changes_nothing(gravity, one, other):
    there = corrected_gravity(gravity, one, other)
    assert corrected_gravity(there, other, one) == pytest.approx(gravity)


@pytest.mark.parametrize(
    ("gravity", "percent"),
    [(1.280, 100), (1.160, 20), (1.130, 0), (1.205, 50), (1.295, 110), (1.115, -10)],
)
def test_state_of_charge_lies_on_the_line_of_the_trade_and_is_not_clipped(gravity, percent):
    # 1.280 full, 1.160 at 80 % depth, hence 1.130 empty.
    assert charge_percent(gravity, SCALE) == pytest.approx(percent)
    assert gravity_at_charge(percent, SCALE) == pytest.approx(gravity)


@given(st.floats(1.0, 1.35), st.floats(1.0, 1.35))
def test_stronger_acid_is_never_less_charge(one, other):
    weak, strong = sorted((one, other))
    assert charge_percent(weak, SCALE) <= charge_percent(strong, SCALE)


def test_a_maker_s_gravities_replace_the_site_s():
    scale = gravity_scale(SITE, full=1.290, discharged=1.150)
    assert charge_percent(1.290, scale) == pytest.approx(100)
    assert charge_percent(1.150, scale) == pytest.approx(20)
    by_empty = gravity_scale(SITE, full=1.290, empty=1.115)
    assert charge_percent(1.115, by_empty) == pytest.approx(0)


def test_gravities_marked_at_another_temperature_are_brought_to_the_site_s():
    scale = gravity_scale(SITE, full=1.290, marked_celsius=30)
    assert scale.full == pytest.approx(1.2935)
    assert scale.full - scale.discharged == pytest.approx(0.120)


def test_gravities_that_contradict_each_other_leave_the_site_s_scale():
    assert gravity_scale(SITE, full=1.150, discharged=1.200) == gravity_scale(SITE)
    with pytest.raises(ValueError, match="above"):
        GravityScale(1.1, 1.2)


def test_without_gravity_or_temperature_the_charge_is_unknown_with_a_reason():
    assert charge_state(None, 25, SCALE).percent is None
    assert charge_state(None, 25, SCALE).reason == "no gravity was read"
    unknown = charge_state(1.280, None, SCALE)
    assert unknown.percent is None and "temperature" in unknown.reason


def test_over_strong_acid_and_lost_acid_are_reported_as_such():
    strong = charge_state(1.300, 25, SCALE)
    assert strong.percent == pytest.approx(113.3, abs=0.1)
    assert [flag.code for flag in strong.flags] == ["over-strong"]
    assert [flag.code for flag in charge_state(1.110, 25, SCALE).flags] == ["acid lost"]
    assert charge_state(1.284, 25, SCALE).flags == ()  # within reading error


def test_a_cold_reading_is_judged_after_correction():
    assert charge_state(1.2905, 10, SCALE).percent == pytest.approx(100)


@pytest.mark.parametrize(
    ("gravity", "celsius"),
    [(1.100, -8), (1.130, -12), (1.160, -17), (1.225, -37), (1.280, -68), (1.320, -68), (1.0, 0)],
)
def test_freezing_points_of_the_table(gravity, celsius):
    assert freezing_celsius(gravity) == pytest.approx(celsius)


def test_between_the_points_of_the_table_lies_a_straight_line():
    assert freezing_celsius(1.115) == pytest.approx(-10)
    assert freezing_celsius(1.2375) == pytest.approx(-44.5)


@given(st.floats(0.9, 1.4), st.floats(0.9, 1.4))
def test_stronger_electrolyte_freezes_no_earlier(one, other):
    weak, strong = sorted((one, other))
    assert freezing_celsius(strong) <= freezing_celsius(weak)
