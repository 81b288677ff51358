"""In a large fleet only some batteries are judged for a truck: the answer is that of judging all."""

from __future__ import annotations

import random
from typing import Any

from battery_room import BatteryRoom, ago
from tagkit.assets.tag import Kind
from tagkit.jobs.rotation import next_for
from tagkit.jobs.site import Site

TRUCKS = [
    (volts, lightest, connector)
    for volts, lightest in ((48, 950), (48, 1100), (24, 950))
    for connector in (None, "grey", "red")
]
BATTERIES = 86
OF_24_V = 3


def plate(**figures: Any) -> dict[str, Any]:
    facts = {
        name: {"value": value, "source": "stamped"} for name, value in figures.items() if value
    }
    for name, unit in (("voltage", "V"), ("weight", "kg"), ("weight_min", "kg"),
                       ("weight_max", "kg")):  # fmt: skip
        if name in facts:
            facts[name] |= {"value": str(facts[name]["value"]), "unit": unit}
    return facts


def take_in(site: Site) -> tuple[list[str], list[str]]:
    """Trucks and batteries; few batteries have the red connector, and they were charged last."""
    with site.record.writing("TS", "desk", ago(hours=300)) as writing:

        def registered(kind: Kind, **figures: Any) -> str:
            tag = str(writing.issue(kind))
            body = {"nameplate": plate(**figures), "as_stamped": True}
            writing.append("registered", [tag], body)
            return tag

        trucks = [
            registered(Kind.TRUCK, voltage=volts, weight_min=lightest, weight_max=lightest + 100,
                       connector=connector)
            for volts, lightest, connector in TRUCKS
        ]  # fmt: skip
        batteries = [
            registered(
                Kind.BATTERY,
                voltage=24 if number < OF_24_V else 48,
                chemistry="vented",
                weight=900 + 60 * (number % 5) if number % 9 else None,
                connector="grey" if number < 80 else "red",
            )
            for number in range(BATTERIES)
        ]
    return trucks, batteries


def a_week(site: Site, trucks: list[str], batteries: list[str]) -> None:
    chance = random.Random(5)
    for number, tag in enumerate(batteries):
        about = chance.random() if number < 80 else 0.5
        with site.record.writing("TS", "bay 1", ago(hours=150 - 1.4 * number)) as writing:
            if about < 0.8:
                writing.append("charge_ended", [], {"battery": tag})
            if about < 0.15:
                body = {"truck": trucks[number % 9], "battery_in": tag, "battery_out": None}
                writing.append("changed", [], body)
            elif 0.7 < about < 0.9:
                writing.append("held", [tag], {"asset": tag, "reason": "cable loose"})


def test_the_answer_is_the_one_of_judging_every_battery(empty_room: BatteryRoom) -> None:
    with empty_room.open() as site:
        trucks, batteries = take_in(site)
        a_week(site, trucks, batteries)
        judged = []
        for truck, (volts, lightest, connector) in zip(trucks, TRUCKS, strict=True):
            now = ago()
            few, every = (next_for(site, truck, at=now, everyone=every) for every in (False, True))
            told = {place.tag: place for place in every.places}
            assert few.next == every.next, (volts, lightest, connector)
            assert all(told[place.tag] == place for place in few.places)
            assert len(every.places) == (OF_24_V if volts == 24 else BATTERIES - OF_24_V)
            for answer in (few, every):
                counted = sum(one.count for one in answer.passed)
                assert len(answer.places) + counted == BATTERIES
            judged.append(len(few.places) / len(every.places))
            if connector == "red" and volts == 48:
                assert few.next in batteries[80:], "all that rested longer have another connector"
        assert max(judged[:6]) < 0.7 and judged[6:] == [1, 1, 1]
