"""All tags that can be issued are rivals, not only the registered ones."""

from __future__ import annotations

import numpy as np
import pytest
from tagkit.assets.tag import Kind, can_issue, exact_tag, tag_for
from tagkit.reader.recovery.rivals import rivals
from worn_labels import registered


@pytest.mark.parametrize("link", [False, True])
def test_the_nearest_issuable_tag_is_found_among_half_a_million(link: bool) -> None:
    family = registered(20, link).families[0]
    values = np.random.default_rng(3).normal(0, 1, len(family.informative)).astype(np.float32)
    found = rivals(family, family.variants[0], values)
    best = float((family.signs_of(found[:1]) @ values)[0])
    serials = [serial for serial in range(1, 100_000, 17) if can_issue(Kind.TRUCK, "QM", serial)]
    payloads = [f"{family.before}{tag_for(Kind.TRUCK, 'QM', one)}" for one in serials]
    scores = family.signs_of(payloads) @ values
    assert best >= scores.max() - 1e-3
    listed = float((family.signs_of(found[-1:]) @ values)[0])
    assert all(payloads[row] in found for row in np.flatnonzero(scores > listed + 1e-3))


def test_a_neighbouring_serial_is_named_when_the_picture_shows_it() -> None:
    family = registered(20).families[0]
    truth = tag_for(Kind.CHARGER, "QM", 31_415)
    found = rivals(family, family.variants[0], family.signs_of([str(truth)])[0])
    assert found[0] == str(truth)


def test_rivals_include_what_was_never_issued_one_character_away() -> None:
    family = registered(20).families[0]
    match = family.variants[0]
    own = family.signs_of([match.payload])[0]
    found = rivals(family, match, own)
    assert match.payload not in found
    assert any(exact_tag(payload) is None for payload in found)
