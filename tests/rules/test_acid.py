"""How much acid stands in the fleet."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.rules.acid import KG_PER_LB, AcidBattery, acid_fraction, acid_inventory
from tagkit.settings import LifeSettings

SETTINGS = LifeSettings()
ONE = AcidBattery("B-1", "vented", 1000.0, 1.280)


@pytest.mark.parametrize(
    ("density_at_20", "share"), [(1.0661, 0.10), (1.1394, 0.20), (1.2185, 0.30), (1.3028, 0.40)]
)
def test_acid_by_density_as_tabled(density_at_20, share):
    # CRC Handbook of Chemistry and Physics, sulphuric acid at 20 °C; 0.0035 less at 25 °C.
    assert acid_fraction(density_at_20 - 0.0035) == pytest.approx(share, abs=1e-6)


def test_battery_acid_is_over_a_third_acid():
    assert acid_fraction(1.280) == pytest.approx(0.377, abs=0.002)
    assert acid_fraction(0.99) == 0 and acid_fraction(1.5) == 0.45


@given(st.floats(0.9, 1.4), st.floats(0.9, 1.4))
def test_denser_is_never_less_acid(one, other):
    thin, dense = sorted((one, other))
    assert acid_fraction(thin) <= acid_fraction(dense)


def test_a_stated_mass_goes_before_the_assumed_share():
    assumed = acid_inventory([ONE], SETTINGS)
    assert (assumed.electrolyte_kg, assumed.assumed) == (250, 1)
    stated = acid_inventory([AcidBattery("B-1", "vented", 1000.0, 1.280, 200.0)], SETTINGS)
    assert (stated.electrolyte_kg, stated.assumed) == (200, 0)
    assert stated.acid_kg == pytest.approx(200 * acid_fraction(1.280))
    assert stated.acid_lb * KG_PER_LB == pytest.approx(stated.acid_kg)


def test_the_us_threshold_is_five_hundred_pounds():
    assert not acid_inventory([ONE] * 2, SETTINGS).reported
    assert acid_inventory([ONE] * 3, SETTINGS).reported


def test_what_is_not_known_is_named_and_not_counted():
    found = acid_inventory(
        [ONE, AcidBattery("B-2", "vented"), AcidBattery("B-3", None, 900.0),
         AcidBattery("B-4", "lithium", 300.0)],
        SETTINGS,
    )  # fmt: skip
    assert found.unknown == ("B-2", "B-3")
    assert found.counted == 1
    assert acid_inventory([], SETTINGS).acid_kg == 0
