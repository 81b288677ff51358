"""Corners go clockwise from the symbol's own top left; two reports of one symbol are one."""

from __future__ import annotations

from tagkit.reader.symbols import Found, clockwise, contains, merge, signed_area

SQUARE = ((10.0, 10.0), (50.0, 10.0), (50.0, 50.0), (10.0, 50.0))


def moved(by: float, text: str = "A", decoder: str = "x") -> Found:
    return Found(text, clockwise([(x + by, y) for x, y in SQUARE]), decoder)


def test_corners_given_anticlockwise_are_turned_and_keep_their_first() -> None:
    assert clockwise([SQUARE[0], SQUARE[3], SQUARE[2], SQUARE[1]]) == SQUARE
    assert signed_area(SQUARE) == 1600


def test_a_point_inside_and_one_outside() -> None:
    assert contains(SQUARE, (30, 30))
    assert not contains(SQUARE, (60, 30))


def test_a_second_decoder_naming_the_same_symbol_adds_nothing() -> None:
    assert merge([moved(0)], [moved(3, decoder="y")]) == [moved(0)]


def test_two_labels_with_the_same_text_side_by_side_stay_two() -> None:
    assert len(merge([moved(0)], [moved(60)])) == 2


def test_a_symbol_inside_another_stays_its_own() -> None:
    assert len(merge([moved(0, "outer")], [moved(1, "inner")])) == 2


def test_a_symbol_in_a_scaled_cut_out_goes_back_to_its_place() -> None:
    assert moved(0).moved(2, 100, 200).corners[0] == (105, 205)
