"""The pool of 26 trucks over 30 days: ``python tests/bench/care/bench_pool.py``.

Prints how long a simulation and the search for the least pool take, and how the simulation
compares with the rule of thumb and with exact M/D/c waits.
"""

from __future__ import annotations

import time
from dataclasses import replace

from tagkit.rules.pool import batteries_per_truck, least_batteries, waiting_md_c
from tagkit.rules.pool_simulation import (
    BatteryKind,
    ChargerKind,
    PoolPlan,
    TruckGroup,
    least,
    simulate,
)

THREE_SHIFTS = ((6.0, 14.0), (14.0, 22.0), (22.0, 30.0))
ALWAYS = ((0.0, 24.0),)
DEPOT = PoolPlan(
    trucks=(
        TruckGroup("pallet", 8, "24 V"),
        TruckGroup("reach", 8, "36 V", THREE_SHIFTS),
        TruckGroup("counterbalance", 6, "48 V"),
        TruckGroup("heavy", 4, "80 V"),
    ),
    batteries=(
        BatteryKind("24 V", 22, 24, 400),
        BatteryKind("36 V", 26, 36, 700),
        BatteryKind("48 V", 16, 48, 775),
        BatteryKind("80 V", 12, 80, 600),
    ),
    chargers=(
        ChargerKind("24 V row", 6, frozenset({"24 V"})),
        ChargerKind("36 V row", 10, frozenset({"36 V"})),
        ChargerKind("48 V row", 5, frozenset({"48 V"})),
        ChargerKind("80 V row", 3, frozenset({"80 V"}), efficiency=0.92),
    ),
)
CLOCK = PoolPlan(
    trucks=(TruckGroup("reach", 10, "36 V", ALWAYS, 10.0, 0.0),),
    batteries=(BatteryKind("36 V", 30, 36, 700),),
    chargers=(ChargerKind("row", 10, frozenset({"36 V"})),),
    change_minutes=0,
    change_stations=10,
    to_charger_minutes=0,
)


def main() -> None:
    """Prints the figures."""
    simulate(replace(DEPOT, days=1))  # loads the library
    began = time.perf_counter()
    found = simulate(DEPOT)
    print(f"26 trucks, 30 days: {time.perf_counter() - began:.2f} s, {found.changes} changes")
    began = time.perf_counter()
    need = least(DEPOT, 99.0)
    print(f"least pool for 99 %: {time.perf_counter() - began:.1f} s")
    print(f"  batteries {dict(need.batteries)}, chargers {dict(need.chargers)}")
    needed = least(CLOCK, 100.0)
    rule = least_batteries(10, batteries_per_truck(8, 8, 8))
    print(f"10 trucks round the clock: simulation {needed.batteries['36 V']}, rule {rule}")
    print("| station | changes an hour | M/D/c, min | simulated, min |")
    print("|---|---|---|---|")
    for stations, minutes in ((1, 0.8), (2, 1.6), (3, 2.4), (4, 3.4)):
        plan = replace(
            CLOCK,
            trucks=(TruckGroup("reach", 400, "36 V", ALWAYS, 10.0, 0.15),),
            batteries=(BatteryKind("36 V", 1600, 36, 700),),
            chargers=(ChargerKind("row", 800, frozenset({"36 V"})),),
            change_minutes=minutes,
            change_stations=stations,
            days=60,
        )
        found = simulate(plan)
        arrivals = found.changes / 24 / (plan.days - plan.warm_up_days)
        exact = 60 * waiting_md_c(arrivals, minutes / 60, stations)
        print(
            f"| {stations} × {minutes} min | {arrivals:.1f} | {exact:.3f} "
            f"| {found.mean_station_minutes:.3f} |"
        )


if __name__ == "__main__":
    main()
