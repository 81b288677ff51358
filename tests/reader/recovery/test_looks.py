"""A label held up for some frames is named from what all of them show together."""

from __future__ import annotations

import cv2
import numpy as np
from tagkit.reader.recovery.looks import Looks
from tagkit.reader.recovery.recover import recover
from worn_labels import picture, registered, withheld

ROSTER = registered()


def frames(payload: str, share: float, noise: float, count: int) -> list[np.ndarray]:
    """The same label drifting by a pixel or two, in the noise of a dark room."""
    rng = np.random.default_rng(4)
    still = picture(payload, share, 3).astype(np.float32)
    seen = []
    for index in range(count):
        move = np.array([[1, 0, 1.3 * index], [0, 1, -0.7 * index]])
        moved = cv2.warpAffine(still, move, still.shape[::-1], borderMode=cv2.BORDER_REPLICATE)
        grain = rng.normal(0, noise, still.shape)
        seen.append(np.clip(128 + 0.35 * (moved - 128) + grain, 0, 255).astype(np.uint8))
    return seen


def test_frames_of_which_some_say_too_little_name_the_label_together() -> None:
    tag = ROSTER.variants[20].tag
    video = frames(str(tag), 0.5, 30, 4)
    assert recover(video[0], [], ROSTER, seconds=30) == []
    looks = Looks(seconds=30)
    found = [read for frame in video for read in looks(frame, [], ROSTER)]
    assert found
    assert {read.tag for read in found} == {tag}
    assert all(read.false_match_bound <= 1e-6 for read in found)


def test_looking_longer_names_no_label_that_is_not_registered() -> None:
    looks = Looks(seconds=30)
    for frame in frames(str(withheld()[3]), 0.3, 10, 2):
        assert looks(frame, [], ROSTER) == []
