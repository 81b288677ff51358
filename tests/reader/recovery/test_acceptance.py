"""A match is called a tag only when neither chance nor a rival can explain it."""

from __future__ import annotations

import numpy as np
import pytest
from tagkit.assets.tag import Kind, tag_for
from tagkit.reader.recovery.acceptance import chance_score, judge, proof_modules, threshold
from tagkit.reader.recovery.matching import match
from tagkit.reader.recovery.sampling import soft
from worn_labels import LINK, blotches, modules, registered, withheld

ROSTER = registered()
LINKED = registered(link=True)


def aged(payload: str, share: float, seed: int) -> np.ndarray:
    """Soft modules of a symbol of which ``share`` lies under blotches dark and light."""
    rng = np.random.default_rng(seed)
    grey = modules(payload)
    lost = blotches(len(grey), share, rng)
    grey[lost] = np.where(blotches(len(grey), 0.5, rng), 40.0, 215.0)[lost]
    return soft((grey + rng.normal(0, 12, grey.shape)).astype(np.float32))


@pytest.mark.parametrize("roster", [ROSTER, LINKED], ids=["bare", "link"])
def test_a_registered_tag_is_named_under_blotches(roster) -> None:
    right = 0
    for seed in range(12):
        variant = roster.variants[7 * seed]
        values = aged(variant.payload, 0.4, seed)
        best = match([values], roster)[0]
        judged = judge(best, values, 1e4)
        assert not judged.accepted or best.variant == variant
        right += judged.accepted
    assert right >= 8


def test_a_label_in_good_state_passes_far_above_the_threshold() -> None:
    variant = ROSTER.variants[5]
    values = aged(variant.payload, 0.0, 1)
    judged = judge(match([values], ROSTER)[0], values, 1e5)
    assert judged.accepted
    assert judged.bound < 1e-12


@pytest.mark.parametrize("share", [0.0, 0.3, 0.6])
def test_a_neighbour_that_is_not_registered_gets_no_name(share: float) -> None:
    for seed, tag in enumerate(withheld()[:12]):
        for roster, payload in ((ROSTER, str(tag)), (LINKED, f"{LINK}{tag}")):
            values = aged(payload, share, seed)
            for found in match([values], roster)[:3]:
                assert not judge(found, values, 1e5).accepted


@pytest.mark.parametrize("roster", [ROSTER, LINKED], ids=["bare", "link"])
def test_a_misprinted_check_character_is_no_registered_tag(roster) -> None:
    for seed in range(10):
        variant = roster.variants[seed]
        last = "2" if variant.payload[-1] != "2" else "3"
        values = aged(variant.payload[:-1] + last, 0.3, seed)
        for found in match([values], roster)[:3]:
            assert not judge(found, values, 1e5).accepted


def test_the_same_serial_of_another_site_is_no_registered_tag() -> None:
    for seed in range(10):
        serial = ROSTER.variants[seed].tag.serial
        values = aged(str(tag_for(Kind.BATTERY, "QN", serial + 2)), 0.3, seed)
        for found in match([values], ROSTER)[:3]:
            assert not judge(found, values, 1e5).accepted


def test_data_modules_count_nothing_as_chance() -> None:
    """The same serial of another site has the same digits: what is left of them proves nothing."""
    variant = ROSTER.variants[4]
    other = str(tag_for(Kind.BATTERY, "KL", variant.tag.serial))
    same = modules(other) == modules(variant.payload)
    best = match([soft(modules(variant.payload))], ROSTER)[0]
    proof = best.family.informative[proof_modules(best.family)]
    # By chance alone half of what counts agrees, four standard deviations at most more.
    share = float(same.ravel()[proof].mean())
    assert abs(share - 0.5) < 4 * 0.5 / np.sqrt(len(proof))
    assert float(same.ravel()[best.family.informative].mean()) > share


def test_chance_stays_below_the_claimed_bound() -> None:
    """Claimed against observed: one symbol drawn at random against fixed, clustered damage."""
    scores = []
    for seed in range(25):
        values = aged("Z-XX-00000-0", 0.6, 1000 + seed)
        for family in ROSTER.families:
            flat = values.ravel()[family.informative]
            scores.append(family.signs @ flat / np.linalg.norm(flat))
    observed = np.concatenate(scores)
    for claimed in (1e-1, 1e-2, 1e-3):
        assert np.mean(observed >= threshold(1, claimed)) <= claimed


def test_chance_leaves_out_blocks_that_one_bit_decides() -> None:
    variant = LINKED.variants[0]
    values = aged(variant.payload, 0.0, 4)
    best = match([values], LINKED)[0]
    assert chance_score(best, values) < best.score - 1
