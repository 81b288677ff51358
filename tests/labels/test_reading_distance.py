"""How far away a symbol can be read: the pinhole camera."""

from __future__ import annotations

import pytest
from tagkit.labels.reading import Reading


def test_the_worked_example_1280_pixels_and_60_degrees():
    reading = Reading(distance=800, camera_pixels=1280, camera_angle=60)
    assert reading.focal_length == pytest.approx(1108.5, abs=0.1)
    assert reading.pixels_at(1.0) == pytest.approx(1.386, abs=0.001)


def test_distance_module_and_camera_agree_with_one_another():
    reading = Reading(distance=800, camera_pixels=1280, camera_angle=60)
    smallest = reading.smallest_module()
    assert reading.pixels_at(smallest) == pytest.approx(2.0)
    assert reading.largest_distance(smallest) == pytest.approx(800)
    needed = Reading(800, reading.camera_needed(1.0), 60)
    assert 2.0 <= needed.pixels_at(1.0) < 2.01
