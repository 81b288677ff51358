"""Case leakage."""

from __future__ import annotations

import pytest
from tagkit.rules.leakage import case_leakage
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
