"""Which batteries to retire."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tagkit.rules.retirement import RetirementFacts, retirement, retirement_list
from tagkit.settings import CellSettings, LifeSettings, WaterSettings

SETTINGS = (LifeSettings(), CellSettings(), WaterSettings())
NEW = RetirementFacts("B-1", 0.0, 100.0, 0.006, 0, 1.0, 0.0)
SPENT = RetirementFacts("B-2", 120.0, 74.0, 0.080, 3, 3.0, 11.0)


def test_a_new_battery_scores_nothing_and_a_spent_one_everything():
    assert retirement(NEW, *SETTINGS).score == 0
    spent = retirement(SPENT, *SETTINGS)
    assert spent.score == pytest.approx(100)
    assert spent.life_over


def test_each_share_is_shown_with_its_figure():
    shares = {share.name: share for share in retirement(SPENT, *SETTINGS).shares}
    assert sum(share.most for share in shares.values()) == 100
    assert shares["capacity test"].figure == "74% of rated"
    assert shares["life used"].figure == "120% of rated cycles"
    assert shares["spread of cells"].figure == "0.080"


def test_what_is_unknown_is_named_and_left_out_of_the_score():
    half = retirement(RetirementFacts("B-3", life_used_percent=50.0), *SETTINGS)
    assert half.score == pytest.approx(50)
    assert "capacity test" in half.unknown and len(half.unknown) == 5
    assert not half.life_over
    nothing = retirement(RetirementFacts("B-4"), *SETTINGS)
    assert nothing.score is None and len(nothing.unknown) == 6


def test_the_list_begins_with_what_a_test_has_condemned_and_ends_with_the_unknown():
    worn = RetirementFacts("B-5", 140.0, 82.0, 0.060, 2, 2.0, 9.0)
    failed = RetirementFacts("B-6", 10.0, 79.0, 0.0, 0, 1.0, 1.0)
    order = retirement_list([RetirementFacts("B-4"), NEW, worn, failed], *SETTINGS)
    assert [one.tag for one in order] == ["B-6", "B-5", "B-1", "B-4"]


@given(st.floats(0, 200), st.floats(0, 200))
def test_more_life_used_never_scores_less(one, other):
    less, more = sorted((one, other))
    scores = [
        retirement(RetirementFacts("B", used, 90.0, 0.01, 0, 1.0, 2.0), *SETTINGS).score
        for used in (less, more)
    ]
    assert scores[0] <= scores[1]
