"""May this battery be lifted with this beam and hoist?"""

from __future__ import annotations

from datetime import date

import pytest
from fit_plates import SETTINGS, battery, beam, hoist, line
from tagkit.rules.fit import check_lifting

TODAY = date(2026, 6, 15)


def verdict(a_battery, a_beam, a_hoist, today=TODAY, married=True):
    return check_lifting(
        a_battery, a_beam, a_hoist, today=today, settings=SETTINGS, battery_married=married
    )


def test_gear_that_carries_everything_fits():
    found = verdict(battery(), beam(), hoist())
    assert found.result == "fit"
    assert line(found, "beam load").found == "1111 kg"
    assert line(found, "hoist load").found == "1191 kg"  # with 60 kg of beam and 20 kg of hooks


@pytest.mark.parametrize(
    ("of_beam", "of_hoist", "name", "result"),
    [
        ({"rated_load": "1111 kg"}, {}, "beam load", "fit"),
        ({"rated_load": "1110.9 kg"}, {}, "beam load", "no_fit"),
        ({"rated_load": "2449 lb"}, {}, "beam load", "no_fit"),  # no conversion tolerance here
        ({"rated_load": None}, {}, "beam load", "not_confirmed"),
        ({}, {"rated_load": "1191 kg"}, "hoist load", "fit"),
        ({}, {"rated_load": "1190 kg"}, "hoist load", "no_fit"),
        ({}, {"rated_load": None}, "hoist load", "not_confirmed"),
        ({"own_weight": None}, {}, "hoist load", "not_confirmed"),
        ({"own_weight": None}, {"rated_load": "1100 kg"}, "hoist load", "no_fit"),
        ({}, {"hooks_weight": None}, "hoist load", "not_confirmed"),
        ({"hooks_weight": "20 kg"}, {"hooks_weight": None}, "hoist load", "fit"),
        ({"hooks_weight": "20 kg"}, {"rated_load": "1200 kg"}, "hoist load", "no_fit"),
        ({"insulated": False}, {}, "insulated", "no_fit"),
        ({"insulated": None}, {}, "insulated", "not_confirmed"),
        ({"inspection_due": "2026-06-15"}, {}, "beam inspection", "fit"),
        ({"inspection_due": "2026-06-14"}, {}, "beam inspection", "no_fit"),
        ({"inspection_due": "2026-06"}, {}, "beam inspection", "not_confirmed"),
        ({"inspection_due": "2026-07"}, {}, "beam inspection", "fit"),
        ({"inspection_due": "2025"}, {}, "beam inspection", "no_fit"),
        ({"inspection_due": None}, {}, "beam inspection", "not_confirmed"),
        ({}, {"inspection_due": "2026-06-14"}, "hoist inspection", "no_fit"),
        ({}, {"inspection_due": None}, "hoist inspection", "not_confirmed"),
        ({"gear": None}, {}, "beam kind", "not_confirmed"),
        ({}, {"gear": "beam"}, "hoist kind", "not_confirmed"),
    ],
)
def test_lifting_gear(of_beam, of_hoist, name, result):
    found = verdict(battery(), beam(**of_beam), hoist(**of_hoist))
    assert line(found, name).result == result
    assert found.result == result


@pytest.mark.parametrize(
    ("spacing", "low", "high", "result"),
    [
        ("800 mm", "700 mm", "900 mm", "fit"),
        ("900 mm", "700 mm", "900 mm", "fit"),
        ("901 mm", "700 mm", "900 mm", "no_fit"),
        ("699 mm", "700 mm", "900 mm", "no_fit"),
        (None, "700 mm", "900 mm", "not_confirmed"),
        ("800 mm", "700 mm", None, "not_confirmed"),
        ("600 mm", "700 mm", None, "no_fit"),
        ("800 mm", "900 mm", "700 mm", "not_confirmed"),
    ],
)
def test_lugs_inside_the_range_of_the_beam(spacing, low, high, result):
    a_beam = beam(lug_spacing_min=low, lug_spacing_max=high)
    found = verdict(battery(lug_spacing=spacing), a_beam, hoist())
    assert line(found, "lug spacing").result == result


def test_the_heavier_of_stamp_and_scale_counts():
    a_battery = battery(weight="1400 kg", weighed="1490 kg", scale_error="11 kg")
    assert line(verdict(a_battery, beam(), hoist()), "beam load").result == "no_fit"
    lighter_on_the_scale = battery(weight="1501 kg", weighed="1400 kg")
    assert line(verdict(lighter_on_the_scale, beam(), hoist()), "beam load").result == "no_fit"


def test_ballast_is_lifted_too():
    found = verdict(battery(ballast="400 kg"), beam(), hoist())
    assert line(found, "beam load").result == "no_fit"


def test_an_unknown_weight_is_never_lifted():
    assert verdict(battery(weight=None), beam(), hoist()).result == "not_confirmed"
    weighed_only = battery(weight=None, weighed="1000 kg")
    assert verdict(weighed_only, beam(), hoist()).result == "not_confirmed"
    too_heavy = battery(weight=None, weighed="1600 kg")
    assert verdict(too_heavy, beam(), hoist()).result == "no_fit"


def test_both_beam_and_hoist_must_be_named():
    assert verdict(battery(), beam(), None).result == "not_confirmed"
    assert verdict(battery(), None, hoist()).result == "not_confirmed"
    assert verdict(battery(), None, None).result == "not_confirmed"
    assert verdict(battery(), None, hoist(rated_load="1000 kg")).result == "no_fit"


def test_a_load_is_never_shown_lighter_than_it_is():
    found = verdict(battery(weight="2450 lb"), beam(), hoist())
    assert line(found, "beam load").found == "1112 kg"  # 1111.3013 kg
    in_tonnes = verdict(battery(weight="2450 lb"), beam(rated_load="2 t"), hoist())
    assert line(in_tonnes, "beam load").found == "1.112 t"


def test_an_unmarried_battery_is_not_confirmed():
    assert verdict(battery(), beam(), hoist(), married=False).result == "not_confirmed"
