"""From a picture of a half-eaten label to its tag, and from anything else to nothing."""

from __future__ import annotations

from functools import partial

import numpy as np
import pytest
from tagkit.reader.read import no_recovery, read_picture
from tagkit.reader.recovery.recover import recover, recover_unread
from tagkit.reader.recovery.roster import Roster
from worn_labels import LINK, picture, registered, tags, withheld

ROSTER = registered()


@pytest.mark.parametrize("tone", [30.0, 225.0], ids=["charred", "bleached"])
def test_labels_that_no_decoder_reads_are_named(tone: float) -> None:
    named = 0
    for seed in (0, 2):
        tag = ROSTER.variants[11 * seed].tag
        grey = picture(str(tag), 0.4, seed, tone=tone)
        reads = recover(grey, [], ROSTER, seconds=30)
        assert {read.tag for read in reads} <= {tag}
        for read in reads:
            assert read.method == "recovered"
            assert read.text == str(tag)
            assert read.false_match_bound is not None
            assert read.false_match_bound <= 1e-6
        named += len(reads) == 1
    assert named >= 1


def test_corners_begin_at_the_symbols_own_top_left_even_upside_down() -> None:
    tag = ROSTER.variants[3].tag
    grey = picture(str(tag), 0.2, 5)
    upright = recover(grey, [], ROSTER, seconds=30)[0]
    turned = recover(np.rot90(grey, 2).copy(), [], ROSTER, seconds=30)[0]
    height, width = grey.shape
    for (x, y), (u, v) in zip(upright.corners, turned.corners, strict=True):
        assert (x, y) == pytest.approx((width - 1 - u, height - 1 - v), abs=1.5)


def test_a_label_that_is_not_registered_gets_no_name() -> None:
    for seed, tag in enumerate(withheld()[:2]):
        assert recover(picture(str(tag), 0.3, seed), [], ROSTER, seconds=30) == []


def test_reading_with_a_roster_recovers_by_default() -> None:
    tag = tags(10)[3]
    grey = picture(str(tag), 0.4, 8, tone=225.0, mask=None)
    patient = partial(recover_unread, seconds=60)
    reads = read_picture(grey, set(tags(10)), recovery=patient)
    assert [(read.tag, read.method) for read in reads] == [(tag, "recovered")]
    assert read_picture(grey, set(tags(10)), recovery=no_recovery) == []
    assert read_picture(grey) == []


def test_a_label_that_decodes_is_not_recovered_again() -> None:
    tag = tags(10)[3]
    roster = Roster.of_tags(tags(10))
    assert [read.method for read in read_picture(picture(str(tag), 0, 8, mask=None), roster)] == [
        "decoded"
    ]


def test_links_are_recovered_when_the_roster_says_that_links_were_printed() -> None:
    roster = registered(link=True)
    tag = roster.variants[9].tag
    reads = recover(picture(f"{LINK}{tag}", 0.35, 2), [], roster, seconds=30)
    assert [read.tag for read in reads] == [tag]


@pytest.mark.parametrize("tone", [0, 120, 255])
def test_a_picture_of_nothing_gives_nothing(tone: int) -> None:
    assert recover(np.full((240, 320), tone, np.uint8), [], ROSTER) == []
    assert recover(np.full((20, 20), tone, np.uint8), [], ROSTER) == []


def test_noise_gives_nothing() -> None:
    noise = np.random.default_rng(1).integers(0, 256, (300, 400)).astype(np.uint8)
    assert recover(noise, [], ROSTER) == []
    assert recover(noise, [], Roster([])) == []
