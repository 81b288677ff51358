"""The pool played through."""

from __future__ import annotations

from dataclasses import replace

import pytest

pytest.importorskip("simpy", reason="the pool simulation needs simpy: pip install simpy")

from tagkit.rules.pool import batteries_per_truck, least_batteries, waiting_md_c
from tagkit.rules.pool_simulation import (
    BatteryKind,
    ChargerKind,
    PoolPlan,
    TruckGroup,
    charge_hours,
    least,
    simulate,
)

ALWAYS = ((0.0, 24.0),)
# Eight hours of use, eight of charging, eight of rest, and no time lost between.
ROUND_THE_CLOCK = PoolPlan(
    trucks=(TruckGroup("reach", 10, "36 V", ALWAYS, 10.0, 0.0),),
    batteries=(BatteryKind("36 V", 30, 36, 700),),
    chargers=(ChargerKind("row A", 10, frozenset({"36 V"})),),
    change_minutes=0,
    change_stations=10,
    to_charger_minutes=0,
)
DEPOT = PoolPlan(
    trucks=(
        TruckGroup("pallet", 8, "24 V"),
        TruckGroup("reach", 8, "36 V", ((6, 14), (14, 22), (22, 30))),
        TruckGroup("stand", 6, "48 V"),
        TruckGroup("yard", 4, "80 V"),
    ),
    batteries=(
        BatteryKind("24 V", 22, 24, 400), BatteryKind("36 V", 24, 36, 700),
        BatteryKind("48 V", 16, 48, 775), BatteryKind("80 V", 12, 80, 600),
    ),
    chargers=(
        ChargerKind("24", 6, frozenset({"24 V"})), ChargerKind("36", 10, frozenset({"36 V"})),
        ChargerKind("48", 5, frozenset({"48 V"})),
        ChargerKind("80", 3, frozenset({"80 V"}), efficiency=0.92),
    ),
)  # fmt: skip


def test_the_rule_of_thumb_and_the_simulation_agree_where_its_assumptions_hold():
    per_truck = batteries_per_truck(8, 8, 8)
    needed = least(ROUND_THE_CLOCK, 100.0)
    assert needed.batteries["36 V"] == least_batteries(10, per_truck) == 30
    assert needed.chargers["row A"] == 10


def test_one_battery_fewer_and_trucks_wait():
    assert simulate(ROUND_THE_CLOCK).waited == 0
    fewer = replace(ROUND_THE_CLOCK, batteries=(BatteryKind("36 V", 29, 36, 700),))
    assert simulate(fewer).waited > 0


def test_a_queue_at_the_station_waits_as_long_as_m_d_c_says():
    # 400 trucks that ask for a change each 8 h or so, independently: close to Poisson.
    busy = replace(
        ROUND_THE_CLOCK,
        trucks=(TruckGroup("reach", 400, "36 V", ALWAYS, 10.0, 0.15),),
        batteries=(BatteryKind("36 V", 1600, 36, 700),),
        chargers=(ChargerKind("row A", 800, frozenset({"36 V"})),),
        change_minutes=2.4,
        change_stations=3,
        days=16,
    )
    found = simulate(busy)
    arrivals = found.changes / (15 * 24)
    expected = 60 * waiting_md_c(arrivals, 2.4 / 60, 3)
    assert found.mean_station_minutes == pytest.approx(expected, rel=0.06)
    assert found.mean_wait_minutes == found.mean_of_waiting_minutes == 0


def test_the_same_plan_gives_the_same_result():
    assert simulate(DEPOT) == simulate(DEPOT)
    assert simulate(replace(DEPOT, seed=1)) != simulate(DEPOT)


def test_energy_follows_from_what_was_charged():
    # Each charge returns 0.8 x 700 Ah x 1.15 at 43.2 V, from the mains at 80 %: 34.8 kWh.
    found = simulate(replace(ROUND_THE_CLOCK, price_per_kwh=0.25))
    days = ROUND_THE_CLOCK.days - ROUND_THE_CLOCK.warm_up_days
    kwh = 0.8 * 700 * 1.15 * 43.2 / 1000 / 0.80
    assert found.energy_kwh == pytest.approx(days * 10 * 3 * kwh, rel=0.01)
    assert found.cost == pytest.approx(found.energy_kwh * 0.25)
    assert found.charger_use_percent["row A"] == pytest.approx(100, abs=0.5)
    # Ten chargers at bulk power at most, and never below the mean.
    bulk = kwh / (8 * 0.75 + 8 * 0.25 * 0.25)
    assert found.energy_kwh / days / 24 < found.peak_kw <= 10 * bulk + 1e-6


def test_without_a_price_there_is_no_cost():
    assert simulate(ROUND_THE_CLOCK).cost is None


def test_chargers_in_short_supply_show_as_waiting_trucks():
    short = replace(ROUND_THE_CLOCK, chargers=(ChargerKind("row A", 8, frozenset({"36 V"})),))
    found = simulate(short)
    assert found.waited > 0 and found.service_percent < 100
    assert short.tolerated_minutes < found.mean_of_waiting_minutes <= found.longest_wait_minutes
    assert found.mean_wait_minutes <= found.mean_of_waiting_minutes
    assert found.hours_lost > 0 and found.most_waiting >= 1
    assert least(replace(short, days=10), 100.0).batteries["36 V"] is None


def test_a_busy_station_is_told_apart_from_missing_batteries():
    one_station = replace(ROUND_THE_CLOCK, change_minutes=40.0, change_stations=1,
                          batteries=(BatteryKind("36 V", 50, 36, 700),),
                          chargers=(ChargerKind("row A", 20, frozenset({"36 V"})),))  # fmt: skip
    found = simulate(one_station)
    assert found.mean_station_minutes > 0 and found.waited == 0


def test_more_batteries_never_serve_worse():
    shares = []
    for count in (8, 12, 16, 20, 24):
        kinds = (DEPOT.batteries[0], replace(DEPOT.batteries[1], count=count), *DEPOT.batteries[2:])
        shares.append(simulate(replace(DEPOT, batteries=kinds)).service_percent)
    assert shares == sorted(shares)


def test_weekends_off_and_night_shifts_past_midnight():
    weekdays = replace(
        ROUND_THE_CLOCK,
        trucks=(TruckGroup("reach", 4, "36 V", ((22, 30),), 20.0, 0.0, frozenset(range(5))),),
    )
    found = simulate(weekdays)
    assert found.changes > 0
    assert sum(found.changes_by_hour[6:22]) == 0
    assert found.busiest_hour is not None and (found.busiest_hour >= 22 or found.busiest_hour < 6)


def test_a_fleet_that_stands_has_no_service_level():
    nobody = replace(ROUND_THE_CLOCK, trucks=())
    found = simulate(nobody)
    assert (found.changes, found.service_percent, found.busiest_hour) == (0, None, None)
    assert least(nobody).batteries["36 V"] == 0


def test_plans_that_can_not_be_are_refused():
    with pytest.raises(ValueError, match="fewer batteries than trucks"):
        simulate(replace(ROUND_THE_CLOCK, batteries=(BatteryKind("36 V", 9, 36, 700),)))
    with pytest.raises(ValueError, match="no battery kind"):
        simulate(replace(ROUND_THE_CLOCK, batteries=()))
    with pytest.raises(ValueError, match="use per hour"):
        simulate(replace(ROUND_THE_CLOCK, trucks=(TruckGroup("x", 1, "36 V", ALWAYS, 0.0),)))


def test_a_charge_takes_its_tail_whatever_the_depth():
    charger = ChargerKind("row A", 1, frozenset({"36 V"}), full_hours=8)
    assert charge_hours(80, charger) == 8
    assert charge_hours(40, charger) == 5
    assert charge_hours(0, charger) == 2


def test_a_charger_of_one_kind_is_taken_before_one_that_others_need_too():
    shared = replace(
        ROUND_THE_CLOCK,
        chargers=(
            ChargerKind("both", 2, frozenset({"36 V", "48 V"})),
            ChargerKind("row A", 10, frozenset({"36 V"})),
        ),
    )
    use = simulate(shared).charger_use_percent
    assert use["row A"] == pytest.approx(100, abs=0.5) and use["both"] == 0


def test_who_has_waited_longest_for_a_charger_gets_it_whatever_its_kind():
    # Two kinds of trucks at the same work share chargers that are too few: none is favoured.
    alike = ("36 V", "48 V")
    shared = replace(
        ROUND_THE_CLOCK,
        trucks=tuple(TruckGroup(name, 10, name, ALWAYS, 10.0, 0.15) for name in alike),
        batteries=tuple(BatteryKind(name, 30, 36, 700) for name in alike),
        chargers=(ChargerKind("row", 16, frozenset(alike)),),
    )
    found = simulate(shared)
    one, other = (found.service_by_kind[name] for name in alike)
    assert found.charger_use_percent["row"] > 99
    assert one is not None and other is not None and one == pytest.approx(other, abs=10)
