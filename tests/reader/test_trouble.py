"""Camera trouble is named, and a good picture gives none."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scenes import clutter
from tagkit.reader.trouble import camera_trouble


@pytest.mark.parametrize("seed", range(5))
def test_a_good_picture_has_no_trouble(seed: int) -> None:
    assert camera_trouble(clutter(seed, 1280, 720)) is None


def test_each_trouble_says_what_to_do() -> None:
    room = clutter(1, 1280, 720)
    assert "light" in str(camera_trouble(room // 8))
    assert "turn" in str(camera_trouble(room // 8 + 220))
    assert "wipe" in str(camera_trouble(room // 16 + 100))
    assert "hold still" in str(camera_trouble(cv2.GaussianBlur(room, (0, 0), 8)))


def test_colour_and_tiny_pictures() -> None:
    assert camera_trouble(np.zeros((4, 4, 3), np.uint8)) is not None
