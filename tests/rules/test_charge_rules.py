"""Discharge of a use, Ah returned, and the flags of charging."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.errors import WrongInput
from tagkit.rules.charge import (
    Charge,
    Discharge,
    ah_from_log,
    ah_returned,
    charge_flags,
    discharge_of_use,
    explained_hours,
    standing_flags,
    use_flags,
)
from tagkit.settings import ChargingSettings

SETTINGS = ChargingSettings()
START = datetime(2026, 1, 5, 22, tzinfo=UTC)


def codes(flags):
    return [flag.code for flag in flags]


def charge(hours=8.0, **facts):
    ended = None if hours is None else START + timedelta(hours=hours)
    return Charge(START, ended, **{"kind": "conventional", **facts})


def flags(a_charge, depth=80.0, capacity=775.0, **other):
    return codes(
        charge_flags(a_charge, depth, capacity, SETTINGS, highest_start_celsius=43.0, **other)
    )


class TestDischarge:
    def test_gravity_is_believed_before_charger_and_charger_before_gauge(self):
        says = {"gravity_percent": 35.0, "charger_ah": 620.0, "gauge_percent": 60.0}
        found = discharge_of_use(775, SETTINGS, **says)
        assert (found.by, found.percent) == ("gravity", pytest.approx(65))
        assert found.ah == pytest.approx(0.65 * 775)
        assert [witness for witness, _ in found.heard] == ["gravity", "charger", "gauge"]
        del says["gravity_percent"]
        found = discharge_of_use(775, SETTINGS, **says)
        assert (found.by, found.percent) == ("charger", pytest.approx(100 * 620 / 1.15 / 775))
        assert discharge_of_use(775, SETTINGS, gauge_percent=60.0).by == "gauge"

    def test_nothing_known_is_unknown_with_a_reason_never_zero(self):
        found = discharge_of_use(775, SETTINGS)
        assert (found.percent, found.ah, found.by) == (None, None, None)
        assert found.reason

    def test_what_it_started_with_counts(self):
        found = discharge_of_use(775, SETTINGS, start_percent=90, gauge_percent=60)
        assert found.percent == pytest.approx(50)
        unknown = discharge_of_use(775, SETTINGS, start_percent=None, gauge_percent=60)
        assert unknown.percent is None

    def test_an_impossible_witness_is_not_heard(self):
        found = discharge_of_use(775, SETTINGS, charger_ah=2000, gauge_percent=70)
        assert found.by == "gauge"
        assert discharge_of_use(775, SETTINGS, gravity_percent=130).percent is None

    def test_without_a_capacity_there_are_percent_but_no_ah(self):
        found = discharge_of_use(None, SETTINGS, gauge_percent=70, charger_ah=500)
        assert (found.percent, found.ah, found.by) == (70, None, "gauge")


class TestAhReturned:
    def test_what_the_charger_counted_comes_first(self):
        assert ah_returned(612, 80, 775, SETTINGS).ah == 612

    def test_else_depth_times_capacity_times_factor(self):
        found = ah_returned(None, 80, 775, SETTINGS)
        assert (found.by, found.ah) == ("depth", pytest.approx(0.8 * 775 * 1.15))
        assert ah_returned(None, 80, 775, SETTINGS, factor=1.05).ah == pytest.approx(651)

    @pytest.mark.parametrize(("depth", "capacity"), [(None, 775), (80, None), (80, 0), (-1, 775)])
    def test_else_unknown(self, depth, capacity):
        found = ah_returned(None, depth, capacity, SETTINGS)
        assert found.ah is None and found.reason


class TestChargerLog:
    def test_current_is_integrated_over_time(self):
        # Six hours at 100 A, then an hour falling straight to 20 A: 600 + 60 Ah.
        assert ah_from_log([(0, 100), (6, 100), (7, 20)]) == pytest.approx(660)
        assert ah_from_log([(0, 100)]) == 0
        assert ah_from_log([]) == 0

    def test_a_log_out_of_order_or_impossible_says_which_sample(self):
        with pytest.raises(WrongInput, match="sample 3"):
            ah_from_log([(0, 100), (2, 100), (1, 100)])
        with pytest.raises(WrongInput, match="sample 2"):
            ah_from_log([(0, 100), (1, -5)])
        with pytest.raises(WrongInput, match="sample 1"):
            ah_from_log([(0, float("nan"))])

    @given(st.lists(st.floats(0, 300), min_size=2, max_size=20), st.floats(0.1, 2))
    def test_a_stronger_current_never_returns_less(self, amperes, step):
        weak = [(place * step, current) for place, current in enumerate(amperes)]
        strong = [(hours, current + 10) for hours, current in weak]
        assert ah_from_log(strong) >= ah_from_log(weak)


class TestChargeFlags:
    def test_a_sound_charge_has_none(self):
        assert flags(charge(8.0, start_celsius=35, highest_celsius=44, ah=700)) == []

    def test_hot(self):
        assert flags(charge(start_celsius=44)) == ["hot start"]
        assert flags(charge(start_celsius=43)) == []
        assert flags(charge(highest_celsius=56)) == ["too hot"]
        assert flags(charge(highest_celsius=50), stop_celsius=46.0) == ["too hot"]  # US practice

    def test_longer_than_the_depth_explains(self):
        # 8 h from 80 %; from 40 % 8 x (0.25 + 0.75 / 2) = 5 h, half as much again is 7.5 h.
        assert explained_hours(40, SETTINGS) == pytest.approx(5)
        assert flags(charge(7.6), depth=40) == ["long charge"]
        assert flags(charge(7.4), depth=40) == []
        assert flags(charge(11.0, full_hours=12.0)) == []
        assert flags(charge(20.0, kind="equalize")) == []

    def test_charged_when_it_was_full(self):
        assert flags(charge(3.0), depth=4) == ["charged when full"]
        assert flags(charge(3.0, kind="freshening"), depth=4) == []

    def test_a_charge_that_returned_almost_nothing_is_short(self):
        assert flags(charge(8.0, ah=20)) == ["short charge"]
        assert flags(charge(0.4)) == ["short charge"]
        assert flags(charge(8.0, ah=600)) == []
        assert flags(charge(0.4, kind="opportunity")) == []
        assert flags(charge(None)) == []  # still on charge

    def test_what_is_not_known_raises_no_flag(self):
        assert flags(charge(20.0), depth=None) == []
        assert flags(charge(8.0, kind=None, ah=1.0), capacity=None) == []

    @given(st.floats(0, 100), st.floats(0, 100))
    def test_a_deeper_discharge_explains_a_longer_charge(self, one, other):
        less, more = sorted((one, other))
        assert explained_hours(less, SETTINGS) <= explained_hours(more, SETTINGS)


class TestUse:
    def test_deeper_than_eighty_percent(self):
        assert codes(use_flags(Discharge(81, 600, "gauge"), SETTINGS)) == ["deep discharge"]
        assert use_flags(Discharge(80, 600, "gauge"), SETTINGS) == ()
        assert use_flags(Discharge(None, None, None), SETTINGS) == ()

    def test_taken_before_its_rest_was_over(self):
        sound = Discharge(50, 400, "gauge")
        early = {"rested_hours": 3.0, "rest_due_hours": 8.0}
        assert codes(use_flags(sound, SETTINGS, **early)) == ["no rest"]
        assert use_flags(sound, SETTINGS, **early, last_charge_kind="opportunity") == ()
        assert use_flags(sound, SETTINGS, rested_hours=7.95, rest_due_hours=8.0) == ()
        assert use_flags(sound, SETTINGS, rested_hours=None, rest_due_hours=8.0) == ()


class TestStanding:
    def test_discharged_for_more_than_a_day(self):
        def standing(hours, percent):
            return codes(
                standing_flags(
                    START + timedelta(hours=hours), SETTINGS, state_percent=percent,
                    standing_since=START, last_charged_at=START - timedelta(hours=8),
                )
            )  # fmt: skip

        assert standing(25, 30) == ["standing discharged"]
        assert standing(24, 30) == []
        assert standing(25, 60) == []
        assert standing(25, None) == []

    def test_stored_for_more_than_thirty_days(self):
        def stored(days, charged_days_ago=None):
            now = START + timedelta(days=days)
            charged = None if charged_days_ago is None else now - timedelta(days=charged_days_ago)
            return codes(
                standing_flags(now, SETTINGS, state_percent=100.0, standing_since=START,
                               last_charged_at=charged)
            )  # fmt: skip

        assert stored(31) == ["freshening due"]
        assert stored(30) == []
        assert stored(60, charged_days_ago=5) == []

    def test_in_use_or_on_charge_it_does_not_stand(self):
        assert standing_flags(START, SETTINGS, state_percent=5, standing_since=None,
                              last_charged_at=None) == ()  # fmt: skip
