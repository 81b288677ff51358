"""When an equalize charge is due."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from tagkit.rules.equalize import equalize_due, may_equalize
from tagkit.settings import ScheduleSettings

NOW = datetime(2026, 6, 1, tzinfo=UTC)


def due(days=2, cycles=3.0, balance="none", chemistry="vented"):
    at = None if days is None else NOW - timedelta(days=days)
    return equalize_due(chemistry, at, cycles, balance, ScheduleSettings(), NOW)


@pytest.mark.parametrize(
    ("facts", "words"),
    [
        ({"days": 7}, "7 days"),
        ({"cycles": 10}, "10 cycles"),
        ({"balance": "equalize"}, "drifted"),
        ({"days": None}, "on record"),
    ],
)
def test_weekly_each_ten_cycles_or_by_spread(facts, words):
    found = due(**facts)
    assert found.due is True and any(words in reason for reason in found.reasons)


def test_until_then_it_is_not():
    found = due(balance="watch")
    assert (found.due, found.reasons) == (False, ())
    assert found.at == NOW + timedelta(days=5)
    assert due(cycles=None).due is False


@pytest.mark.parametrize("chemistry", ["gel", "agm", "tppl", "lithium"])
def test_sealed_and_lithium_batteries_never_are(chemistry):
    assert due(days=100, balance="equalize", chemistry=chemistry).due is False


@pytest.mark.parametrize(
    ("chemistry", "maker", "allowed"),
    [
        ("vented", None, True),
        ("vented", False, False),
        (None, None, True),
        *((one, None, False) for one in ("gel", "agm", "tppl", "lithium")),
        *((one, True, True) for one in ("gel", "agm", "tppl", "lithium")),
        ("gel", False, False),
    ],
)
def test_sealed_and_lithium_are_equalized_only_where_the_maker_says_so(chemistry, maker, allowed):
    found = may_equalize(chemistry, maker)
    assert found.allowed is allowed
    assert bool(found.words) is not (allowed and chemistry in ("vented", None))


def test_what_its_maker_forbids_is_never_due():
    assert equalize_due("vented", None, 20, "equalize", ScheduleSettings(), NOW, False).due is False


def test_an_unknown_chemistry_is_unknown():
    assert due(chemistry=None).due is None
