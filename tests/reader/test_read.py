"""Reads say which label it is, or that the code is not one of ours."""

from __future__ import annotations

import numpy as np
import pytest
from scenes import flat_symbol
from tagkit.assets.payload import PayloadForm, PayloadStyle, payload_for
from tagkit.assets.tag import Kind, tag_for
from tagkit.errors import WrongInput
from tagkit.reader.read import Read, read_picture

BATTERY = tag_for(Kind.BATTERY, "QM", 417)
FORMS = [
    PayloadStyle(),
    PayloadStyle(PayloadForm.LINK, "labels.example"),
    PayloadStyle(PayloadForm.DIGITAL_LINK, "labels.example", "9521234"),
]


@pytest.mark.parametrize("style", FORMS, ids=lambda style: style.form.value)
def test_each_payload_form_names_the_battery(style: PayloadStyle) -> None:
    (read,) = read_picture(flat_symbol(payload_for(BATTERY, style)))
    assert read.tag == BATTERY
    assert (read.method, read.false_match_bound) == ("decoded", None)
    assert read.text == payload_for(BATTERY, style)
    assert read.corners[0] == pytest.approx((24, 24), abs=2)


def test_a_foreign_code_is_reported_without_a_tag() -> None:
    (read,) = read_picture(flat_symbol("https://passport.example/battery/123"))
    assert (read.tag, read.text) == (None, "https://passport.example/battery/123")


def test_a_wrong_check_character_is_not_one_of_ours() -> None:
    (read,) = read_picture(flat_symbol("B-QM-00417-E"))
    assert read.tag is None


def test_colour_pictures_are_read_too() -> None:
    colour = np.repeat(flat_symbol(str(BATTERY))[:, :, None], 3, axis=2)
    assert [read.tag for read in read_picture(colour)] == [BATTERY]


@pytest.mark.parametrize(
    "picture",
    [
        np.zeros((0, 10), np.uint8),
        np.zeros((10, 10), np.float32),
        np.zeros((10, 10, 4), np.uint8),
        np.zeros(10, np.uint8),
    ],
)
def test_an_array_that_is_no_picture_is_refused(picture: np.ndarray) -> None:
    with pytest.raises(WrongInput, match="no picture"):
        read_picture(picture)


def test_recovery_is_asked_with_what_was_decoded_and_the_roster() -> None:
    other = tag_for(Kind.BATTERY, "QM", 418)
    asked = []

    def recovery(grey, reads, roster):
        asked.append((grey.shape, [read.tag for read in reads], set(roster)))
        return [Read(other, str(other), "recovered", 1e-6, reads[0].corners, "recovery")]

    picture = flat_symbol(str(BATTERY))
    reads = read_picture(picture, {BATTERY, other}, recovery=recovery)
    assert [(read.tag, read.method, read.false_match_bound) for read in reads] == [
        (BATTERY, "decoded", None),
        (other, "recovered", 1e-6),
    ]
    assert asked == [(picture.shape, [BATTERY], {BATTERY, other})]
    assert len(read_picture(picture, recovery=recovery)) == 1  # nothing to recover against
