"""The camera's time: what a busy computer took does not keep two looks from agreeing."""

from __future__ import annotations

from dataclasses import replace

import pytest
from tagkit.assets.tag import Kind, tag_for
from tagkit.reader.read import Read
from tagkit.web.booth.camera_time import CameraTime
from tagkit.web.booth.sightings import AWAY, Sightings

TAG = tag_for(Kind.BATTERY, "QM", 417)
CORNERS = ((100.0, 100.0), (180.0, 100.0), (180.0, 180.0), (100.0, 180.0))
LABEL = Read(TAG, str(TAG), "decoded", None, CORNERS, "test")
WORN = replace(LABEL, method="recovered", false_match_bound=1e-6)


class Look:
    """A camera whose frames come when the test says."""

    def __init__(self) -> None:
        self.clock = 0.0
        self.time = CameraTime(lambda: self.clock)
        self.sightings = Sightings()

    def frame(self, *reads: Read, after: float, waited: float = 0.0, unread: bool = False) -> int:
        """How many labels are newly shown by it."""
        self.clock += after + waited
        self.time.waited(waited)
        sight = self.sightings.frame(reads, (960, 720), self.time.now())
        self.time.more_to_come = bool(sight.marks) or unread
        return len(sight.labels)

    def recovered(self, after: float) -> int:
        self.clock += after
        return len(self.sightings.recovered([WORN], self.time.now()).labels)


@pytest.mark.parametrize(("after", "waited"), [(0.3, 0.0), (0.3, 4.0), (3.0, 0.0), (4.0, 4.0)])
def test_two_looks_in_a_row_agree_however_long_each_took(after: float, waited: float) -> None:
    look = Look()
    look.frame(after=1)
    assert look.frame(LABEL, after=after, waited=waited) == 0
    assert look.frame(LABEL, after=after, waited=waited) == 1
    assert look.frame(LABEL, after=after, waited=waited) == 0


@pytest.mark.parametrize("late", [0.3, 1.5, 6.0])
def test_a_label_made_out_is_confirmed_by_the_next_frame_however_late(late: float) -> None:
    look = Look()
    look.frame(after=1, unread=True)
    assert look.recovered(after=late) == 0
    assert look.frame(after=late, unread=True) == 1


def test_one_that_was_away_is_shown_anew_and_a_late_frame_without_it_is_not_away() -> None:
    look = Look()
    look.frame(LABEL, after=0.3)
    look.frame(LABEL, after=0.3)
    look.frame(after=0.3, waited=5)
    assert look.frame(LABEL, after=0.3) + look.frame(LABEL, after=0.3) == 0
    for _ in range(4):
        look.frame(after=1)
    assert look.frame(LABEL, after=0.3) + look.frame(LABEL, after=0.3) == 1


def test_after_the_page_slept_a_label_is_shown_anew() -> None:
    look = Look()
    look.frame(LABEL, after=0.3)
    look.frame(LABEL, after=0.3)
    assert AWAY < 600
    look.frame(LABEL, after=600)
    assert look.frame(LABEL, after=0.3) == 1
