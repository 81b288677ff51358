"""One round through a battery: spread, low, high and suspect cells."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.rules.cells import (
    CellReading,
    Circumstances,
    balance_due,
    judge_round,
    low_limit,
    not_comparable,
    read_again,
)
from tagkit.rules.electrolyte import GravityScale
from tagkit.settings import CellSettings, ElectrolyteSettings

CELLS, SITE, SCALE = CellSettings(), ElectrolyteSettings(), GravityScale()
RESTED = Circumstances(after_charge=True, hours_rested=8)
EVEN = [1.280, 1.278, 1.281, 1.279, 1.280, 1.282]


def judged(gravities, taken=RESTED, was_low=(), **other):
    readings = [
        CellReading(cell, gravity, other.get("celsius", 25.0))
        for cell, gravity in enumerate(gravities, start=1)
    ]
    return judge_round(readings, SCALE, CELLS, SITE, taken, was_low)


def codes(judgement, cell):
    return [flag.code for flag in judgement.cells[cell - 1].flags]


def test_an_even_battery_has_nothing_to_report():
    found = judged(EVEN)
    assert found.median == pytest.approx(1.280)
    assert found.spread == pytest.approx(0.004)
    assert (found.due, found.flags, found.percent) == ("none", (), pytest.approx(100))


@pytest.mark.parametrize(
    ("spread", "due"),
    [(0.0, "none"), (0.019, "none"), (0.020, "watch"), (0.029, "watch"), (0.030, "equalize")],
)
def test_what_a_spread_asks_for(spread, due):
    assert balance_due(spread, CELLS) == due
    assert balance_due(None, CELLS) is None


@pytest.mark.parametrize(
    ("gravity", "code"),
    [(1.260, []), (1.259, ["low cell"]), (1.230, ["low cell"]), (1.229, ["suspect cell"]),
     (1.300, []), (1.301, ["high cell"])],
)  # fmt: skip
def test_a_cell_beside_its_neighbours(gravity, code):
    # Neighbours so even that 3 x 1.4826 x MAD stays below 0.020.
    assert codes(judged([1.280] * 11 + [gravity]), 12) == code


def test_among_cells_that_scatter_it_takes_more_to_be_low():
    gravities = [1.250, 1.262, 1.270, 1.280, 1.290, 1.298, 1.310]
    found = judged(gravities)
    # MAD 0.018: limit 3 x 1.4826 x 0.018 = 0.080.
    assert low_limit(found.deviation, CELLS) == pytest.approx(0.080, abs=0.001)
    assert found.flags == ()
    assert found.due == "equalize"


def test_a_cell_still_low_after_an_equalize_charge_is_suspect():
    gravities = [1.280] * 11 + [1.255]
    assert codes(judged(gravities), 12) == ["low cell"]
    assert codes(judged(gravities, was_low={12}), 12) == ["suspect cell"]


def test_warm_and_cold_cells_are_compared_at_one_temperature():
    readings = [CellReading(cell, 1.280 - 0.0007 * (warm - 25), warm)
                for cell, warm in enumerate([15, 20, 25, 30, 35, 40], start=1)]  # fmt: skip
    found = judge_round(readings, SCALE, CELLS, SITE, RESTED)
    assert found.spread == pytest.approx(0, abs=1e-9)


def test_a_cell_without_a_temperature_takes_the_median_of_the_others():
    readings = [CellReading(cell, 1.287, 15.0) for cell in range(1, 6)]
    readings.append(CellReading(6, 1.287))
    found = judge_round(readings, SCALE, CELLS, SITE, RESTED)
    assert found.spread == 0 and found.percent == pytest.approx(100)


def test_without_any_temperature_cells_compare_but_the_charge_is_unknown():
    found = judged([*EVEN[:5], 1.240], celsius=None)
    assert found.corrected is False and found.percent is None
    assert codes(found, 6) == ["low cell"]


def test_too_few_gravities_say_nothing_about_balance():
    found = judged([1.280, None, 1.200])
    assert (found.median, found.spread, found.due, found.percent) == (None, None, None, None)
    assert found.cells[2].distance is None and found.flags == ()
    assert judge_round([], SCALE, CELLS, SITE).cells == ()


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"after_charge": False}, "not charged"),
        ({"after_charge": None}, "not known"),
        ({"hours_rested": 0.5}, "rested 0.5 h"),
        ({"hours_rested": None}, "not known"),
        ({"hours_since_water": 2.0}, "water was added"),
        ({"hours_since_water": 2.0, "charged_since_water": False}, "water was added"),
    ],
)
def test_circumstances_that_spoil_the_comparison(changes, words):
    taken = replace(RESTED, **changes)
    (reason,) = not_comparable(taken, SITE)
    assert words in reason
    assert judged(EVEN, taken).distances == {}


@pytest.mark.parametrize(
    "changes",
    [{}, {"hours_since_water": 2.0, "charged_since_water": True}, {"hours_since_water": 48.0}],
)
def test_after_charge_and_rest_with_the_water_mixed_in_a_round_compares(changes):
    taken = replace(RESTED, **changes)
    assert not_comparable(taken, SITE) == ()
    assert set(judged(EVEN, taken).distances) == {1, 2, 3, 4, 5, 6}


def test_nothing_known_of_the_circumstances_is_not_comparable():
    assert judged(EVEN, None).not_comparable != ()


@pytest.mark.parametrize(
    ("volts", "taken", "code"),
    [
        (-0.2, "at rest", ["reversed cell"]),
        (-0.2, "under load", ["reversed cell"]),
        (1.69, "at rest", ["low voltage"]),
        (1.69, "under load", []),
        (2.05, "at rest", ["voltage and gravity disagree"]),
        (2.60, "on charge", []),
        (2.12, "at rest", []),
    ],
)
def test_voltages_by_how_they_were_taken(volts, taken, code):
    readings = [CellReading(cell, 1.280, 25, 2.12) for cell in range(1, 6)]
    readings.append(CellReading(6, 1.280, 25, volts))
    found = judge_round(readings, SCALE, CELLS, SITE, replace(RESTED, voltage_taken=taken))
    if taken != "at rest":
        assert all(flag.cell == 6 for flag in found.flags)
    assert [flag.code for flag in found.cells[5].flags] == code


@pytest.mark.parametrize(
    ("level", "code"),
    [("bare", ["plates bare"]), ("low", ["low level"]), ("over", ["over level"]), ("at mark", [])],
)
def test_levels(level, code):
    found = judge_round([CellReading(1, level=level)], SCALE, CELLS, SITE, RESTED)
    assert [flag.code for flag in found.flags] == code


def test_a_jump_within_weeks_is_read_again():
    assert read_again(4, -0.102, -0.001, CELLS) is not None
    assert read_again(4, 0.099, -0.001, CELLS) is not None
    assert read_again(4, -0.030, -0.001, CELLS) is None
    assert read_again(4, None, -0.001, CELLS) is None
    assert read_again(4, -0.1, None, CELLS) is None


@given(st.lists(st.integers(1200, 1300), min_size=3, max_size=40), st.floats(-20, 50))
def test_the_distances_do_not_depend_on_a_common_temperature(points, celsius):
    gravities = [point / 1000 for point in points]
    here, there = judged(gravities), judged(gravities, celsius=celsius)
    assert list(here.distances.values()) == pytest.approx(list(there.distances.values()), abs=2e-5)
    assert here.spread == pytest.approx(there.spread, abs=2e-5)
