"""Where a cell goes, over rounds."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from tagkit.rules.trend import RoundPoint, battery_trends, cell_trend
from tagkit.settings import CellSettings

SETTINGS = CellSettings()
START = datetime(2026, 1, 5, tzinfo=UTC)


def rounds(*distances, cell=7, apart=28):
    return [
        RoundPoint(START + timedelta(days=apart * place), {cell: value, 1: 0.0, 2: 0.001})
        for place, value in enumerate(distances)
    ]


def test_a_cell_that_falls_steadily_gets_its_date():
    # 0.005 a round of 28 days: from -0.015 on 30 March the limit of 0.050 is 196 days away.
    found = cell_trend(7, rounds(0.0, -0.005, -0.010, -0.015), SETTINGS)
    assert found.per_month == pytest.approx(-0.005 * 30 / 28)
    assert found.falling and not found.passed
    assert found.passes_at == START + timedelta(days=84 + 196)
    assert found.earliest == found.passes_at == found.latest


def test_the_interval_lies_about_the_date():
    found = cell_trend(7, rounds(0.0, -0.006, -0.009, -0.016, -0.019, -0.026), SETTINGS)
    assert found.earliest < found.passes_at < found.latest
    assert found.per_month_low < found.per_month < found.per_month_high < 0


def test_a_date_that_no_battery_lives_to_see_is_none():
    found = cell_trend(7, rounds(0.0, -0.0002, -0.0004, -0.0006), SETTINGS)
    assert found.falling and found.passes_at is None
    sooner = cell_trend(7, rounds(0.0, -0.0005, -0.0010, -0.0015), SETTINGS)
    assert sooner.passes_at is not None


def test_a_steady_cell_may_never_pass():
    found = cell_trend(7, rounds(-0.004, -0.003, -0.005, -0.004, -0.0045), SETTINGS)
    assert not found.falling and not found.passed
    assert found.latest is None
    rising = cell_trend(7, rounds(-0.04, -0.03, -0.02, -0.01), SETTINGS)
    assert rising.passes_at is None and not rising.falling


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_fewer_than_four_rounds_tell_no_trend(count):
    found = cell_trend(7, rounds(*[-0.01 * n for n in range(count)]), SETTINGS)
    assert found.per_month is None and found.passes_at is None
    assert found.rounds == count and found.reason


def test_a_repair_begins_a_new_baseline():
    fell = rounds(0.0, -0.02, -0.04, -0.06, 0.0, 0.001, 0.0, -0.001)
    assert cell_trend(7, fell[:4], SETTINGS).passed
    repaired = cell_trend(7, fell, SETTINGS, since=START + timedelta(days=100))
    assert repaired.rounds == 4 and not repaired.falling and not repaired.passed
    two = cell_trend(7, fell[:6], SETTINGS, since=START + timedelta(days=100))
    assert two.reason == "2 of 4 comparable rounds since its repair"


def test_a_passed_limit_has_no_date_any_more():
    found = cell_trend(7, rounds(-0.02, -0.03, -0.045, -0.060, -0.075), SETTINGS)
    assert found.passed and found.passes_at is None


def test_the_site_s_number_of_rounds_counts():
    wants_six = CellSettings(trend_rounds=6.0)
    assert cell_trend(7, rounds(0, -0.01, -0.02, -0.03), wants_six).per_month is None


def test_every_cell_of_a_battery_gets_one():
    found = battery_trends(rounds(0.0, -0.005, -0.010, -0.015), SETTINGS)
    assert [trend.cell for trend in found] == [1, 2, 7]
    assert [trend.falling for trend in found] == [False, False, True]
