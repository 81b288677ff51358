"""The planner: module, symbol, label, distance and camera agree with the pinhole formula."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.labels.distance import (
    MOST_MOTION,
    Camera,
    Motion,
    module_of_label,
    modules_across,
    plan_for_distance,
    plan_for_module,
)

PHONE = Camera(1280, 60)


def test_a_module_of_one_millimetre_before_1280_pixels_and_60_degrees() -> None:
    plan = plan_for_module(1.0, PHONE, version=2)
    assert plan.farthest == pytest.approx(554.3, abs=0.1)
    assert plan.symbol == 25
    assert plan.frame == 37
    # All 37 modules of the frame in 720 lines: 1108.5 × 37 / 720.
    assert plan.nearest == pytest.approx(56.97, abs=0.01)
    assert plan.readable


def test_at_800_mm_it_has_1_39_pixels_which_is_too_few() -> None:
    plan = plan_for_module(1.0, PHONE, version=2, distance=800)
    assert plan.pixels == pytest.approx(1.386, abs=0.001)
    assert not plan.readable


def test_too_near_the_frame_leaves_the_picture() -> None:
    assert not plan_for_module(1.0, PHONE, version=2, distance=50).readable


def test_an_upright_picture_is_measured_by_its_width() -> None:
    assert Camera(1080, 60, 1920).shorter_side == 1080
    assert Camera(1920, 60).shorter_side == 1080


@given(
    st.floats(50, 5000), st.integers(640, 4000), st.floats(20, 120), st.integers(1, 10),
    st.floats(1.0, 6.0),
)  # fmt: skip
def test_the_module_for_a_distance_is_read_exactly_there(
    distance: float, pixels: int, angle: float, version: int, needed: float
) -> None:
    plan = plan_for_distance(distance, Camera(pixels, angle), version, needed)
    assert plan.farthest == pytest.approx(distance)
    assert plan.pixels == pytest.approx(needed)


@given(st.floats(100, 3000), st.sampled_from([203, 300, 600]))
def test_printer_dots_never_make_the_module_too_small(distance: float, dpi: int) -> None:
    plan = plan_for_distance(distance, PHONE, 2, dpi=dpi)
    dots = plan.module * dpi / 25.4
    assert dots == pytest.approx(round(dots))
    assert plan.farthest >= distance - 1e-6


@given(st.floats(5, 300), st.integers(1, 10), st.sampled_from([None, 203, 300, 600]))
def test_the_frame_goes_into_its_label(side: float, version: int, dpi: int | None) -> None:
    assert module_of_label(side, version, dpi) * modules_across(version) <= side + 1e-6


def test_motion_smears_the_same_share_of_a_module_at_any_distance() -> None:
    walking = Motion(speed=500, exposure=0.01)
    assert walking.modules(1.0) == 5
    assert walking.longest_exposure(1.0) == pytest.approx(0.001)
    still = plan_for_module(1.0, PHONE, 2, motion=Motion(500, 0.001))
    assert still.readable
    assert not plan_for_module(1.0, PHONE, 2, motion=walking).readable
    large = plan_for_distance(500, PHONE, 2, motion=Motion(500, 0.002))
    assert large.module == pytest.approx(1 / MOST_MOTION)
    assert large.readable
