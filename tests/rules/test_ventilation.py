"""Air for the charging room."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.rules.ventilation import (
    AIR_PER_CELL_AMPERE,
    HYDROGEN_LITRES_PER_AH,
    GassingCharger,
    gassing_amperes,
    hydrogen_litres,
    ventilation,
)
from tagkit.settings import VentilationSettings

AT_25, AT_0 = VentilationSettings(), VentilationSettings(hydrogen_at="0 °C")
ONE = GassingCharger("C-1", 24, 500.0, "vented", "IUI")


def test_the_figures_follow_from_faraday():
    # Molar volume 22.414 l at 0 °C and 24.465 l at 25 °C (101.325 kPa), two electrons, CODATA F.
    for at, molar in (("0 °C", 22.414), ("25 °C", 24.465)):
        assert HYDROGEN_LITRES_PER_AH[at] == pytest.approx(molar * 3600 / (2 * 96485), rel=0.0005)
        # v q s = 24 x q x 5, as EN 50272-3 derives it.
        air = 24 * 5 * HYDROGEN_LITRES_PER_AH[at] / 1000
        assert AIR_PER_CELL_AMPERE[at] == pytest.approx(air, rel=0.01)


@pytest.mark.parametrize(
    ("profile", "chemistry", "amperes"),
    [
        ("IU", "vented", 10), ("IUI", "vented", 30), ("W", "vented", 35),
        ("IU", "gel", 5), ("IUI", "agm", 7.5), ("W", "gel", None), (None, "vented", None),
        ("IUI", None, None),
    ],
)  # fmt: skip
def test_gassing_current_by_profile(profile, chemistry, amperes):
    # EN IEC 62485-3: A per 100 Ah, here 500 Ah.
    charger = replace(ONE, profile=profile, chemistry=chemistry)
    assert gassing_amperes(charger) == (None if amperes is None else pytest.approx(amperes))


def test_a_finishing_current_counts_when_it_is_larger():
    assert gassing_amperes(replace(ONE, finishing_amperes=40)) == 40
    assert gassing_amperes(replace(ONE, finishing_amperes=20)) == 30


def test_one_charger_by_hand():
    # 24 cells, 30 A: 0.05 x 24 x 30 = 36 m³/h (2002), 0.055 x 24 x 30 = 39.6 m³/h.
    assert ventilation([ONE], AT_0).europe.m3_per_hour == pytest.approx(36.0)
    found = ventilation([ONE], AT_25)
    assert found.europe.m3_per_hour == pytest.approx(39.6)
    # US: 5 A per 100 Ah = 25 A; 0.0004565 x 24 x 25 / 0.01 = 27.39 m³/h = 16.1 cfm.
    assert found.us.m3_per_hour == pytest.approx(27.39)
    assert found.us.cfm == pytest.approx(16.12, abs=0.01)
    assert found.governs == "europe" and found.m3_per_hour == pytest.approx(39.6)
    assert found.opening_cm2 == pytest.approx(28 * 39.6)
    assert found.volume_m3 == pytest.approx(2.5 * 39.6)
    assert "39.6 m³/h" in found.europe.lines[0] and "European practice governs" in found.lines[0]


def test_us_practice_governs_for_a_gentle_profile():
    found = ventilation([replace(ONE, profile="IU")], AT_25)
    assert found.governs == "us" and "US practice governs" in found.lines[0]


def test_us_practice_takes_a_stated_gassing_current_as_it_is():
    found = ventilation([replace(ONE, finishing_amperes=10)], AT_25)
    assert found.us.m3_per_hour == pytest.approx(0.0004565 * 24 * 10 / 0.01)


def test_all_chargers_are_summed_because_they_start_together_after_a_power_cut():
    found = ventilation([ONE] * 24, AT_25)
    assert found.europe.m3_per_hour == pytest.approx(24 * 39.6)
    assert len(found.europe.lines) == 24


@pytest.mark.parametrize(
    ("room", "opening", "natural"),
    [(99, 1108.8, True), (98, 1200, False), (200, 1000, False), (None, 1200, None),
     (200, None, None), (None, 1000, False)],
)  # fmt: skip
def test_whether_openings_and_room_suffice(room, opening, natural):
    assert ventilation([ONE], AT_25, room_m3=room, opening_cm2=opening).natural is natural


@pytest.mark.parametrize("missing", ["cells", "capacity_ah", "chemistry", "profile"])
def test_a_charger_with_gaps_is_named_and_the_sum_a_lower_bound(missing):
    found = ventilation([ONE, replace(ONE, name="C-2", **{missing: None})], AT_25,
                        room_m3=1000, opening_cm2=100000)  # fmt: skip
    assert [line.split(":")[0] for line in found.unknown] == ["C-2"]
    assert found.natural is None
    assert found.europe.m3_per_hour == pytest.approx(39.6)


def test_a_w_taper_is_not_for_sealed_batteries():
    found = ventilation([replace(ONE, chemistry="gel", profile="W")], AT_25)
    assert "not for sealed" in found.unknown[0]


def test_lithium_frees_no_hydrogen():
    found = ventilation([GassingCharger("C-9", chemistry="lithium")], AT_25)
    assert found.m3_per_hour == 0 and found.unknown == ()


@given(st.integers(1, 60), st.floats(1, 2000), st.floats(1, 2000))
def test_a_larger_battery_never_needs_less_air(cells, one, other):
    small, large = sorted((one, other))
    flows = [
        ventilation([replace(ONE, cells=cells, capacity_ah=capacity)], AT_25)
        for capacity in (small, large)
    ]
    assert flows[0].europe.m3_per_hour <= flows[1].europe.m3_per_hour
    assert flows[0].us.m3_per_hour <= flows[1].us.m3_per_hour


def test_hydrogen_of_an_overcharge():
    # 100 Ah of overcharge of 24 cells: 1.1 m³ at 25 °C.
    assert hydrogen_litres(100, 24) == pytest.approx(1095.6)


def test_without_a_charger_no_room_is_said_to_suffice():
    found = ventilation([], AT_25, room_m3=10_000, opening_cm2=10_000)
    assert found.natural is None and found.lines == ()
