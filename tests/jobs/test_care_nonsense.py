"""Whatever is keyed in as a figure of battery care: taken as a figure that can be, or refused in
words; never a fault, and nothing is logged of what was refused."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from battery_room import BATTERIES, CHARGERS, TRUCKS, BatteryRoom
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tagkit.errors import TagkitError
from tagkit.jobs.charge import ChargeReadings, end_charge, start_charge
from tagkit.jobs.inspecting import clean
from tagkit.jobs.repairing import repair
from tagkit.jobs.rounds import CellWords, look_at_round, record_round
from tagkit.jobs.site import Site
from tagkit.jobs.testing import capacity_test, leakage_test
from tagkit.jobs.watering import water

WHO = {"by": "JT", "station": "desk"}
UNITS = ("", "°C", "°F", "K", "A", "V", "Ah", "kg", "lb", "l", "ml", "gal", "ohm", "kohm", "mm",
         "%", "furlong", "°")  # fmt: skip
DIGITS = st.one_of(
    st.sampled_from(["nan", "inf", "-inf", "1e999", "1e308", "-0", "0", "1280", "1.280", "25", "77",
                     "12,5", "1_000", "0x10", "½", "٣", "∞", "--1", "1.2.3", ""]),
    st.integers(-(10**30), 10**30).map(str),
    st.floats().map(str),
)  # fmt: skip
FIGURES = st.builds(lambda digits, unit, gap: f"{digits}{gap}{unit}", DIGITS,
                    st.sampled_from(UNITS), st.sampled_from(["", " "])) | st.text(max_size=12)  # fmt: skip
MAYBE = st.none() | FIGURES
NUMBERS = st.floats() | st.integers(-(10**6), 10**6)


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[BatteryRoom, Site]]:
    folder: Path = tmp_path_factory.mktemp("nonsense") / "site"
    room = BatteryRoom(folder)
    for text in (TRUCKS, BATTERIES, CHARGERS):
        room.take_in(text)
    room.staff()
    with room.open() as opened:
        yield room, opened


def acts(room: BatteryRoom, site: Site) -> dict[str, Callable[..., Any]]:
    one = room["B1"]

    def cell(words: dict[str, Any]) -> list[CellWords]:
        return [
            CellWords(words["cell"], words["one"] or "", words["two"] or "", words["three"] or "")
        ]

    def rested(words: dict[str, Any]) -> dict[str, Any]:
        unit = words["four"] if words["four"] in UNITS else None
        return {"hours_rested": words["number"], "temperature_unit": unit}

    return {
        "round": lambda w: record_round(site, one, cell(w), **rested(w), **WHO),
        "look": lambda w: look_at_round(site, one, cell(w), **rested(w)),
        "water": lambda w: water(
            site, one, litres=w["one"], by_cell={w["cell"]: w["two"] or "1"}, **WHO
        ),
        "capacity": lambda w: capacity_test(
            site, one, current=w["one"] or "", minutes=w["number"], temperature=w["two"],
            cut_off=w["three"], **WHO,
        ),
        "leakage": lambda w: leakage_test(site, room["B2"], w["one"] or "", **WHO),
        "clean": lambda w: clean(site, one, using="soda", resistance=w["one"], **WHO),
        "reweighed": lambda w: repair(
            site, one, "reweighed", cells=[w["cell"]],
            marks={"weighed": w["one"] or "", "scale_error": w["two"] or "2 kg"}, **WHO,
        ),
        "charge": lambda w: start_charge(
            site, room["B3"], room["C1"], ChargeReadings(w["one"], w["two"], w["number"]),
            answer="as-shown", **WHO,
        ),
        "end": lambda w: end_charge(
            site, room["B3"], ChargeReadings(w["one"], w["two"]), ah=w["three"], highest=w["four"],
            answer="as-shown", **WHO,
        ),
        "current": lambda w: end_charge(
            site, room["B3"], ChargeReadings(), answer="as-shown",
            current=[(0.0, 10.0), (float(w["number"]), float(w["cell"]))], **WHO,
        ),
    }  # fmt: skip


@settings(max_examples=250, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    act=st.sampled_from(["round", "look", "water", "capacity", "leakage", "clean", "reweighed",
                         "charge", "end", "current"]),
    words=st.fixed_dictionaries({
        "one": MAYBE, "two": MAYBE, "three": MAYBE, "four": MAYBE, "number": NUMBERS,
        "cell": st.integers(-3, 99),
    }),
)  # fmt: skip
def test_nonsense_is_refused_in_words(
    site: tuple[BatteryRoom, Site], act: str, words: dict[str, Any]
) -> None:
    room, opened = site
    before = sum(head.sequence for head in opened.record.heads())
    try:
        acts(room, opened)[act](words)
    except TagkitError as refused:
        assert refused.problem and refused.remedy
        assert sum(head.sequence for head in opened.record.heads()) == before


def test_all_that_was_taken_is_finite(site: tuple[BatteryRoom, Site]) -> None:
    room, opened = site
    for name in ("B1", "B2", "B3"):
        for event in opened.record.timeline(room[name], 500):
            assert all(math.isfinite(number) for number in _numbers(event.body)), event


def _numbers(value: Any) -> Iterator[float]:
    if isinstance(value, dict):
        for one in value.values():
            yield from _numbers(one)
    elif isinstance(value, (list, tuple)):
        for one in value:
            yield from _numbers(one)
    elif isinstance(value, (int, float)):
        yield float(value)
