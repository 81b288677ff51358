"""A camera that reads nothing says why, once each time that begins."""

from __future__ import annotations

import numpy as np
from tagkit.assets.tag import parse_tag
from tagkit.jobs.camera import CameraWatch
from tagkit.jobs.looking import Look
from tagkit.reader.sources import Frame
from tagkit.reader.trouble import TOO_DARK

NIGHT = np.full((48, 64), 9, np.uint8)
DAY = np.tile(np.repeat(np.array([30, 200], np.uint8), 8), (48, 4))


def frame(at: float, picture: np.ndarray = NIGHT, *, still: bool = False) -> Look:
    return Look(Frame("camera 0", 0, picture, at, still), (), ())


def test_the_trouble_of_a_video_is_named_after_a_while_and_once() -> None:
    watch = CameraWatch()
    said = [watch.trouble(frame(tenth / 10)) for tenth in range(100)]
    assert [told for told in said if told] == [TOO_DARK]
    assert said.index(TOO_DARK) == 20


def test_it_is_named_again_after_it_had_gone() -> None:
    watch = CameraWatch()
    assert watch.trouble(frame(2)) == TOO_DARK
    assert watch.trouble(frame(4, DAY)) is None
    assert watch.trouble(frame(6)) == TOO_DARK


def test_a_camera_that_reads_has_no_trouble() -> None:
    watch = CameraWatch()
    held = (parse_tag("B-QM-00417-D"),)
    for second in range(10):
        shown = Look(Frame("camera 0", second, NIGHT, second, False), (), (), held)
        assert watch.trouble(shown) is None
    assert watch.trouble(frame(10)) is None
    assert watch.trouble(frame(11.5)) == TOO_DARK


def test_a_still_picture_is_asked_at_once() -> None:
    assert CameraWatch().trouble(frame(0, still=True)) == TOO_DARK
