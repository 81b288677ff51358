"""The safety signs keep the shapes, colours and proportions of the standards."""

from __future__ import annotations

import pytest
from tagkit.labels.signs import BLUE, RED, SIDE, SIGNS, WHITE, YELLOW, svg_path


def points(shape):
    for _, numbers in shape.path:
        yield from zip(numbers[::2], numbers[1::2], strict=True)


@pytest.mark.parametrize("code", sorted(SIGNS))
def test_a_sign_stays_in_its_square(code):
    for shape in SIGNS[code].shapes:
        reach = shape.width / 2 if shape.stroke else 0
        for x, y in points(shape):
            assert reach - 0.01 <= x <= SIDE - reach + 0.01
            assert reach - 0.01 <= y <= SIDE - reach + 0.01


def test_warnings_are_yellow_prohibitions_red_and_mandatory_actions_blue():
    assert all(SIGNS[code].shapes[0].fill == YELLOW for code in ("W021", "W023", "W026"))
    prohibition = SIGNS["P003"].shapes
    assert prohibition[0].fill == WHITE
    bar, ring = prohibition[-2:]
    assert bar.stroke == ring.stroke == RED
    assert all(SIGNS[code].shapes[0].fill == BLUE for code in ("M004", "M009"))


def test_the_prohibition_bar_runs_from_top_left_to_bottom_right_at_45_degrees():
    bar, ring = SIGNS["P003"].shapes[-2:]
    (x1, y1), (x2, y2) = points(bar)
    assert x1 < x2
    assert y1 < y2
    assert x2 - x1 == pytest.approx(y2 - y1)
    radius = max(x for x, _ in points(ring)) - SIDE / 2
    outer = 2 * radius + ring.width
    assert ring.width / outer == pytest.approx(0.10, abs=0.005)
    assert bar.width / outer == pytest.approx(0.08, abs=0.005)


def test_a_path_is_written_for_svg():
    assert svg_path((("M", (1.0, 2.5)), ("L", (3.0, 4.0)), ("Z", ()))) == "M1 2.5 L3 4 Z"
