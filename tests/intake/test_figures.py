"""What people write into one cell."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.assets.tag import Kind
from tagkit.intake.figures import (
    is_error,
    is_unknown,
    kind_named,
    range_in,
    rate_in,
    states_chemistry,
    three_in,
)


@pytest.mark.parametrize(
    "text", ["N/A", "-", "–", "—", "?", "unknown", "tbd", "TBD", "n.a.", "k.A.", "unbekannt",
             "desconocido", "s/d", "#N/A", "to be confirmed", " - "],
)  # fmt: skip
def test_words_for_nobody_knows(text):
    assert is_unknown(text)


@pytest.mark.parametrize("text", ["", "0", "none", "A1", "-28", "48 V", "x", "no"])
def test_what_is_not_unknown(text):
    assert not is_unknown(text)


def test_errors_of_formulas():
    assert is_error("#REF!")
    assert is_error("#WERT!")
    assert not is_error("#1")


@pytest.mark.parametrize(
    ("text", "capacity", "hours"),
    [
        ("775 Ah / 5 h", "775 Ah", 5), ("775 Ah C5", "775 Ah", 5), ("775 Ah (C5)", "775 Ah", 5),
        ("1000 Ah (6 h rate)", "1000 Ah", 6), ("1000 Ah @ 6h", "1000 Ah", 6),
        ("775 Ah/5h", "775 Ah", 5), ("C5 775 Ah", "775 Ah", 5), ("K5: 775 Ah", "775 Ah", 5),
        ("1000 Ah at the 6-hour rate", "1000 Ah", 6), ("775", "775", None),
        ("775 Ah", "775 Ah", None), ("775 Ah / 75 h", "775 Ah / 75 h", None),
    ],
)  # fmt: skip
def test_a_capacity_with_its_rate(text, capacity, hours):
    assert rate_in(text) == (capacity, hours)


@pytest.mark.parametrize(
    ("text", "ends"),
    [
        ("1100-1300 kg", ("1100 kg", "1300 kg")),
        ("1100 – 1300 kg", ("1100 kg", "1300 kg")),
        ("1100 to 1300", ("1100", "1300")),
        ("1100 kg to 1300 kg", ("1100 kg", "1300 kg")),
        ("1.100 kg bis 1.300 kg", ("1.100 kg", "1.300 kg")),
        ("1 100 - 1 300 kg", ("1 100 kg", "1 300 kg")),
        ("2,425-2,866 lbs.", ("2,425 lbs.", "2,866 lbs.")),
        ("min. 1100 kg / max. 1300 kg", ("1100 kg", "1300 kg")),
        ("between 1100 and 1300 kg", ("1100 kg", "1300 kg")),
        ("de 1100 a 1300 kg", ("1100 kg", "1300 kg")),
        ("≥ 1100 … ≤ 1300 kg", ("1100 kg", "1300 kg")),
        ("1100 kg", None), ("1100 1300", None), ("about 1100-1300", None), ("-", None), ("", None),
    ],
)  # fmt: skip
def test_a_weight_window_in_one_cell(text, ends):
    assert range_in(text) == ends


@pytest.mark.parametrize(
    ("text", "three"),
    [
        ("830 x 630 x 627 mm", ("830 mm", "630 mm", "627 mm")),
        ("830×630×627", ("830", "630", "627")),
        ("830mm * 630mm * 627mm", ("830mm", "630mm", "627mm")),
        ('32.5" x 24.8" x 24.7"', ('32.5"', '24.8"', '24.7"')),
        ("830 x 630", None), ("a x b x c", None), ("", None),
    ],
)  # fmt: skip
def test_three_dimensions_in_one_cell(text, three):
    assert three_in(text) == three


@pytest.mark.parametrize(
    ("word", "kind"),
    [("Battery", Kind.BATTERY), ("Batería", Kind.BATTERY), ("STAPLER", Kind.TRUCK),
     ("fork-lift", Kind.TRUCK), ("Ladegerät", Kind.CHARGER), ("cargador", Kind.CHARGER),
     ("lifting beam", Kind.LIFTING), ("eyewash", Kind.ROOM), ("sofa", None), ("", None)],
)  # fmt: skip
def test_words_for_kinds_of_asset(word, kind):
    assert kind_named(word) is kind


def test_words_for_chemistries():
    assert states_chemistry("Lead-Acid")
    assert states_chemistry("LiFePO4")
    assert not states_chemistry("48 V")


@given(st.text(max_size=60) | st.text(st.sampled_from("0123456789 .,-/xhCkgAto–"), max_size=60))
def test_any_text_can_be_taken_apart(text):
    is_unknown(text)
    kind_named(text)
    rest, hours = rate_in(text)
    assert hours is None or 1 <= hours <= 20
    assert hours is not None or rest == text
    assert range_in(text) is None or len(range_in(text)) == 2
    assert three_in(text) is None or len(three_in(text)) == 3
