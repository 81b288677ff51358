"""What the water tells."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.rules.water import (
    LITRES_PER_AH,
    Thirst,
    Watering,
    against_sisters,
    found_bare,
    overcharge_ah,
    recent_thirst,
    thirst,
    thirsty_cells,
    water_litres,
    watering_due,
)
from tagkit.settings import WaterSettings

SETTINGS = WaterSettings()
START = datetime(2026, 1, 5, tzinfo=UTC)


def drinks(*litres, apart=14, **other):
    return [
        Watering(START + timedelta(days=apart * place), amount, **other)
        for place, amount in enumerate(litres)
    ]


def test_the_figure_follows_from_faraday():
    # 18.015 g/mol, two electrons, F = 96,485 C/mol (CODATA): grams of water an Ah.
    assert pytest.approx(18.015 / (2 * 96485) * 3600, rel=0.001) == 1000 * LITRES_PER_AH


def test_litres_tell_the_overcharge():
    # 24 cells drank 4.0 l: 4.0 / (0.000336 x 24) = 496 Ah.
    assert overcharge_ah(4.0, 24) == pytest.approx(496.0, abs=0.1)
    assert overcharge_ah(0, 24) == 0


@given(st.floats(0, 100), st.integers(1, 80))
def test_litres_and_overcharge_go_there_and_back(litres, cells):
    assert water_litres(overcharge_ah(litres, cells), cells) == pytest.approx(litres)


@pytest.mark.parametrize(("litres", "cells"), [(None, 24), (4.0, None), (4.0, 0), (-1.0, 24)])
def test_unknown_water_is_unknown_overcharge(litres, cells):
    assert overcharge_ah(litres, cells) is None


def test_the_first_watering_only_begins_the_count():
    found = thirst(drinks(9.9, 3.0, 3.0, discharged_ah=5000), 24, 775)
    assert found.waterings == 2
    assert found.overcharge_ah == pytest.approx(6.0 / (0.000336 * 24))
    assert found.overcharge_percent == pytest.approx(100 * 3.0 / (0.000336 * 24) / 5000)
    assert found.litres_a_day == pytest.approx(6.0 / 24 / 28 / 7.75)


def test_a_watering_of_unknown_litres_begins_the_count_anew():
    with_gap = [*drinks(3.0, 3.0), Watering(START + timedelta(days=28), None),
                Watering(START + timedelta(days=42), 2.0)]  # fmt: skip
    found = thirst(with_gap, 24, 775)
    assert found.waterings == 1
    assert found.overcharge_ah == pytest.approx(overcharge_ah(2.0, 24))


def test_one_watering_under_a_wrong_number_decides_nothing():
    sound = thirst(drinks(3, 3, 3, 3, 3, discharged_ah=5000), 24, 775)
    wrong = thirst(drinks(3, 3, 9, 3, 3, discharged_ah=5000), 24, 775)
    assert wrong.overcharge_percent == pytest.approx(sound.overcharge_percent)


def test_a_new_fault_shows_although_the_past_was_sound():
    past = drinks(*[3.0] * 12, *[6.0] * 3, discharged_ah=5000)
    whole, recent = thirst(past, 24, 775), recent_thirst(past, 24, 775)
    assert recent.waterings == 4
    assert recent.overcharge_percent == pytest.approx(2 * whole.overcharge_percent)


def test_without_ah_or_capacity_those_figures_stay_unknown():
    assert thirst(drinks(3, 3, 3), 24, 775).overcharge_percent is None
    assert thirst(drinks(3, 3, 3), 24, None).litres_a_day is None
    assert thirst(drinks(3, 3, 3), None, 775).reason == "the number of cells is not known"
    assert thirst(drinks(3), 24, 775).reason == "fewer than two waterings"
    assert thirst([], 24, 775).overcharge_ah is None


def drinker(percent=None, a_day=None):
    return Thirst(3, 100.0, percent, a_day)


def test_a_battery_beside_its_sisters():
    sisters = [drinker(20), drinker(22), drinker(18)]
    assert against_sisters(drinker(22), sisters, SETTINGS).flag is None
    found = against_sisters(drinker(40), sisters, SETTINGS)
    assert found.ratio == 2.0
    assert found.flag is not None and "2.0 times" in found.flag.sentence


def test_without_known_ah_the_litres_a_day_compare():
    sisters = [drinker(None, 0.001)] * 3
    assert against_sisters(drinker(50, 0.002), sisters, SETTINGS).ratio == pytest.approx(2)


def test_too_few_sisters_say_nothing():
    assert against_sisters(drinker(40), [drinker(20)] * 2, SETTINGS).ratio is None
    assert against_sisters(Thirst(0, reason="why"), [drinker(20)] * 9, SETTINGS).reason == "why"
    assert against_sisters(drinker(40), [drinker(0)] * 3, SETTINGS).ratio is None


def test_a_cell_that_drinks_beside_its_neighbours():
    litres = dict.fromkeys(range(1, 13), 0.2) | {5: 0.31}
    (flag,) = thirsty_cells(litres, SETTINGS)
    assert (flag.cell, flag.code) == (5, "thirsty cell")
    assert thirsty_cells({**litres, 5: 0.30}, SETTINGS) == ()
    assert thirsty_cells({1: 0.1, 2: 5.0}, SETTINGS) == ()
    assert thirsty_cells({1: 0, 2: 0, 3: 0.4}, SETTINGS) == ()


def test_the_next_watering_by_its_own_consumption():
    # 775 Ah: reserve 0.045 x 7.75 = 0.349 l a cell; it loses 4.2 l / 24 = 0.175 l in 14 days.
    found = watering_due(drinks(4.2, 4.2, 4.2), 24, 775, SETTINGS)
    assert found.every_days == pytest.approx(0.34875 / (4.2 / 24 / 14))
    assert found.at == START + timedelta(days=28 + found.every_days)


def test_a_thirsty_battery_is_due_sooner_and_none_later_than_the_site_says():
    every = [watering_due(drinks(x, x, x), 24, 775, SETTINGS).every_days for x in (0.5, 4, 8)]
    assert every[0] == SETTINGS.longest_days
    assert every[0] > every[1] > every[2]


def test_plates_found_low_or_bare_shorten_the_interval():
    plain = watering_due(drinks(1, 1, 1), 24, 775, SETTINGS).every_days
    low = watering_due(drinks(1, 1, 1, before="low"), 24, 775, SETTINGS).every_days
    bare = watering_due(drinks(1, 1, 1, before="bare"), 24, 775, SETTINGS).every_days
    assert (low, bare) == (pytest.approx(0.8 * 14), pytest.approx(0.5 * 14))
    assert plain > low


def test_plates_that_stood_bare_are_news():
    assert found_bare(Watering(START, 3.0, "bare")).severity == "act"
    assert found_bare(Watering(START, 3.0, "low")) is None
    assert found_bare(Watering(START, 3.0)) is None


def test_never_watered_is_not_due_but_unknown():
    found = watering_due([], 24, 775, SETTINGS)
    assert found.at is None and found.reason == "no watering is on record"
    once = watering_due(drinks(3.0), 24, 775, SETTINGS)
    assert once.every_days == SETTINGS.longest_days and once.reason
