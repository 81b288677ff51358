"""An independent oracle agrees on 100,000 random pairs of battery and truck; no false fits.

The oracle is written from the design's section on fit, on whole numbers (units of 10 µg and
0.1 µm), and shares nothing with the rule. A pair is made as plain words first; the nameplates
and the oracle's numbers are both made from those.
"""

from __future__ import annotations

import random
from collections import Counter
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Any

import pytest
from tagkit.assets.battery import Battery
from tagkit.assets.stated import Source, Stated
from tagkit.assets.truck import Truck
from tagkit.rules import fit, lines, weight
from tagkit.rules.fit import check_fit
from tagkit.rules.verdict import verdict_of
from tagkit.settings import FitSettings
from tagkit.units import Quantity

PAIRS = 100_000
Facts = dict[str, Any]

# ---------------------------------------------------------------- the oracle

MASS = {"g": 10**5, "kg": 10**8, "t": 10**11, "lb": 45_359_237}
LENGTH = {"mm": 10**4, "cm": 10**5, "m": 10**7, "in": 254_000}


def whole(facts: Facts, name: str, units: dict[str, int]) -> int | None:
    """The figure as a whole number, 1,000 × 10 µg or 1,000 × 0.1 µm."""
    if facts.get(name) is None:
        return None
    number, unit = facts[name]
    return int(Decimal(number) * 1000) * units[unit]


def oracle(b: Facts, t: Facts) -> str:
    said: list[str] = []

    def must(known: bool, holds: bool = False) -> None:
        said.append("not_confirmed" if not known else "fit" if holds else "no_fit")

    if not (b["married"] and t["married"]):
        must(False)
    must(b["voltage"] is not None and t["voltage"] is not None, b["voltage"] == t["voltage"])
    weigh(b, t, must)
    if t["chemistries"] is None:
        must(b["chemistry"] == "vented", True)
    else:
        must(b["chemistry"] is not None, b["chemistry"] in t["chemistries"])
    if t["capacity_max"] is not None:
        rates = {b["capacity_rate"], t["capacity_rate"]}
        same_rate = len(rates) == 1 and None not in rates
        must(same_rate and b["capacity"] is not None,
             (b["capacity"] or 0) <= t["capacity_max"])  # fmt: skip
    for side in ("length", "width", "height"):
        room, has = whole(t, f"room_{side}", LENGTH), whole(b, side, LENGTH)
        if room is not None:
            play = None if has is None else room - has - (whole(t, f"spacer_{side}", LENGTH) or 0)
            most = 13 * 10**7 if side != "height" else room
            must(play is not None, play is not None and 0 <= play <= most)
    if t["connector"] is not None:
        must(b["connector"] is not None, letters(b["connector"]) == letters(t["connector"]))
    for same in ("cable_side", "hazard_type"):
        if t[same] is not None:
            must(b[same] is not None, b[same] == t[same])
    cable = whole(t, "cable_length", LENGTH)
    if cable is not None:
        has = whole(b, "cable_length", LENGTH)
        must(has is not None, has is not None and has >= cable)
    return "no_fit" if "no_fit" in said else "not_confirmed" if "not_confirmed" in said else "fit"


def weigh(b: Facts, t: Facts, must: Any) -> None:
    low, high = whole(t, "weight_min", MASS), whole(t, "weight_max", MASS)
    stamp, scale = whole(b, "weight", MASS), whole(b, "weighed", MASS)
    total = None if stamp is None else stamp + (whole(b, "ballast", MASS) or 0)
    one_kg = 1000 * MASS["kg"]
    if low is not None and high is not None and low > high:
        must(False)
        if scale is not None:
            must(False)
        return

    def tolerance(limit: str) -> int:
        units = {b["weight"][1], t[limit][1]}
        if len(units) == 1 or "lb" not in units:
            return 0
        return 1000 * MASS["lb"] if "g" in units else one_kg

    light = None not in (total, low) and total < low - tolerance("weight_min")
    heavy = None not in (total, high) and total > high + tolerance("weight_max")
    if light or heavy:
        must(True, False)
    else:
        must(total is not None and low is not None and high is not None, True)
    if scale is None:
        return
    error = whole(b, "scale_error", MASS)
    # Hundredths keep the 1 % and the 2 % whole.
    scale, error = 100 * scale, 100 * error if error is not None else scale
    if (low is not None and scale + error < 100 * low) or (
        high is not None and scale - error > 100 * high
    ):
        must(True, False)
    elif low is None or high is None or scale - error < 100 * low or scale + error > 100 * high:
        must(False)
    elif total is not None:
        must(abs(100 * total - scale) <= 2 * (stamp or 0), True)


def letters(words: str | None) -> str:
    return "".join(c for c in (words or "").lower() if c in "abcdefghijklmnopqrstuvwxyz0123456789")


# ------------------------------------------------------------- random pairs


class Pairs:
    """Pairs that are nearly right: limits hit exactly, by a hair, or across units."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)

    def often(self, share: float) -> bool:
        return self.random.random() < share

    def pair(self) -> tuple[Facts, Facts]:
        r = self.random
        t: Facts = {"married": self.often(0.97)}
        b: Facts = {"married": self.often(0.97)}
        t["voltage"] = self.maybe(0.98, r.choice(["24", "36", "48", "80"]))
        b["voltage"] = self.maybe(0.98, self.mostly(t["voltage"], ["24", "36", "48", "80"], 0.96))
        self.weights(b, t)
        kinds = ["vented", "gel", "agm", "tppl", "lithium"]
        t["chemistries"] = self.maybe(0.5, tuple(r.sample(kinds, r.randint(1, 3))))
        usual = t["chemistries"][0] if t["chemistries"] else "vented"
        b["chemistry"] = self.maybe(0.98, self.mostly(usual, kinds, 0.93))
        t["capacity_max"] = self.maybe(0.2, r.choice([400, 775, 1000]))
        t["capacity_rate"] = self.maybe(0.9, r.choice([5, 6]))
        b["capacity"] = self.maybe(0.95, (t["capacity_max"] or 600) + r.choice([-40, 0, 0, 1]))
        b["capacity_rate"] = self.maybe(0.97, self.mostly(t["capacity_rate"], [5, 6], 0.9))
        self.sizes(b, t)
        names = ["DX 350 grey", "DX 350 red", "Q-80"]
        spelt = {"DX 350 grey": "dx350-GREY", "DX 350 red": "DX350 Red", "Q-80": "q 80."}
        t["connector"] = self.maybe(0.2, r.choice(names))
        same = self.mostly(t["connector"], names, 0.9)
        b["connector"] = self.maybe(0.95, spelt[same] if self.often(0.5) else same)
        for name, values in (("cable_side", ["left", "right"]), ("hazard_type", ["E", "EE"])):
            t[name] = self.maybe(0.15, r.choice(values))
            b[name] = self.maybe(0.95, self.mostly(t[name], values, 0.92))
        t["cable_length"] = self.maybe(0.15, (str(r.choice([400, 508])), "mm"))
        b["cable_length"] = self.maybe(
            0.95, r.choice([("400", "mm"), ("20", "in"), ("50.8", "cm"), ("0.6", "m")])
        )
        return b, t

    def maybe(self, share: float, value: Any) -> Any:
        return value if self.often(share) else None

    def mostly(self, value: Any, others: list[Any], share: float) -> Any:
        return value if value is not None and self.often(share) else self.random.choice(others)

    def weights(self, b: Facts, t: Facts) -> None:
        r = self.random
        low = r.randint(180, 2500)
        units = r.choice([("kg", "kg"), ("lb", "lb"), ("kg", "lb"), ("t", "kg"), ("lb", "t")])
        t["weight_min"] = self.maybe(0.98, self.marked(low, units[0]))
        t["weight_max"] = self.maybe(0.98, self.marked(low + r.choice([0, 3, 60, 200]), units[1]))
        if self.often(0.01):
            t["weight_min"], t["weight_max"] = t["weight_max"], t["weight_min"]
        limit = r.choice([t["weight_min"], t["weight_max"]]) or ("1000", "kg")
        b["ballast"] = self.maybe(0.1, (str(r.choice([0, 10, 37])), r.choice(["kg", "lb"])))
        b["weight"] = self.maybe(0.98, self.near(limit, low))
        b["weighed"] = b["scale_error"] = None
        if self.often(0.15):
            about = b["weight"] or (str(low), "kg")
            off = r.choice(["0.97", "0.98", "0.985", "1", "1", "1.02", "1.0201", "1.2"])
            b["weighed"] = (f"{Decimal(about[0]) * Decimal(off):.3f}", about[1])
            b["scale_error"] = self.maybe(0.5, (str(r.choice([0, 1, 3])), "kg"))

    def marked(self, kilograms: int, unit: str) -> tuple[str, str]:
        """As a plate says it: converted and rounded as people do."""
        if unit == "lb":
            return str(round(kilograms / 0.45359237)), "lb"
        return (f"{kilograms / 1000:.3f}", "t") if unit == "t" else (str(kilograms), "kg")

    def near(self, limit: tuple[str, str], low: int) -> tuple[str, str]:
        """A stamp at the limit, by a hair or a unit beyond, in the same or in another unit."""
        r = self.random
        kind = r.randrange(6)
        if kind == 0:
            return limit
        if kind == 1:
            hair = r.choice(["0.001", "-0.001", "1", "-1", "0.5", "-0.5"])
            hair = str(Decimal(hair) / 1000) if limit[1] == "t" else hair
            return f"{Decimal(limit[0]) + Decimal(hair):.3f}", limit[1]
        exact = Decimal(limit[0]) * MASS[limit[1]]
        unit = r.choice(["kg", "lb", "g", "t"])
        if kind == 2:
            step = {"kg": "1", "lb": "1", "g": "1", "t": "0.001"}[unit]
            figure = (exact / MASS[unit]).quantize(Decimal(step))
            return str(figure + r.randint(-3, 3) * Decimal(step)), unit
        if kind == 3:
            beyond = r.choice([MASS["kg"], -MASS["kg"], MASS["lb"], -MASS["lb"]])
            return f"{(exact + beyond) / MASS[unit]:.3f}", unit
        return self.marked(low + r.choice([1, 2, 30, 59]), r.choice(["kg", "lb", "t"]))

    def sizes(self, b: Facts, t: Facts) -> None:
        r = self.random
        for side, stated in (("length", 0.25), ("width", 0.2), ("height", 0.2)):
            room = r.choice([("1000", "mm"), ("40", "in"), ("83.5", "cm"), ("1.02", "m")])
            t[f"room_{side}"] = self.maybe(stated, room)
            t[f"spacer_{side}"] = None
            spacer = 0
            if side != "height" and self.often(0.15):
                spacer = r.choice([5, 20])
                t[f"spacer_{side}"] = (str(spacer), "mm")
            play = Decimal(r.choice(["0", "13", "13.001", "-0.001", "5", "8", "12.7", "40"]))
            millimetres = Decimal(room[0]) * LENGTH[room[1]] / 10**4 - spacer - play
            figure = (f"{millimetres:.3f}", "mm")
            if self.often(0.2):
                figure = (f"{millimetres / Decimal('25.4'):.3f}", "in")
            b[side] = self.maybe(0.96, figure)


@lru_cache(maxsize=10_000)
def stated(number: str, unit: str, source: Source) -> Stated[Quantity]:
    return Stated(Quantity(Decimal(number), unit), source)


MASSES = ("weight", "weighed", "scale_error", "ballast")


def plates(b: Facts, t: Facts, source: Source) -> tuple[Battery, Truck]:
    def quantities(facts: Facts, names: dict[str, str]) -> dict[str, Any]:
        return {
            name: stated(*facts[key], source)
            for name, key in names.items()
            if facts[key] is not None
        }

    def values(facts: Facts, names: list[str]) -> dict[str, Any]:
        return {name: Stated(facts[name], source) for name in names if facts[name] is not None}

    def plain(facts: Facts, name: str, unit: str) -> Any:
        return stated(str(facts[name]), unit, source) if facts[name] else None

    alike = ["connector", "cable_side", "hazard_type", "capacity_rate"]
    sides = ("length", "width", "height")
    battery = Battery(
        voltage=plain(b, "voltage", "V"),
        capacity=plain(b, "capacity", "Ah"),
        **values(b, [*alike, "chemistry"]),
        **quantities(b, {name: name for name in (*MASSES, "cable_length", *sides)}),
    )
    rooms = {f"compartment_{side}": f"room_{side}" for side in sides}
    spacers = {f"spacer_{side}": f"spacer_{side}" for side in sides if side != "height"}
    truck = Truck(
        voltage=plain(t, "voltage", "V"),
        capacity_max=plain(t, "capacity_max", "Ah"),
        **values(t, [*alike, "chemistries"]),
        **quantities(t, {name: name for name in ("weight_min", "weight_max", "cable_length")}),
        **quantities(t, rooms | spacers),
    )
    return battery, truck


def compared(
    seed: int, pairs: int, *, stop_at_first: bool = False
) -> tuple[Counter[tuple[str, str]], list[Any]]:
    """How often (oracle, rule) said what, and the pairs on which they differ."""
    made, counts, differing = Pairs(seed), Counter[tuple[str, str]](), []
    settings = FitSettings()
    for number in range(pairs):
        b, t = made.pair()
        source = (Source.STAMPED, Source.NAMEPLATE, Source.CATALOGUE)[number % 3]
        battery, truck = plates(b, t, source)
        expected = oracle(b, t)
        found = check_fit(battery, truck, settings=settings, battery_married=b["married"],
                          truck_married=t["married"], jumpered=()).result  # fmt: skip
        counts[expected, found] += 1
        if expected != found:
            differing.append((expected, found, b, t))
            if stop_at_first:
                break
    return counts, differing


@pytest.mark.parametrize("part", range(4))
def test_the_oracle_agrees_on_random_pairs_and_nothing_fits_falsely(part):
    counts, differing = compared(seed=20260 + part, pairs=PAIRS // 4)
    false_fits = [entry for entry in differing if entry[1] == "fit"]
    assert not false_fits, f"{len(false_fits)} false fits, the first: {false_fits[0]}"
    assert not differing, f"{len(differing)} differ, the first: {differing[0]}"
    # The pairs are worth something only if every answer comes up often.
    for answer in ("fit", "no_fit", "not_confirmed"):
        assert counts[answer, answer] > PAIRS // 4 // 10, counts


MUTATIONS = {
    "tolerance within one family of units": (weight, "_tolerance", lambda unit, limit: Fraction(1)),
    "no tolerance across units": (weight, "_tolerance", lambda unit, limit: Fraction(0)),
    "a pound too much tolerance": (
        weight, "_tolerance",
        lambda unit, limit, real=weight._tolerance: real(unit, limit) * Fraction("1.4535"),
    ),
    "ballast forgotten": (
        weight.BatteryWeight, "exact", lambda self: self.service.exact(),
    ),
    "stamp and scale never compared": (weight, "_disagree", lambda *of: False),
    "scale never looked at": (fit, "scale_check", lambda *of: None),
    "rates compared raw": (fit, "truck_capacity_check", lambda *of: None),
    "any chemistry where none is stated": (
        fit, "_assumed_chemistry", lambda has: lines.line("chemistry", "fit", ()),
    ),
    "connectors compared as written": (lines, "plain", lambda words: words),
    "marrying forgotten": (fit, "not_married", lambda *of: []),
    "unknown is a fit": (
        lines, "unknown", lambda name, *of, **words: lines.line(name, "fit", ()),
    ),
    "a millimetre more play": (
        fit, "exact_setting", lambda number: Fraction(14),
    ),
    "one bad line does not matter": (
        fit, "verdict_of", lambda checks: verdict_of(list(checks)[:-1]),
    ),
}  # fmt: skip


@pytest.mark.parametrize("mutation", MUTATIONS)
def test_the_oracle_has_teeth(mutation, monkeypatch):
    where, name, wrong = MUTATIONS[mutation]
    monkeypatch.setattr(where, name, wrong)
    _, differing = compared(seed=1, pairs=5_000, stop_at_first=True)
    assert differing, "a wrong rule was not noticed"
