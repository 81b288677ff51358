"""Which battery goes next, and why the others don't."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from tagkit.rules.readiness import Readiness, Reason
from tagkit.rules.rotation import Candidate, next_battery

NOW = datetime(2026, 6, 1, 14, tzinfo=UTC)
READY = Readiness(True)


def rested(tag, hours, verdict="fit", readiness=READY, **other):
    since = None if hours is None else NOW - timedelta(hours=hours)
    return Candidate(tag, verdict, readiness, rested_since=since, **other)


def hot(hours):
    at = NOW + timedelta(hours=hours)
    return Readiness(False, (Reason("hot", "hot 51 °C, ready about later", at),), at)


def test_the_one_rested_longest_goes_next():
    found = next_battery([rested("B-1", 3), rested("B-2", 30), rested("B-3", 12)], NOW)
    assert found.next == "B-2"
    assert [place.tag for place in found.places] == ["B-2", "B-3", "B-1"]
    assert [place.place for place in found.places] == [1, 2, 3]
    assert found.places[0].why == "fits, is ready, and has rested longest (30 h)"
    assert "3 h, less" in found.places[2].why


def test_every_one_passed_over_has_its_reason_soonest_first():
    found = next_battery(
        [
            rested("B-1", 99, verdict="no_fit", against=("36 V where 48 V is required",)),
            rested("B-2", 99, readiness=hot(5)),
            rested("B-3", 99, readiness=hot(1)),
            rested("B-4", 99, verdict="not_confirmed", against=("weight is not known",)),
            rested("B-5", 99, elsewhere="in truck T-QM-00003-2"),
            rested("B-6", 1),
        ],
        NOW,
    )
    assert found.next == "B-6"
    assert [place.tag for place in found.places] == ["B-6", "B-3", "B-2", "B-5", "B-4", "B-1"]
    assert found.places[1].why == "not ready: hot 51 °C, ready about later"
    assert found.places[1].ready_at == NOW + timedelta(hours=1)
    assert found.places[3].why == "in truck T-QM-00003-2"
    assert found.places[4].why == "fit not confirmed: weight is not known"
    assert found.places[5].why == "no fit: 36 V where 48 V is required"
    assert all(place.place == 0 for place in found.places[1:])


def test_unknown_rest_goes_last_of_those_that_may():
    found = next_battery([rested("B-1", None), rested("B-2", 1)], NOW)
    assert [place.tag for place in found.places] == ["B-2", "B-1"]
    assert "not on record" in found.places[1].why


def test_nothing_to_take_is_said_and_the_soonest_named_first():
    found = next_battery([rested("B-1", 1, readiness=hot(2))], NOW)
    assert found.next is None
    assert found.to_json()["rotation"][0]["ready_at"] == (NOW + timedelta(hours=2)).isoformat()
    assert next_battery([], NOW).places == ()


def test_equal_batteries_come_in_the_order_of_their_numbers():
    found = next_battery([rested("B-2", 5), rested("B-1", 5)], NOW)
    assert found.next == "B-1"
