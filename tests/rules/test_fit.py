"""Which battery may go into which truck."""

from __future__ import annotations

import re
from dataclasses import fields, replace
from decimal import Decimal

import pytest
from fit_plates import assumed, battery, fact, line, truck, verdict
from hypothesis import given, settings
from hypothesis import strategies as st
from tagkit.assets.battery import Battery
from tagkit.assets.stated import Source, Stated
from tagkit.assets.truck import Truck
from tagkit.rules.fit import check_fit
from tagkit.settings import FitSettings
from tagkit.units import UNITS, Quantity, quantity


def test_inside_the_window_is_a_fit():
    found = verdict(battery(), truck())
    assert found.result == "fit"
    assert [check.name for check in found.checks] == ["voltage", "weight", "chemistry"]
    weight = line(found, "weight")
    assert (weight.required, weight.found) == ("1000 kg to 1200 kg", "1111 kg")
    assert weight.margin == quantity("89", "kg")
    assert weight.source == "battery stamped, truck nameplate"


@pytest.mark.parametrize("limit", ["1000 kg", "1200 kg", "1000.0 kg", "1.2 t", "1000000 g"])
def test_exactly_at_the_limit_in_the_same_unit_is_a_fit(limit):
    weight = line(verdict(battery(weight=limit), truck()), "weight")
    assert weight.result == "fit"
    assert weight.margin == quantity("0", "kg")
    assert "conversion" not in weight.note


@pytest.mark.parametrize("weight", ["1200.001 kg", "999.999 kg", "1.2001 t", "999999 g"])
def test_a_hair_beyond_the_limit_in_the_same_unit_is_no_fit(weight):
    assert verdict(battery(weight=weight), truck()).result == "no_fit"


SAID = re.compile(r"([\d.]+) (kg|lb)")


@pytest.mark.parametrize(
    ("weight", "window", "found", "note"),
    [
        ("4300 lb", ("1000 kg", "1200 kg"), "4300 lb (1951 kg)", "too heavy by 751 kg"),
        ("1951 kg", ("2200 lb", "2600 lb"), "1951 kg (4302 lb)", "too heavy by 1702 lb"),
        ("900 kg", ("2200 lb", "2600 lb"), "900 kg (1984 lb)", "too light by 216 lb"),
        ("2240 lb", ("2300 lb", "2600 lb"), "2240 lb", "too light by 60 lb"),
        ("1200.4 kg", ("1000 kg", "1200 kg"), "1200.4 kg", "too heavy by 1 kg"),
        ("2643.9 lb", ("2200 lb", "2600 lb"), "2643.9 lb", "too heavy by 44 lb"),
    ],
)
def test_by_how_much_is_said_in_whole_units_of_the_window_and_never_too_little(
    weight, window, found, note
):
    low, high = window
    told = line(verdict(battery(weight=weight), truck(weight_min=low, weight_max=high)), "weight")
    assert (told.found, told.note) == (found, note)
    assert told.required == f"{low} to {high}"
    # What is said of it in the window's unit agrees: the limit and what is beyond it.
    said = int(SAID.findall(told.found)[-1][0].partition(".")[0])
    limit = int(window["heavy" in note].split()[0])
    beyond = int(note.split()[3])
    assert abs(abs(said - limit) - beyond) <= 1
    assert abs(told.margin.value) == beyond and told.margin.unit == window[0].split()[1]


@pytest.mark.parametrize(
    ("weight", "window", "margin"),
    [("2240 lb", ("1000 kg", "1200 kg"), "16 kg"), ("1016.9 kg", ("1000 kg", "1200 kg"), "16 kg"),
     ("1016 kg", ("2200 lb", "2600 lb"), "39 lb")],
)  # fmt: skip
def test_a_margin_is_said_in_whole_units_and_never_too_much(weight, window, margin):
    low, high = window
    told = line(verdict(battery(weight=weight), truck(weight_min=low, weight_max=high)), "weight")
    assert told.result == "fit" and str(told.margin) == margin


def test_ballast_marked_in_another_unit_is_summed_in_the_window_s():
    told = line(verdict(battery(weight="1111 kg", ballast="220 lb"), truck()), "weight")
    assert told.found == "1111 kg + 220 lb ballast (1211 kg)"
    assert told.note == "too heavy by 11 kg"


def test_a_scale_in_another_unit_is_said_in_the_window_s_too():
    window = {"weight_min": "2200 lb", "weight_max": "2600 lb"}
    told = line(verdict(battery(weight="2300 lb", weighed="1150 kg"), truck(**window)),
                "scale weight")  # fmt: skip
    assert told.found == "1150 kg ± 12 kg (2535 lb ± 26 lb)"
    assert "stamp 2300 lb and scale 1150 kg (2535 lb) differ" in told.note
    assert told.margin.unit == "lb" and told.margin.value == int(told.margin.value)


def test_at_the_limit_across_pounds_and_kilograms_conversion_decides():
    # 2450 lb are 1111.30 kg: whoever marked 1111 kg rounded.
    found = verdict(battery(weight="2450 lb"), truck(weight_max="1111 kg"))
    assert found.result == "fit"
    assert "conversion decides" in line(found, "weight").note
    assert line(found, "weight").margin.value < 0
    just_inside = verdict(battery(weight="2450 lb"), truck(weight_min="1111 kg"))
    assert just_inside.result == "fit"
    assert "conversion decides" in line(just_inside, "weight").note
    other_way = verdict(
        battery(weight="1111 kg"), truck(weight_min="2450 lb", weight_max="3000 lb")
    )
    assert other_way.result == "fit"
    assert "conversion decides" in line(other_way, "weight").note


@pytest.mark.parametrize(
    ("weight", "limit", "result"),
    [
        # Exactly 1 kg over: 1 lb is 0.45359237 kg.
        ("1112 kg", "2449.355265537 lb", "fit"),
        ("1112.5 kg", "2450 lb", "no_fit"),
        ("2453 lb", "1111 kg", "no_fit"),
        ("2451 lb", "1111 kg", "fit"),
        # Tonnes against pounds still give no more than 1 kg; grams against pounds one pound.
        ("1.113 t", "2450 lb", "no_fit"),
        ("1112300 g", "2450 lb", "no_fit"),
        ("1111700 g", "2450 lb", "fit"),
        # Tonnes and grams against kilograms are one family: no tolerance.
        ("1.1112 t", "1111 kg", "no_fit"),
        ("1111001 g", "1111 kg", "no_fit"),
        ("2450.5 lb", "2450 lb", "no_fit"),
    ],
)
def test_conversion_gives_one_unit_of_the_coarser_marking_and_no_more(weight, limit, result):
    assert line(verdict(battery(weight=weight), truck(weight_max=limit)), "weight").result == result


def test_two_kilograms_under_is_no_fit_by_two_kilograms():
    found = verdict(battery(weight="998 kg"), truck())
    assert found.result == "no_fit"
    weight = line(found, "weight")
    assert weight.margin == quantity("-2", "kg")
    assert weight.note == "too light by 2 kg"


def test_two_kilograms_under_across_units_is_no_fit():
    assert verdict(battery(weight="2200 lb"), truck()).result == "no_fit"  # 997.9 kg


def test_approved_ballast_counts_and_is_shown():
    found = verdict(battery(weight="980 kg", ballast="20 kg"), truck())
    assert found.result == "fit"
    assert line(found, "weight").found == "980 kg + 20 kg ballast"
    assert line(found, "weight").source == "battery stamped, ballast stamped, truck nameplate"
    assert verdict(battery(weight="1190 kg", ballast="20 kg"), truck()).result == "no_fit"


def test_weight_missing_is_not_confirmed():
    found = verdict(battery(weight=None), truck())
    assert found.result == "not_confirmed"
    weight = line(found, "weight")
    assert weight.found is None
    assert weight.source == "battery unknown, truck nameplate"
    assert "service weight is not known" in weight.note


@pytest.mark.parametrize(
    ("limits", "result"),
    [
        ({"weight_min": None}, "not_confirmed"),
        ({"weight_max": None}, "not_confirmed"),
        ({"weight_min": None, "weight_max": None}, "not_confirmed"),
        ({"weight_min": None, "weight_max": "1100 kg"}, "no_fit"),
        ({"weight_min": "1112 kg", "weight_max": None}, "no_fit"),
        ({"weight_min": "1200 kg", "weight_max": "1000 kg"}, "not_confirmed"),
    ],
)
def test_a_plate_that_states_only_part_of_the_window(limits, result):
    assert line(verdict(battery(), truck(**limits)), "weight").result == result


def test_unmarried_is_not_confirmed_and_says_who():
    found = verdict(battery(), truck(), battery_married=False)
    assert found.result == "not_confirmed"
    assert line(found, "married").found == "battery not married"
    both = verdict(battery(), truck(), battery_married=False, truck_married=False)
    assert line(both, "married").found == "battery and truck not married"


def test_an_unmarried_battery_of_a_plainly_wrong_voltage_is_no_fit():
    assert verdict(battery(voltage="24 V"), truck(), battery_married=False).result == "no_fit"


def test_36_volts_on_48_is_no_fit():
    found = verdict(battery(voltage="36 V"), truck())
    assert found.result == "no_fit"
    assert line(found, "voltage").note == "a 36 V battery in a 48 V truck"


def test_an_unknown_voltage_is_not_confirmed():
    assert verdict(battery(voltage=None), truck()).result == "not_confirmed"
    assert verdict(battery(), truck(voltage=None)).result == "not_confirmed"


def test_millivolts_are_the_same_voltage():
    assert verdict(battery(voltage="48000 mV"), truck()).result == "fit"


@pytest.mark.parametrize(
    ("chemistry", "allowed", "result"),
    [
        ("vented", None, "fit"),
        ("lithium", None, "not_confirmed"),
        ("gel", None, "not_confirmed"),
        ("agm", None, "not_confirmed"),
        ("tppl", None, "not_confirmed"),
        (None, None, "not_confirmed"),
        ("vented", ["vented"], "fit"),
        ("gel", ["vented", "gel"], "fit"),
        ("lithium", ["vented", "gel"], "no_fit"),
        ("vented", ["lithium"], "no_fit"),
        (None, ["vented"], "not_confirmed"),
    ],
)
def test_chemistry(chemistry, allowed, result):
    found = line(verdict(battery(chemistry=chemistry), truck(chemistries=allowed)), "chemistry")
    assert found.result == result
    assert ("assumed" in found.source) == (allowed is None)


# (what the truck states, what the battery has, result, line)
STATED = [
    ({"connector": "DX 350, grey"}, {"connector": "dx350 GREY"}, "fit", "connector"),
    ({"connector": "350 grey"}, {"connector": "350 red"}, "no_fit", "connector"),
    ({"connector": "350 grey"}, {"connector": None}, "not_confirmed", "connector"),
    ({"connector": "---"}, {"connector": "..."}, "not_confirmed", "connector"),
    ({"cable_side": "left"}, {"cable_side": "left"}, "fit", "cable side"),
    ({"cable_side": "left"}, {"cable_side": "right"}, "no_fit", "cable side"),
    ({"cable_side": "left"}, {}, "not_confirmed", "cable side"),
    ({"cable_length": "400 mm"}, {"cable_length": "40 cm"}, "fit", "cable length"),
    ({"cable_length": "400 mm"}, {"cable_length": "399 mm"}, "no_fit", "cable length"),
    ({"cable_length": "400 mm"}, {}, "not_confirmed", "cable length"),
    ({"hazard_type": "EE"}, {"hazard_type": "EE"}, "fit", "hazardous location"),
    ({"hazard_type": "EE"}, {"hazard_type": "E"}, "no_fit", "hazardous location"),
    ({"hazard_type": "E"}, {"hazard_type": "EE"}, "no_fit", "hazardous location"),
    ({"hazard_type": "EE"}, {}, "not_confirmed", "hazardous location"),
    ({"atex_category": "II 2 G"}, {"atex_category": "ii2g"}, "fit", "ATEX category"),
    ({"atex_category": "II 2 G"}, {"atex_category": "II 3 G"}, "no_fit", "ATEX category"),
    ({"atex_category": "II 2 G"}, {}, "not_confirmed", "ATEX category"),
    ({"capacity_max": "775 Ah", "capacity_rate": 5}, {}, "fit", "capacity"),
    ({"capacity_max": "774 Ah", "capacity_rate": 5}, {}, "no_fit", "capacity"),
    ({"capacity_max": "900 Ah", "capacity_rate": 6}, {}, "not_confirmed", "capacity"),
    ({"capacity_max": "700 Ah", "capacity_rate": 6}, {}, "not_confirmed", "capacity"),
    ({"capacity_max": "900 Ah"}, {}, "not_confirmed", "capacity"),
    ({"capacity_max": "900 Ah", "capacity_rate": 5}, {"capacity_rate": None}, "not_confirmed",
     "capacity"),
    ({"capacity_max": "900 Ah", "capacity_rate": 5}, {"capacity": None}, "not_confirmed",
     "capacity"),
    ({"compartment_height": "600 mm"}, {"height": "600 mm"}, "fit", "height"),
    ({"compartment_height": "600 mm"}, {"height": "300 mm"}, "fit", "height"),
    ({"compartment_height": "600 mm"}, {"height": "600.1 mm"}, "no_fit", "height"),
    ({"compartment_height": "600 mm"}, {}, "not_confirmed", "height"),
]  # fmt: skip


@pytest.mark.parametrize(("states", "has", "result", "name"), STATED)
def test_what_the_truck_states_is_required(states, has, result, name):
    found = verdict(battery(**has), truck(**states))
    assert line(found, name).result == result
    assert found.result == result


def test_what_the_truck_does_not_state_is_not_asked():
    everything = battery(connector="350 grey", cable_side="left", cable_length="400 mm",
                         length="1000 mm", width="700 mm", height="600 mm", hazard_type="EE",
                         atex_category="II 2 G")  # fmt: skip
    names = [check.name for check in verdict(everything, truck()).checks]
    assert names == ["voltage", "weight", "chemistry"]


@pytest.mark.parametrize("side", ["length", "width"])
@pytest.mark.parametrize(
    ("has", "spacer", "result"),
    [
        ("1000 mm", None, "fit"),
        ("987 mm", None, "fit"),
        ("986.9 mm", None, "no_fit"),
        ("960 mm", None, "no_fit"),
        ("960 mm", "30 mm", "fit"),
        ("960 mm", "27 mm", "fit"),
        ("960 mm", "26 mm", "no_fit"),
        ("960 mm", "41 mm", "no_fit"),
        ("1000.1 mm", None, "no_fit"),
        (None, None, "not_confirmed"),
    ],
)
def test_the_battery_goes_in_and_can_not_slide(side, has, spacer, result):
    a_truck = truck(**{f"compartment_{side}": "1000 mm", f"spacer_{side}": spacer})
    assert line(verdict(battery(**{side: has}), a_truck), side).result == result


def test_play_of_40_mm_says_so():
    a_truck = truck(compartment_length="1000 mm")
    found = line(verdict(battery(length="960 mm"), a_truck), "length")
    assert found.note.startswith("40 mm of play")
    assert found.margin == quantity("-27", "mm")


def test_play_across_inches_is_exact():
    a_truck = truck(compartment_length="40 in")  # 1016 mm
    assert line(verdict(battery(length="1003 mm"), a_truck), "length").result == "fit"
    assert line(verdict(battery(length="1002.9 mm"), a_truck), "length").result == "no_fit"


def test_the_battery_is_not_turned_to_go_in():
    a_truck = truck(compartment_length="1000 mm", compartment_width="700 mm")
    turned = battery(length="700 mm", width="1000 mm")
    assert verdict(turned, a_truck).result == "no_fit"


@pytest.mark.parametrize(
    ("weighed", "error", "result"),
    [
        ("1111 kg", None, "fit"),  # 1 % of the reading: 1099.89 to 1122.11
        ("1132 kg", None, "fit"),
        ("1134 kg", None, "not_confirmed"),  # more than 2 % of 1111 kg from the stamp
        ("1195 kg", "5 kg", "not_confirmed"),  # and from the stamp
        ("1190 kg", None, "not_confirmed"),  # may be 1201.9
        ("1220 kg", None, "no_fit"),  # at least 1207.8
        ("980 kg", None, "no_fit"),  # at most 989.8
        ("995 kg", "10 kg", "not_confirmed"),
    ],
)
def test_a_weighed_battery(weighed, error, result):
    found = verdict(battery(weighed=weighed, scale_error=error), truck())
    assert line(found, "scale weight").result == result


def test_the_scale_with_its_error_exactly_at_the_limit_is_a_fit():
    heavy = battery(weight="1190 kg", weighed="1195 kg", scale_error="5 kg")
    assert verdict(heavy, truck()).result == "fit"
    heavier = battery(weight="1190 kg", weighed="1195.01 kg", scale_error="5 kg")
    assert verdict(heavier, truck()).result == "not_confirmed"


def test_the_scale_sees_the_ballast_too():
    assert verdict(battery(weight="980 kg", ballast="40 kg", weighed="1020 kg"), truck()).fits
    without = battery(weight="1080 kg", weighed="1120 kg")
    assert verdict(without, truck()).result == "not_confirmed"


def test_a_scale_does_not_replace_the_stamp():
    assert verdict(battery(weight=None, weighed="1111 kg"), truck()).result == "not_confirmed"


def test_a_catalogue_figure_shows_its_source():
    from_sheet = battery(connector=fact("350 grey", Source.CATALOGUE))
    found = line(verdict(from_sheet, truck(connector="350 grey")), "connector")
    assert found.source == "battery catalogue, truck nameplate"


@pytest.mark.parametrize("name", ["voltage", "weight", "chemistry"])
def test_a_figure_that_nobody_has_read_confirms_nothing(name):
    a_battery = battery()
    guessed = replace(a_battery, **{name: assumed(getattr(a_battery, name))})
    assert verdict(guessed, truck()).result == "not_confirmed"


def test_limits_come_from_the_settings():
    loose = FitSettings(play_mm=50, scale_difference_percent=10)
    a_truck = truck(compartment_length="1000 mm")
    assert verdict(battery(length="960 mm"), a_truck, settings=loose).fits
    assert verdict(battery(weighed="1150 kg"), truck(), settings=loose).fits


ANYTHING = st.one_of(
    st.none(),
    st.text(max_size=8),
    st.integers(),
    st.floats(),
    st.booleans(),
    st.lists(st.integers(), max_size=2),
    st.tuples(st.text(max_size=3)),
    st.builds(
        Quantity,
        st.decimals(allow_nan=False, allow_infinity=False),
        st.sampled_from(sorted(UNITS)),
    ),
    st.sampled_from([quantity("1e400", "kg"), quantity("-1e-400", "V"), quantity("0", "kg"),
                     Quantity(Decimal("9" * 400), "lb"), 10**5000]),
)  # fmt: skip
STATED_ANYHOW = st.one_of(
    st.none(),
    ANYTHING,
    st.builds(Stated, ANYTHING, st.one_of(st.sampled_from(list(Source)), st.text(max_size=3))),
)


def nonsense(kind):
    return st.builds(
        lambda facts: kind(**facts),
        st.fixed_dictionaries({entry.name: STATED_ANYHOW for entry in fields(kind)}),
    )


@settings(max_examples=100, deadline=None)
@given(nonsense(Battery), nonsense(Truck), st.booleans())
def test_nonsense_in_a_nameplate_raises_nothing_and_fits_nothing(a_battery, a_truck, married):
    found = check_fit(a_battery, a_truck, settings=FitSettings(), battery_married=married,
                      truck_married=True, jumpered=())  # fmt: skip
    assert found.result in ("fit", "no_fit", "not_confirmed")
    if found.fits:
        # Only where the three that always count are really there.
        assert isinstance(a_battery.voltage, Stated) and isinstance(a_battery.weight, Stated)
    assert found.to_json()["verdict"] == found.result


@pytest.mark.parametrize("name", ["voltage", "weight", "ballast", "chemistry", "weighed",
                                  "scale_error"])  # fmt: skip
@pytest.mark.parametrize("value", ["soon", quantity("-3", "kg"), quantity("1", "h"), [], 7])
def test_an_impossible_figure_is_not_confirmed(name, value):
    usual = {"weighed": fact("1111 kg")} if name == "scale_error" else {}
    broken = replace(battery(**usual), **{name: Stated(value, Source.STAMPED)})
    found = verdict(broken, truck())
    assert found.result == "not_confirmed"
    assert "not possible" in "; ".join(check.note for check in found.deciding)


@given(st.sets(st.integers(1, 40), min_size=1))
def test_a_battery_with_a_jumpered_cell_is_never_a_fit(cells):
    found = verdict(battery(), truck(), jumpered=sorted(cells))
    assert verdict(battery(), truck()).result == "fit"
    assert found.result == "not_confirmed"
    assert [check.name for check in found.deciding] == ["cells"]
    assert "temporary repair" in line(found, "cells").note
    lighter = verdict(battery(weight="600 kg"), truck(), jumpered=sorted(cells))
    assert lighter.result == "no_fit"
