"""A rested cell shows its gravity plus 0.84 V."""

from __future__ import annotations

import pytest
from tagkit.rules.open_circuit import open_circuit_flag, open_circuit_volts
from tagkit.settings import ElectrolyteSettings

SITE = ElectrolyteSettings()


@pytest.mark.parametrize(("gravity", "volts"), [(1.280, 2.12), (1.160, 2.00), (1.130, 1.97)])
def test_the_rule_of_thumb(gravity, volts):
    # Nernst for 1.280 gives 2.12 to 2.13 V, for 1.130 1.97 V (Vinal, Storage Batteries).
    assert open_circuit_volts(gravity, SITE) == pytest.approx(volts)


def test_half_a_tenth_of_a_volt_is_the_limit():
    assert open_circuit_flag(2.07, 1.280, SITE) is None
    assert open_circuit_flag(2.17, 1.280, SITE) is None
    off = open_circuit_flag(2.06, 1.280, SITE, cell=3)
    assert off is not None and off.cell == 3 and "cell 3" in off.sentence
    assert off.code == "voltage and gravity disagree"


def test_one_reading_alone_contradicts_nothing():
    assert open_circuit_flag(None, 1.280, SITE) is None
    assert open_circuit_flag(2.0, None, SITE) is None
