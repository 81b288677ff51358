"""Which battery may go on which charger."""

from __future__ import annotations

import pytest
from fit_plates import battery, charger, line
from tagkit.rules.fit import check_charger


def verdict(a_battery, a_charger, married=True, jumpered=()):
    return check_charger(a_battery, a_charger, battery_married=married, jumpered=jumpered)


def test_a_battery_with_a_jumpered_cell_is_confirmed_on_no_charger():
    found = verdict(battery(), charger(), jumpered=(7,))
    assert found.result == "not_confirmed"
    assert [(check.name, check.found) for check in found.deciding] == [("cells", "jumpered: 7")]


def test_a_charger_of_the_right_voltage_range_and_profile_fits():
    found = verdict(battery(), charger())
    assert found.result == "fit"
    assert [check.name for check in found.checks] == ["voltage", "capacity", "chemistry"]
    assert line(found, "capacity").required == "400 Ah to 800 Ah at 5 h"


@pytest.mark.parametrize(
    ("has", "offers", "name", "result"),
    [
        ({"voltage": "36 V"}, {}, "voltage", "no_fit"),
        ({"voltage": "24 V"}, {}, "voltage", "fit"),
        ({"voltage": None}, {}, "voltage", "not_confirmed"),
        ({}, {"voltages": None}, "voltage", "not_confirmed"),
        ({"capacity": "800 Ah"}, {}, "capacity", "fit"),
        ({"capacity": "400 Ah"}, {}, "capacity", "fit"),
        ({"capacity": "801 Ah"}, {}, "capacity", "no_fit"),
        ({"capacity": "399 Ah"}, {}, "capacity", "no_fit"),
        ({"capacity": None}, {}, "capacity", "not_confirmed"),
        ({"capacity_rate": 6}, {}, "capacity", "not_confirmed"),
        ({"capacity_rate": None}, {}, "capacity", "not_confirmed"),
        ({}, {"capacity_rate": None}, "capacity", "not_confirmed"),
        ({}, {"capacity_min": None}, "capacity", "not_confirmed"),
        ({}, {"capacity_max": None}, "capacity", "not_confirmed"),
        ({}, {"capacity_min": None, "capacity_max": None}, "capacity", "not_confirmed"),
        ({}, {"capacity_min": None, "capacity_max": "700 Ah"}, "capacity", "no_fit"),
        ({}, {"capacity_min": "776 Ah", "capacity_max": None}, "capacity", "no_fit"),
        ({}, {"capacity_min": "900 Ah", "capacity_max": "700 Ah"}, "capacity", "not_confirmed"),
        ({"chemistry": "lithium"}, {}, "chemistry", "no_fit"),
        ({"chemistry": None}, {}, "chemistry", "not_confirmed"),
        ({}, {"chemistries": None}, "chemistry", "not_confirmed"),
        ({"connector": "160 grey"}, {"connector": "160 GREY"}, "connector", "fit"),
        ({"connector": "160 red"}, {"connector": "160 grey"}, "connector", "no_fit"),
        ({}, {"connector": "160 grey"}, "connector", "not_confirmed"),
    ],
)
def test_battery_on_charger(has, offers, name, result):
    found = verdict(battery(**has), charger(**offers))
    assert line(found, name).result == result
    assert found.result == result


def test_an_unmarried_battery_is_not_confirmed_on_any_charger():
    assert verdict(battery(), charger(), married=False).result == "not_confirmed"
