"""A label is located by the grid of its modules when frame and finder patterns are gone."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from tagkit.reader.recovery.lattice import grids
from tagkit.reader.recovery.locating import locate
from tagkit.reader.recovery.recover import recover
from tagkit.reader.recovery.structure import Prepared
from worn_labels import LINK, face, registered, round_a_cable

ROSTER = registered()
LINKED = registered(link=True)
UP = 12


def on_a_wall(art: np.ndarray, module: float, turn: float, lean: float = 0.0) -> np.ndarray:
    """Artwork at ``UP`` pixels a module in the middle of a picture of a dull wall."""
    height, width = art.shape
    matrix = cv2.getRotationMatrix2D((width / 2, height / 2), turn, module / UP)
    matrix[:, 2] += (250 - width / 2, 220 - height / 2)
    full = np.vstack([matrix, [0, 0, 1]])
    full[2, 0] = lean
    small = cv2.GaussianBlur(art, (0, 0), UP / module / 2)
    seen = cv2.warpPerspective(small, full, (500, 440), borderValue=0)
    cover = cv2.warpPerspective(np.ones_like(art), full, (500, 440), borderValue=0)
    grain = np.random.default_rng(5).normal(0, 3, seen.shape)
    return np.clip(seen * cover + 110 * (1 - cover) + grain, 0, 255).astype(np.uint8)


def without(payload: str, keep: np.ndarray) -> np.ndarray:
    """A label of which only ``keep`` (modules of face) is left, the rest bare paint."""
    whole = np.where(keep, face(payload), 110.0)
    return np.kron(whole, np.ones((UP, UP))).astype(np.float32)


@pytest.mark.parametrize("turn", [4.0, 33.0, 118.0])
def test_a_torn_out_middle_without_frame_and_finders_is_placed(turn: float) -> None:
    variant = LINKED.variants[3]
    keep = np.zeros_like(face(variant.payload), bool)
    keep[17:-9, 17:-9] = True
    keep[-17:, :17] = False
    grey = on_a_wall(without(variant.payload, keep), 4.2, turn, 2e-4)
    best = max(locate(Prepared(grey), LINKED), key=lambda one: one.score)
    assert best.score > 10
    assert [read.tag for read in recover(grey, [], LINKED, seconds=30)] == [variant.tag]


def test_a_grid_has_the_pitch_of_the_modules() -> None:
    variant = ROSTER.variants[8]
    grey = on_a_wall(np.kron(face(variant.payload), np.ones((UP, UP), np.float32)), 5.0, 12.0)
    found = [grid for grid in grids(Prepared(grey)) if grid is not None]
    assert found
    assert any(abs(grid.module / 5.0 - 1) < 0.02 for grid in found)


def test_a_label_round_a_cable_is_named() -> None:
    variant = LINKED.variants[5]
    art = np.kron(face(f"{LINK}{variant.tag}"), np.ones((UP, UP), np.float32))
    bent = round_a_cable(art, 12.0 * UP, art.shape[1] * 0.45)
    reads = recover(on_a_wall(bent, 4.5, 8.0), [], LINKED, seconds=30)
    assert [read.tag for read in reads] == [variant.tag]


def test_a_grille_has_no_label_on_it() -> None:
    stripes = np.where(np.arange(480) // 5 % 2, 60, 190)
    mesh = np.minimum(stripes[:300, None], stripes[None, :]).astype(np.uint8)
    assert recover(mesh, [], ROSTER, seconds=30) == []
