"""Time of a verdict in the process: the rules alone, and the station from a label to its screen.

Run by hand: python tests/bench/bench_verdict.py [ROUNDS]

Nothing is read from a record here; that is measured by the bench of the record. There is no peer
that does the same work: the row "bare comparison" is three comparisons of floats in Python, the
floor under any rule, and says what exact figures, sources and notes cost.
"""

from __future__ import annotations

import random
import statistics
import sys
import time
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

from tagkit.assets.battery import Battery
from tagkit.assets.stated import Source, Stated
from tagkit.assets.tag import Kind, Tag, serials_after, tag_for
from tagkit.assets.truck import Truck
from tagkit.rules.fit import check_fit
from tagkit.rules.readiness import ReadinessFacts, readiness
from tagkit.settings import FitSettings, ReadinessSettings, Settings
from tagkit.station.change import advance, begin
from tagkit.station.facts import AssetFacts
from tagkit.station.inputs import Seen, Shown
from tagkit.station.screen import look
from tagkit.units import Quantity

NOW = datetime(2026, 3, 2, 14, 0, tzinfo=UTC)
PAIRS = 500


def quantity(value: float, unit: str) -> Quantity:
    return Quantity(Decimal(str(value)), unit)


def stated(facts: dict[str, Any], source: Source) -> dict[str, Any]:
    return {name: Stated(value, source) for name, value in facts.items()}


def plain_pair(rng: random.Random) -> tuple[Battery, Truck]:
    """Voltage, weight and chemistry: what every plate states."""
    low = rng.randint(800, 1500)
    weight = quantity(low + rng.randint(-20, 120), "kg")
    battery = {"voltage": quantity(48, "V"), "weight": weight, "chemistry": "vented"}
    truck = {
        "voltage": quantity(48, "V"),
        "weight_min": quantity(low, "kg"),
        "weight_max": quantity(low + 100, "kg"),
    }
    return Battery(**stated(battery, Source.STAMPED)), Truck(**stated(truck, Source.NAMEPLATE))


def full_pair(rng: random.Random) -> tuple[Battery, Truck]:
    """Every requirement stated, pounds against kilograms, weighed, with spacers."""
    low = rng.randint(800, 1500)
    pounds = round((low + rng.randint(-20, 120)) / 0.45359237)
    battery = {
        "voltage": quantity(48, "V"), "weight": quantity(pounds, "lb"), "chemistry": "vented",
        "ballast": quantity(10, "kg"), "weighed": quantity(low + 50, "kg"),
        "scale_error": quantity(5, "kg"), "capacity": quantity(775, "Ah"), "capacity_rate": 5,
        "length": quantity(38.5, "in"), "width": quantity(690, "mm"),
        "height": quantity(600, "mm"), "connector": "DX 350 grey", "cable_side": "left",
        "cable_length": quantity(20, "in"), "hazard_type": "EE", "atex_category": "II 2 G",
    }  # fmt: skip
    truck = {
        "voltage": quantity(48, "V"), "weight_min": quantity(low, "kg"),
        "weight_max": quantity(low + 100, "kg"), "chemistries": ("vented", "gel"),
        "capacity_max": quantity(900, "Ah"), "capacity_rate": 5,
        "compartment_length": quantity(1000, "mm"), "spacer_length": quantity(15, "mm"),
        "compartment_width": quantity(700, "mm"), "compartment_height": quantity(620, "mm"),
        "connector": "dx350 GREY", "cable_side": "left", "cable_length": quantity(400, "mm"),
        "hazard_type": "EE", "atex_category": "ii2g",
    }  # fmt: skip
    return Battery(**stated(battery, Source.STAMPED)), Truck(**stated(truck, Source.NAMEPLATE))


RESTED = ReadinessFacts(
    chemistry="vented",
    last_charge_started_at=NOW - timedelta(hours=20),
    last_charged_at=NOW - timedelta(hours=12),
    last_charge_kind="conventional",
    charged_since_use=True,
)


class Room:
    """The facts of a station, already in memory."""

    now = NOW
    settings = Settings()

    def __init__(self, assets: dict[Tag, AssetFacts]) -> None:
        self.assets = assets

    def asset(self, tag: Tag) -> AssetFacts | None:
        return self.assets.get(tag)

    def may_release(self, person: str) -> bool:
        return False

    def last_change(self) -> None:
        return None


def timed(call: Callable[[Any], Any], inputs: list[Any], rounds: int) -> list[float]:
    """Microseconds of each call."""
    for given in inputs[:20]:
        call(given)
    times = []
    for number in range(rounds):
        given = inputs[number % len(inputs)]
        start = time.perf_counter_ns()
        call(given)
        times.append((time.perf_counter_ns() - start) / 1000)
    return times


def row(name: str, times: list[float]) -> None:
    cuts = statistics.quantiles(times, n=1000)
    p50, p95, p99 = cuts[499], cuts[949], cuts[989]
    print(f"{name:<44}{p50:>10.1f}{p95:>10.1f}{p99:>10.1f}{max(times):>10.1f}")


def station_room(rng: random.Random, serials: int) -> tuple[Room, Tag, list[Tag]]:
    site_serials = serials_after(Kind.BATTERY, "QM", 0)
    truck_tag = tag_for(Kind.TRUCK, "QM", next(serials_after(Kind.TRUCK, "QM", 0)))
    _, truck = full_pair(rng)
    assets = {truck_tag: AssetFacts(truck_tag, truck, married=True)}
    batteries = []
    for _ in range(serials):
        tag = tag_for(Kind.BATTERY, "QM", next(site_serials))
        battery, _ = full_pair(rng)
        assets[tag] = AssetFacts(tag, battery, married=True, readiness=RESTED)
        batteries.append(tag)
    return Room(assets), truck_tag, batteries


def main() -> None:
    rounds = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    rng = random.Random(7)
    limits, rest = FitSettings(), ReadinessSettings()
    room, truck_tag, batteries = station_room(rng, PAIRS)
    waiting = advance(begin(("brake", "seated"), "stand"), Shown((Seen(truck_tag),)), room)

    def fit(pair: tuple[Battery, Truck]) -> None:
        check_fit(
            *pair, settings=limits, battery_married=True, truck_married=True, jumpered=()
        ).to_json()

    def second_tag(tag: Tag) -> None:
        look(advance(waiting, Shown((Seen(tag),)), room), room)

    def bare(figures: tuple[float, float, float]) -> bool:
        volts, weight, low = figures
        return volts == 48.0 and low <= weight <= low + 100

    print(f"{rounds} calls each, {PAIRS} pairs, one core; µs")
    print(f"{'':<44}{'median':>10}{'p95':>10}{'p99':>10}{'most':>10}")
    floats = [(48.0, rng.uniform(800, 1600), 1000.0) for _ in range(PAIRS)]
    row("bare comparison of floats", timed(bare, floats, rounds))
    row("verdict, plain plates, as JSON",
        timed(fit, [plain_pair(rng) for _ in range(PAIRS)], rounds))  # fmt: skip
    row("verdict, everything stated, as JSON",
        timed(fit, [full_pair(rng) for _ in range(PAIRS)], rounds))  # fmt: skip
    row("readiness", timed(lambda facts: readiness(facts, rest, NOW, "use"), [RESTED], rounds))
    row("second tag shown -> screen, all stated", timed(second_tag, batteries, rounds // 4))


if __name__ == "__main__":
    main()
