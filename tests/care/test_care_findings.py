"""A small part of the bench of battery care: what the rules find in depots made from physics.

The bounds are wide, for few depots; ``tests/bench/care/bench_care.py`` measures over 200.
"""

from __future__ import annotations

import numpy as np
import pytest
from tagkit.demo.roster import TROUBLES, first_tags
from tests.bench.care.depot import DAYS, RUN_IN, play
from tests.bench.care.findings import find
from tests.bench.care.physics import FAILS_AT, decay, overcharge, water_lost
from tests.bench.care.quillmoor import quillmoor
from tests.bench.care.score import Score, pasts, score, wilson


@pytest.fixture(scope="module")
def scored() -> Score:
    return score(range(300, 304))


def test_the_same_seed_plays_the_same_depot():
    one, other, third = play(7), play(7), play(8)
    assert one.labels[0].waterings == other.labels[0].waterings
    assert one.swap == other.swap
    assert third.labels[0].waterings != one.labels[0].waterings


def test_a_dying_cell_dies_as_its_physics_say():
    rng = np.random.default_rng(1)
    kinds = {}
    for _ in range(60):
        dying = decay(rng, 18, DAYS)
        kinds[dying.kind] = dying
        assert (np.diff(dying.lost) >= -0.02).all()
        if dying.fails_on is not None:
            assert dying.lost[dying.fails_on] >= FAILS_AT > dying.lost[max(0, dying.fails_on - 1)]
    assert set(kinds) == {"sulphation", "short", "shedding"}
    assert kinds["shedding"].deficit.max() == 0  # a hydrometer can't see it


def test_water_goes_by_faraday_and_faster_when_overcharged_or_hot():
    rng = np.random.default_rng(1)
    used, warmth = np.full(DAYS, 0.6), np.full(DAYS, 27.0)
    sound = overcharge(rng, DAYS, faulty=False).share
    lost = water_lost(rng, sound, used, 775.0, warmth)
    gassing = 0.000336 * 775 * (0.6 * sound.mean() + 0.06 / 7)
    assert lost.mean() == pytest.approx(gassing + 0.0031 * 2**0.2, rel=0.02)
    assert water_lost(rng, sound + 0.2, used, 775.0, warmth).mean() > 2 * lost.mean()
    assert water_lost(rng, sound, used, 775.0, warmth + 15).mean() > lost.mean()


def test_what_is_wrong_is_found(scored: Score):
    sulphation = scored.before["sulphation"]
    assert sulphation.of >= 2 and sulphation.found == sulphation.of
    found = sum(share.found for share in scored.overcharged.values())
    assert found >= 0.6 * sum(share.of for share in scored.overcharged.values()) > 0
    assert scored.boiled.found >= 0.8 * scored.boiled.of > 0
    assert scored.swaps.of >= 2 and scored.swaps.found >= scored.swaps.of / 2


def test_what_is_sound_is_mostly_left_alone(scored: Score):
    assert scored.battery_years > 80
    assert sum(scored.false_cells.values()) < 0.15 * scored.battery_years
    assert scored.false_thirst < 0.10 * scored.battery_years
    assert scored.false_swaps <= 1


def test_nothing_is_found_before_it_can_be_known():
    depot = play(301)
    whole = find(pasts(depot))
    early = {
        name: type(past)(past.kind, past.cells, past.capacity, past.rounds[:8], past.waterings[:16])
        for name, past in pasts(depot).items()
    }
    cut = max(past.rounds[-1].at for past in early.values())
    for key, at in find(early).failing.items():
        assert whole.failing[key] == at <= cut
    assert RUN_IN < DAYS


def test_quillmoor_s_three_hidden_troubles_are_found():
    tags = {name: str(tag) for name, tag in first_tags().items()}
    found = find(quillmoor())
    assert set(found.failing) == {(tags[TROUBLES.dying_cell], TROUBLES.dying_cell_number)}
    assert set(found.thirsty) == {tags[TROUBLES.boils_dry]}
    assert set(found.swapped) == {frozenset(tags[name] for name in TROUBLES.labels_swapped)}


def test_intervals_of_shares_as_published():
    # R. G. Newcombe, Statistics in Medicine 17 (1998), table I: 81 of 263, Wilson.
    assert wilson(81, 263) == pytest.approx((0.2553, 0.3662), abs=0.0001)
