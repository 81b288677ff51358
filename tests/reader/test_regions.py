"""The sieve keeps every label and lets grilles and blank walls go."""

from __future__ import annotations

import numpy as np
import pytest
from scenes import scene
from tagkit.reader.regions import Region, label_like


@pytest.mark.parametrize("module", [1.6, 2.5, 4.0])
def test_every_label_lies_in_a_region(module: float) -> None:
    for seed in range(5):
        shown = scene([f"B-QM-{n:05d}-X" for n in range(4)], seed, module=module)
        regions = label_like(shown.grey)
        for placed in shown.placed:
            assert any(
                region.holds(*placed.corners.min(axis=0))
                and region.holds(*placed.corners.max(axis=0))
                for region in regions
            )


def test_a_grille_and_a_blank_wall_are_not_label_like() -> None:
    grille = np.full((400, 600), 90, np.uint8)
    grille[::12] = grille[1::12] = 200
    assert label_like(grille) == []
    assert label_like(np.full((400, 600), 90, np.uint8)) == []


def test_a_picture_too_small_for_cells() -> None:
    assert label_like(np.zeros((5, 900), np.uint8)) == []


def test_a_region_cuts_its_part() -> None:
    grey = np.arange(100, dtype=np.uint8).reshape(10, 10)
    assert Region(2, 3, 4, 5).cut(grey).tolist() == [[32, 33], [42, 43]]


def test_a_large_blurred_label_is_one_region() -> None:
    for seed in range(5):
        shown = scene(["B-QM-00417-D"], seed, module=10, blur=4, contrast=0.9, busy=False)
        corners = shown.placed[0].corners
        strongest = label_like(shown.grey)[0]
        assert strongest.holds(*corners.min(axis=0) + 10)
        assert strongest.holds(*corners.max(axis=0) - 10)


def test_a_part_of_a_small_region_is_not_looked_at_again() -> None:
    shown = scene(["B-QM-00417-D"], 1, module=4, busy=False)
    assert len(label_like(shown.grey)) == 1
