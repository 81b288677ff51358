"""Why a light battery is no fit."""

from __future__ import annotations

from fractions import Fraction

from fit_plates import battery, truck
from tagkit.rules.balance import NEVER_A_PERMIT, explain_balance, load_lost

ARMS = {"axle_to_battery": "1500 mm", "axle_to_fork": "400 mm", "load_centre": "600 mm"}


def test_the_load_lost_follows_from_the_lever_arms():
    # 100 kg missing 1.5 m behind the axle balance 150 kg at 1.0 m before it.
    assert load_lost(Fraction(100), Fraction(1500), Fraction(400), Fraction(600)) == 150


def test_the_sentence_says_how_much_and_that_it_permits_nothing():
    sentence = explain_balance(battery(weight="900 kg"), truck(**ARMS))
    assert sentence is not None
    assert "100 kg too light" in sentence and "150 kg less load" in sentence
    assert NEVER_A_PERMIT in sentence


def test_a_loss_is_rounded_up_never_down():
    sentence = explain_balance(battery(weight="999.9 kg"), truck(**ARMS))
    assert sentence is not None and "1 kg too light" in sentence and "1 kg less" in sentence


def test_nothing_is_explained_that_is_not_known():
    assert explain_balance(battery(), truck(**ARMS)) is None  # not too light
    assert explain_balance(battery(weight="900 kg"), truck()) is None
    assert explain_balance(battery(weight=None), truck(**ARMS)) is None
    assert explain_balance(battery(weight="900 kg"), truck(**{**ARMS, "load_centre": None})) is None
    no_minimum = truck(**ARMS, weight_min=None)
    assert explain_balance(battery(weight="900 kg"), no_minimum) is None
