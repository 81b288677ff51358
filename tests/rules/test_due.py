"""What falls due, and when."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from tagkit.rules.due import battery_dues, due_on, equipment_due
from tagkit.settings import ScheduleSettings

NOW = datetime(2026, 6, 1, 8, tzinfo=UTC)
SCHEDULE = ScheduleSettings()


def ago(days):
    return NOW - timedelta(days=days)


@pytest.mark.parametrize(
    ("days_ago", "state"),
    [(29.5, "overdue"), (28.5, "due"), (28, "due"), (26, "soon"), (25, "soon"), (24, "later")],
)
def test_states_of_a_round_every_28_days(days_ago, state):
    found = due_on("round", "B-1", ago(days_ago), 28, NOW, 3)
    assert found is not None and found.state == state
    assert found.at == ago(days_ago) + timedelta(days=28)


def test_never_done_has_no_date_and_zero_days_ask_for_nothing():
    never = due_on("round", "B-1", None, 28, NOW, 3)
    assert never is not None and (never.at, never.state) == (None, "never done")
    assert due_on("pilot", "B-1", None, 0, NOW, 3) is None


def test_a_battery_s_list_comes_soonest_first():
    last = {"round": ago(27), "equalize": ago(9), "inspection": ago(10), "cleaning": ago(10),
            "leakage": ago(10), "capacity test": ago(10)}  # fmt: skip
    found = battery_dues("B-1", "vented", last, SCHEDULE, NOW, water_at=NOW + timedelta(days=2))
    assert [due.what for due in found][:3] == ["pilot", "equalize", "round"]
    assert {due.what: due.state for due in found}["equalize"] == "overdue"
    assert {due.what: due.state for due in found}["water"] == "soon"


def test_a_full_round_is_a_pilot_round_too():
    last = {"round": ago(3), "pilot": ago(20)}
    found = {d.what: d for d in battery_dues("B-1", "vented", last, SCHEDULE, NOW)}
    assert found["pilot"].at == ago(3) + timedelta(days=SCHEDULE.pilot_days)


@pytest.mark.parametrize("chemistry", ["gel", "lithium", None])
def test_no_hydrometer_water_or_equalizing_for_others(chemistry):
    found = battery_dues("B-1", chemistry, {}, SCHEDULE, NOW, water_at=NOW)
    acid = set() if chemistry == "lithium" else {"cleaning", "leakage"}
    assert {due.what for due in found} == {"inspection", "capacity test", *acid}


def dues(last=None, **words):
    return {d.what: d for d in battery_dues("B-1", "vented", last or {}, SCHEDULE, NOW, **words)}


def test_a_new_battery_has_its_first_round_an_interval_later():
    found = dues(new_since=ago(10), in_service=ago(10))
    assert found["round"].at == ago(10) + timedelta(days=28)
    assert {due.state for due in found.values()} <= {"overdue", "due", "soon", "later"}
    assert dues()["round"].state == "never done"


def test_capacity_tests_are_asked_for_from_the_third_year_of_life_on():
    young, old = NOW - timedelta(days=700), NOW - timedelta(days=1500)
    first = young + timedelta(days=3 * 365.25)
    assert (dues(in_service=young)["capacity test"].at, first > NOW) == (first, True)
    assert dues(in_service=old)["capacity test"].state == "never done"
    assert dues()["capacity test"].state == "never done"
    assert dues({"capacity test": ago(400)}, in_service=old)["capacity test"].state == "overdue"
    # tested at its delivery: not again before it is three years old
    tested = dues({"capacity test": young}, in_service=young)["capacity test"]
    assert tested.at == first


def test_equipment_by_its_own_interval():
    found = equipment_due("R-1", "weekly activation", ago(8.5), 7, NOW, 3)
    assert found is not None and found.state == "overdue"
    assert found.to_json()["at"] == (ago(8.5) + timedelta(days=7)).isoformat()
    assert equipment_due("R-1", "check", ago(8), None, NOW, 3) is None
