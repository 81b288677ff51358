"""Will it freeze by the end of the shift?"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.rules.electrolyte import GravityScale
from tagkit.rules.freezing import freezing_outlook
from tagkit.settings import ElectrolyteSettings

SCALE, SITE = GravityScale(), ElectrolyteSettings()


def outlook(gravity=1.280, celsius=25.0, working=-28.0, use=80.0):
    return freezing_outlook(gravity, celsius, working, use, SCALE, SITE)


def test_a_full_battery_comes_back_weak_and_freezes_in_the_cold_store():
    # 1.280 less 80 % is 1.160, which freezes at -17 °C; the store has -28 °C.
    found = outlook()
    assert found.gravity_then == pytest.approx(1.160)
    assert found.freezes_at == pytest.approx(-17)
    assert found.flag is not None
    assert (found.flag.code, found.flag.severity) == ("will freeze", "stop")
    assert "-28 °C" in found.flag.sentence


def test_a_light_shift_leaves_it_strong_enough():
    assert outlook(use=30).flag is None  # 1.235: about -43 °C


def test_close_to_freezing_is_warned_of():
    found = outlook(use=80, working=-14)
    assert found.flag is not None and found.flag.code == "close to freezing"
    assert outlook(use=80, working=-11).flag is None


def test_a_reading_in_the_cold_is_corrected_first():
    assert outlook(celsius=-10).gravity_then == pytest.approx(1.160 - 0.0245)


@pytest.mark.parametrize("missing", ["gravity", "celsius", "working", "use"])
def test_what_is_not_known_is_named_and_nothing_is_said(missing):
    found = outlook(**{missing: None})
    assert (found.freezes_at, found.flag) == (None, None)
    assert found.reason.startswith("not known")


@given(st.floats(0, 100), st.floats(0, 100))
def test_more_use_never_makes_it_freeze_later(one, other):
    less, more = sorted((one, other))
    assert outlook(use=more).freezes_at >= outlook(use=less).freezes_at
