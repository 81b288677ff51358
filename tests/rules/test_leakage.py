"""Case leakage."""

from __future__ import annotations

import pytest
from tagkit.rules.leakage import case_leakage, standing_leakage
from tagkit.settings import LifeSettings

SETTINGS = LifeSettings()


@pytest.mark.parametrize(("volts", "required"), [(24, 1200), (36, 1800), (48, 2400), (80, 4000)])
def test_fifty_ohm_for_each_volt(volts, required):
    assert case_leakage(required, volts, SETTINGS).passes is True
    below = case_leakage(required - 1, volts, SETTINGS)
    assert below.passes is False and below.required_ohm == required
    assert below.flag is not None and below.flag.code == "case leakage"


def test_above_sixty_volts_it_can_hurt_and_stops():
    assert case_leakage(100, 80, SETTINGS).flag.severity == "stop"
    assert "shock" in case_leakage(100, 80, SETTINGS).flag.sentence
    assert case_leakage(100, 48, SETTINGS).flag.severity == "act"


def test_not_measured_is_not_passed():
    assert case_leakage(None, 48, SETTINGS).passes is None
    assert case_leakage(5000, None, SETTINGS).passes is None
    assert case_leakage(-1, 48, SETTINGS).passes is None
    assert case_leakage(0, 48, SETTINGS).passes is False


@pytest.mark.parametrize(
    ("ohm", "passed", "volts", "severity"),
    [
        (5000, True, 48, None),
        (5000, None, 48, None),  # measured when washing, and enough
        (900, False, 48, "act"),
        (900, None, 48, "act"),
        (900, False, 80, "stop"),
        (2000, True, 80, "stop"),  # passed by another voltage than it has
        (2000, False, 24, "act"),  # an amended voltage is no new measurement
        (None, False, 48, "act"),
        (5000, True, None, "stop"),
        (5000, None, None, "stop"),
        (None, None, 48, "act"),
        (None, True, 48, "act"),
        (float("nan"), True, 48, "act"),
    ],
)
def test_a_case_leaks_until_a_later_test_passes(ohm, passed, volts, severity):
    found = standing_leakage(ohm, passed, volts, SETTINGS)
    assert (found.severity if found else None) == severity
    assert found is None or "measure again before use" in found.sentence


def test_the_danger_of_a_high_voltage_is_said():
    assert "shock" in standing_leakage(2000, True, 80, SETTINGS).sentence
    assert "shock" in standing_leakage(None, False, 80, SETTINGS).sentence
    assert "shock" not in standing_leakage(900, False, 48, SETTINGS).sentence
