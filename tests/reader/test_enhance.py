"""Processing keeps a picture's size and does what its name says."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from scenes import flat_symbol
from tagkit.reader import enhance

SYMBOL = cv2.copyMakeBorder(flat_symbol("B-QM-00417-D", 5), 3, 8, 2, 1, cv2.BORDER_REPLICATE)


@pytest.mark.parametrize(
    "process",
    [
        enhance.smooth,
        enhance.without_specks,
        enhance.sharpen,
        enhance.thin_dark,
        enhance.against_surroundings,
        lambda grey: enhance.deblur(grey, 1.5),
    ],
)
@pytest.mark.parametrize("shape", [(1, 1), (7, 160), SYMBOL.shape])
def test_size_and_kind_stay(process, shape: tuple[int, int]) -> None:
    done = process(SYMBOL[: shape[0], : shape[1]])
    assert done.shape == shape
    assert done.dtype == np.uint8


@pytest.mark.parametrize("sigma", [1.0, 2.0])
def test_deblurring_brings_a_blurred_symbol_nearer_to_the_sharp_one(sigma: float) -> None:
    blurred = cv2.GaussianBlur(SYMBOL, (0, 0), sigma)
    clear = enhance.deblur(blurred, sigma)

    def wrong(picture: np.ndarray) -> float:
        return float(np.abs(picture.astype(float) - SYMBOL).mean())

    assert wrong(clear) < 0.6 * wrong(blurred)


def test_an_even_picture_stays_even() -> None:
    even = np.full((40, 60), 130, np.uint8)
    assert np.abs(enhance.deblur(even, 2.0).astype(int) - 130).max() <= 1


def test_single_specks_go() -> None:
    specked = np.full((20, 20), 200, np.uint8)
    specked[5, 5] = specked[12, 3] = 0
    assert enhance.without_specks(specked).min() == 200


def test_a_shadow_does_not_turn_light_modules_dark() -> None:
    half_lit = SYMBOL.astype(np.float32)
    half_lit = 40 + half_lit * 0.6
    half_lit[:, half_lit.shape[1] // 2 :] *= 0.3
    made = enhance.against_surroundings(half_lit.astype(np.uint8))
    inside = (slice(25, -30), slice(25, -25))
    agree = (made[inside] > 0) == (SYMBOL[inside] > 0)
    assert agree.mean() > 0.9
