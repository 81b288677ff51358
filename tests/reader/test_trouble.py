"""Camera trouble is named, and a good picture gives none."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scenes import clutter, flat_symbol, scene
from tagkit.reader.trouble import (
    FOGGED,
    GLARE,
    NOT_SHARP,
    SHAKEN,
    TOO_BRIGHT,
    TOO_DARK,
    TOO_FAR,
    camera_trouble,
)

ROOM = clutter(1, 1280, 720)


@pytest.mark.parametrize("seed", range(5))
def test_a_good_picture_has_no_trouble(seed: int) -> None:
    assert camera_trouble(clutter(seed, 1280, 720)) is None
    assert camera_trouble(scene(["B-QM-00417-D"], seed, width=800, height=600).grey) is None


def test_a_dark_room_wants_light() -> None:
    assert camera_trouble(ROOM // 8) == TOO_DARK


def test_a_flooded_picture_wants_shade() -> None:
    assert camera_trouble(np.clip(ROOM.astype(int) + 150, 0, 255).astype(np.uint8)) == TOO_BRIGHT


def test_a_mirrored_lamp_is_glare() -> None:
    picture = ROOM.copy()
    cv2.ellipse(picture, (640, 360), (110, 70), 20, 0, 360, 255, -1)
    assert camera_trouble(picture) == GLARE


def test_a_lens_from_the_cold_store_is_fogged() -> None:
    soft = cv2.GaussianBlur(ROOM, (0, 0), 3)
    assert camera_trouble((soft * 0.2 + 120).astype(np.uint8)) == FOGGED


@pytest.mark.parametrize("blur", [3, 8])
def test_a_lens_out_of_focus_is_named(blur: int) -> None:
    assert camera_trouble(cv2.GaussianBlur(ROOM, (0, 0), blur)) == NOT_SHARP


@pytest.mark.parametrize("angle", [0, 35, 90, 140])
def test_a_hand_that_shakes_is_named_whichever_way_it_moves(angle: int) -> None:
    way = np.zeros((15, 15), np.float32)
    half = 7 * np.array([np.cos(np.radians(angle)), np.sin(np.radians(angle))])
    ends = [tuple(np.round(7 + sign * half).astype(int).tolist()) for sign in (-1, 1)]
    cv2.line(way, ends[0], ends[1], 1.0)
    assert camera_trouble(cv2.filter2D(ROOM, -1, way / way.sum())) == SHAKEN


def test_a_small_label_is_too_far() -> None:
    symbol = np.minimum(flat_symbol("HTTPS://LABELS.EXAMPLE/A/B-QM-00417-D", 4), 225)
    label = cv2.copyMakeBorder(symbol, 8, 8, 8, 8, cv2.BORDER_CONSTANT, value=0)
    label = cv2.copyMakeBorder(label, 40, 40, 40, 40, cv2.BORDER_CONSTANT, value=225)
    small = cv2.resize(label, None, fx=0.28, fy=0.28, interpolation=cv2.INTER_AREA)
    picture = clutter(2, 640, 480)
    picture[200 : 200 + small.shape[0], 300 : 300 + small.shape[1]] = small
    assert camera_trouble(picture) == TOO_FAR
    near = np.full((480, 640), 140, np.uint8)
    near[40 : 40 + label.shape[0], 60 : 60 + label.shape[1]] = label
    assert camera_trouble(near) is None


def test_colour_and_tiny_pictures() -> None:
    assert camera_trouble(np.zeros((4, 4, 3), np.uint8)) == TOO_DARK
