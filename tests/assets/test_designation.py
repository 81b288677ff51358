"""Trade designations and the figures beside them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.assets.battery import Battery
from tagkit.assets.designation import contradictions, parse_designation
from tagkit.assets.stated import Source, Stated
from tagkit.units import quantity


def battery(**figures):
    """A battery with figures like voltage="36 V", cells=18."""
    facts = {}
    for name, value in figures.items():
        if isinstance(value, str) and name in ("voltage", "capacity"):
            figure, unit = value.split()
            value = quantity(figure, unit)
        facts[name] = Stated(value, Source.CATALOGUE)
    return Battery(**facts)


@pytest.mark.parametrize(
    ("text", "cells", "voltage", "capacity", "rate", "chemistry"),
    [
        ("18-125-17", 18, "36 V", "1000 Ah", 6, None),
        ("12-85-13", 12, "24 V", "510 Ah", 6, None),
        ("24-100-21", 24, "48 V", "1000 Ah", 6, None),
        ("6-85-7", 6, "12 V", "255 Ah", 6, None),
        ("40-90-9", 40, "80 V", "360 Ah", 6, None),
        ("18 - 125 - 17", 18, "36 V", "1000 Ah", 6, None),
        ("18–125–17", 18, "36 V", "1000 Ah", 6, None),
        ("36 V 18-125-17", 18, "36 V", "1000 Ah", 6, None),
        ("24 V 5 PzS 775", 12, "24 V", "775 Ah", 5, "vented"),
        ("24V 5PzS775", 12, "24 V", "775 Ah", 5, "vented"),
        ("80 V 5 PzS 775 Ah", 40, "80 V", "775 Ah", 5, "vented"),
        ("5 PzS 775, 48 V", 24, "48 V", "775 Ah", 5, "vented"),
        ("48V 6 PZS 840 L", 24, "48 V", "840 Ah", 5, "vented"),
        ("24 V 3 PzV 330", 12, "24 V", "330 Ah", 5, "gel"),
        ("12 x 5 PzS 775", 12, "24 V", "775 Ah", 5, "vented"),
        ("40 × 2 V 5 PzS 775", 40, "80 V", "775 Ah", 5, "vented"),
        ("5 PzS 775", None, None, "775 Ah", 5, "vented"),
    ],
)
def test_what_a_designation_says(text, cells, voltage, capacity, rate, chemistry):
    said = parse_designation(text)
    assert said is not None
    assert said.cells == cells
    assert (said.voltage and str(said.voltage)) == voltage
    assert str(said.capacity) == capacity
    assert (said.rate, said.chemistry) == (rate, chemistry)


@pytest.mark.parametrize(
    "text",
    ["", "battery", "18-125-16", "18-5-17", "0-125-17", "99-125-17", "12-05-2021", "2021-05-12",
     "775 Ah", "24 V", "PzS", "PzS 775", "5 PzS", "400 PzS 775", "999 V 5 PzS 775",
     "1-18-125-17", "18-125-17-3", "555-125-1774"],
)  # fmt: skip
def test_what_is_no_designation(text):
    assert parse_designation(text) is None


@pytest.mark.parametrize(
    ("designation", "figures"),
    [
        ("18-125-17", {"voltage": "36 V", "cells": 18, "capacity": "1000 Ah", "capacity_rate": 6}),
        ("18-125-17", {"capacity": "952 Ah", "capacity_rate": 5}),
        ("18-125-17", {"capacity": "850 Ah", "capacity_rate": 5}),
        ("18-125-17", {"capacity": "952 Ah"}),
        ("18-125-17", {"chemistry": "gel"}),
        ("24 V 5 PzS 775", {"voltage": "24.0 V", "chemistry": "vented", "cells": 12}),
        ("5 PzS 775", {"voltage": "80 V", "cells": 40}),
        ("18-125-17", {}),
    ],
)
def test_figures_that_agree(designation, figures):
    assert contradictions(parse_designation(designation), battery(**figures)) == []


@pytest.mark.parametrize(
    ("designation", "figures", "says"),
    [
        ("18-125-17", {"voltage": "48 V"}, "36 V, the voltage is given as 48 V"),
        ("18-125-17", {"cells": 24}, "18 cells, 24 cells are given"),
        ("18-125-17", {"capacity": "875 Ah", "capacity_rate": 6}, "given as 875 Ah at 6 h"),
        ("18-125-17", {"capacity": "850 Ah"}, "1000 Ah at 6 h, the capacity is given as 850 Ah"),
        ("24 V 5 PzS 775", {"capacity": "770 Ah", "capacity_rate": 5}, "given as 770 Ah at 5 h"),
        ("24 V 5 PzS 775", {"chemistry": "gel"}, "the chemistry is given as gel"),
        ("24 V 5 PzV 775", {"chemistry": "vented"}, "says gel"),
        ("18-125-17", {"chemistry": "lithium"}, "says lead-acid"),
        ("48 V 18-125-17", {}, "itself says 18 cells"),
        ("24 V 24 x 5 PzS 775", {}, "itself says 24 cells"),
    ],
)
def test_the_figures_that_disagree_are_named(designation, figures, says):
    found = contradictions(parse_designation(designation), battery(**figures))
    assert any(says in sentence for sentence in found), found
    assert all(designation in sentence for sentence in found)


def test_lead_acid_cells_give_two_volts_each():
    wrong = battery(voltage="48 V", cells=18, chemistry="vented")
    assert contradictions(None, wrong) == [
        "18 lead-acid cells give 36 V, the voltage is given as 48 V"
    ]
    assert contradictions(None, battery(voltage="36 V", cells=18, chemistry="vented")) == []


def test_lithium_cells_and_cells_of_unknown_kind_are_not_counted_by_two_volts():
    assert contradictions(None, battery(voltage="80 V", cells=25, chemistry="lithium")) == []
    assert contradictions(None, battery(voltage="80 V", cells=25)) == []


@given(st.integers(1, 80), st.integers(20, 250), st.integers(1, 20))
def test_the_american_style_is_computed_from_its_plates(cells, plate, positive):
    said = parse_designation(f"{cells}-{plate}-{2 * positive + 1}")
    assert said is not None
    assert said.voltage == quantity(2 * cells, "V")
    assert said.capacity == quantity(plate * positive, "Ah")


@given(st.text(max_size=40) | st.text(st.sampled_from("0123456789-PzSV xX×/ "), max_size=24))
def test_any_text_is_a_designation_or_none(text):
    said = parse_designation(text)
    assert said is None or said.capacity.value > 0
