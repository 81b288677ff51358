"""Cycles, life used, forecast and the capacity test."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.rules import life
from tagkit.rules.life import (
    _t_like,
    equivalent_cycles,
    forecast_life,
    life_used,
    same_rate,
    temperature_corrected,
)
from tagkit.settings import LifeSettings

SETTINGS = LifeSettings()
US = LifeSettings(test_celsius=25.0)
NOW = datetime(2026, 6, 1, tzinfo=UTC)


def test_a_full_cycle_takes_eighty_percent():
    assert equivalent_cycles(620, 775) == pytest.approx(1)
    assert equivalent_cycles(310, 775) == pytest.approx(0.5)
    assert life_used(1500, 1500) == 100
    assert life_used(1650, 1500) == pytest.approx(110)


@pytest.mark.parametrize(("ah", "capacity"), [(None, 775), (620, None), (620, 0), (-1, 775)])
def test_unknown_stays_unknown(ah, capacity):
    assert equivalent_cycles(ah, capacity) is None
    assert life_used(equivalent_cycles(ah, capacity), 1500) is None
    assert life_used(10, None) is None


class TestCapacityTest:
    def test_at_thirty_degrees_and_the_rated_rate_it_is_what_it_is(self):
        # 155 A for 5 h from a 775 Ah (5 h) battery at 30 °C: 100 %.
        found = life.tested_capacity(155, 300, 775, 5, 30, SETTINGS)
        assert found.percent == pytest.approx(100)
        assert found.life_over is False

    def test_a_cold_test_is_corrected_as_en_60254_1_says(self):
        # Ca = C / (1 + 0.006 (20 - 30)): 94 % measured at 20 °C is 100 % at 30 °C.
        found = life.tested_capacity(155, 282, 775, 5, 20, SETTINGS)
        assert found.percent == pytest.approx(100)

    def test_us_practice_refers_to_seventy_seven_fahrenheit(self):
        assert life.tested_capacity(100, 360, 600, 6, 25, US).percent == pytest.approx(100)
        assert life.tested_capacity(100, 360, 600, 6, 25, SETTINGS).percent == pytest.approx(
            103.09, 0.01
        )

    def test_below_eighty_percent_life_is_over(self):
        assert life.tested_capacity(155, 240, 775, 5, 30, SETTINGS).life_over is False
        assert life.tested_capacity(155, 239, 775, 5, 30, SETTINGS).life_over is True

    def test_another_rate_is_never_compared(self):
        # 775 Ah at 5 h is 155 A; the 6 h current of the same battery would be some 136 A.
        found = life.tested_capacity(136, 300, 775, 5, 30, SETTINGS)
        assert found.percent is None and found.life_over is None
        assert "never compared" in found.reason
        assert found.ah == pytest.approx(680)
        assert same_rate(5, 6) is False and same_rate(6, 6) is True and same_rate(None, 6) is None

    @pytest.mark.parametrize("missing", range(5))
    def test_what_is_missing_is_named(self, missing):
        facts = [155, 300, 775, 5, 30]
        facts[missing] = None
        found = life.tested_capacity(*facts, SETTINGS)
        assert found.percent is None and found.life_over is None and found.reason

    @given(st.floats(0, 50), st.floats(0, 50))
    def test_the_colder_the_test_the_more_it_is_raised(self, one, other):
        cold, warm = sorted((one, other))
        assert temperature_corrected(700, cold, SETTINGS) >= temperature_corrected(
            700, warm, SETTINGS
        )


class TestForecast:
    def uses(self, weeks, a_week=5, cycles=0.9, scatter=0.0):
        rng = random.Random(1)
        return [
            (NOW - timedelta(days=7 * week + day + 0.5), cycles + rng.gauss(0, scatter))
            for week in range(weeks)
            for day in range(a_week)
        ]

    def test_steady_work_has_a_sure_end(self):
        # 4.5 cycles a week; 1500 less 26 x 4.5 = 117 leaves 1383, that is 307 weeks.
        found = forecast_life(self.uses(26), 1500, NOW)
        assert found.cycles_a_week == pytest.approx(4.5, rel=0.02)
        assert (found.ends_at - NOW).days == pytest.approx(7 * 1383 / found.cycles_a_week, rel=0.01)
        assert found.earliest <= found.ends_at <= found.latest

    def test_uneven_work_widens_the_interval(self):
        even = forecast_life(self.uses(26, scatter=0.05), 1500, NOW)
        uneven = forecast_life(self.uses(26, scatter=0.4), 1500, NOW)
        assert uneven.latest - uneven.earliest > even.latest - even.earliest

    def test_what_lies_before_the_record_counts(self):
        found = forecast_life(self.uses(26), 1500, NOW, cycles_before=900)
        assert found.used_percent == pytest.approx((900 + 117) / 15, rel=0.01)
        assert found.ends_at < forecast_life(self.uses(26), 1500, NOW).ends_at

    def test_no_forecast_without_work_or_rated_cycles(self):
        assert forecast_life(self.uses(3), 1500, NOW).reason == "2 of 4 weeks of use on record"
        assert forecast_life([], 1500, NOW).ends_at is None
        assert forecast_life(self.uses(26), None, NOW).used_percent is None
        assert "used up" in forecast_life(self.uses(26), 100, NOW).reason

    @pytest.mark.parametrize(("free", "t"), [(3, 2.353), (9, 1.833), (25, 1.708)])
    def test_student_s_t_as_tabled(self, free, t):
        # Two-sided 90 %, any table of Student's t.
        assert _t_like(90, free + 1) == pytest.approx(t, rel=0.01)
