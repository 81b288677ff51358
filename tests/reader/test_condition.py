"""How much of a label is left, measured on labels that are damaged by a known amount."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from tagkit.reader.condition import blocks_with, expected_symbol, measure, mendable
from tagkit.reader.flattening import flatten
from tagkit.reader.grading import grade
from tagkit.reader.marking import marked
from tagkit.reader.symbols import Corners
from tagkit.settings import ConditionSettings
from tagkit.symbol.blocks import block_map
from tagkit.symbol.encode import Symbol, encode

PAYLOAD = "B-QM-00417-D"
SYMBOL = encode(PAYLOAD, "H", 2, 3)
PIXELS = 12


def label(symbol: Symbol = SYMBOL, *, ink: int = 40, film: int = 215) -> np.ndarray:
    """The frame, the quiet zone and the symbol, flat, on a grey wall."""
    dark = np.pad(np.array(symbol.matrix, bool), 4)
    dark = np.pad(dark, 2, constant_values=True)
    art = np.where(np.kron(dark, np.ones((PIXELS, PIXELS), bool)), ink, film).astype(np.uint8)
    art = cv2.copyMakeBorder(art, 40, 40, 40, 40, cv2.BORDER_CONSTANT, value=film)
    return cv2.copyMakeBorder(art, 60, 60, 60, 60, cv2.BORDER_CONSTANT, value=110)


def photographed(
    art: np.ndarray, symbol: Symbol = SYMBOL, *, off: float = 0.0, shade: float = 0.0
) -> tuple[np.ndarray, Corners]:
    """The label from the side, blurred and grainy; corners wrong by ``off`` modules."""
    height, width = art.shape
    start = 100 + 6 * PIXELS
    end = start + symbol.size * PIXELS
    corners = np.array([(start, start), (end, start), (end, end), (start, end)], np.float32) - 0.5
    whole = np.array([(0, 0), (width, 0), (width, height), (0, height)], np.float32)
    seen_as = np.array([(20, 30), (390, 5), (410, 400), (8, 380)], np.float32)
    matrix = cv2.getPerspectiveTransform(whole, seen_as)
    seen = cv2.warpPerspective(art, matrix, (430, 420), flags=cv2.INTER_AREA)
    light = 1 - shade * np.linspace(0, 1, 430)
    grain = np.random.default_rng(5).normal(0, 3, seen.shape)
    seen = np.clip(cv2.GaussianBlur(seen, (0, 0), 0.8) * light + grain, 0, 255).astype(np.uint8)
    at = cv2.perspectiveTransform(corners[None], matrix)[0]
    module = np.sqrt(cv2.contourArea(at)) / symbol.size
    at = at + off * module * np.array([(-1, 0.6), (0.8, -1), (1, 0.5), (-0.7, -0.9)])
    first, second, third, fourth = ((float(x), float(y)) for x, y in at)
    return seen, (first, second, third, fourth)


def overpainted(art: np.ndarray, modules: list[tuple[int, int]], grey: int) -> np.ndarray:
    """The label with these modules (row, column) painted over."""
    art = art.copy()
    for row, column in modules:
        top, left = (100 + (6 + at) * PIXELS for at in (row, column))
        art[top : top + PIXELS, left : left + PIXELS] = grey
    return art


def one_module_of_each(symbol: Symbol, count: int, dark: bool) -> list[tuple[int, int]]:
    """A module of so many different codewords of the first block."""
    known = block_map(symbol.version, symbol.level)
    chosen: dict[int, tuple[int, int]] = {}
    for index, (word, block) in enumerate(zip(known.codeword, known.block, strict=True)):
        row, column = divmod(index, symbol.size)
        if block == 0 and symbol.matrix[row][column] is dark:
            chosen.setdefault(word, (row, column))
    return list(chosen.values())[:count]


def test_a_new_label_is_good_and_all_of_its_correction_is_left() -> None:
    found = measure(*_with(SYMBOL, photographed(label())))
    assert found.unused_error_correction == 1
    assert not found.wrong.any()
    assert found.fixed_pattern_damage == 0
    assert found.frame == 1
    assert found.modulation >= 3
    assert found.contrast == pytest.approx(1 - 40 / 215, abs=0.06)
    assert grade(found, ConditionSettings()).verdict == "good"
    assert grade(found, ConditionSettings()).doubts == ()


@pytest.mark.parametrize(
    ("count", "verdict"), [(3, "good"), (8, "reprint soon"), (12, "reprint now")]
)
def test_each_painted_codeword_uses_up_its_share(count: int, verdict: str) -> None:
    painted = one_module_of_each(SYMBOL, count, dark=True)
    found = measure(*_with(SYMBOL, photographed(overpainted(label(), painted, 215))))
    assert [tuple(at) for at in np.argwhere(found.wrong).tolist()] == sorted(painted)
    (block,) = found.blocks
    assert (block.codewords, block.mendable, block.wrong) == (44, 14, count)
    assert found.unused_error_correction == pytest.approx(1 - count / 14)
    assert grade(found, ConditionSettings()).verdict == verdict


def test_damage_counts_in_the_block_where_it_is() -> None:
    symbol = encode("HTTPS://LABELS.EXAMPLE/A/B-QM-00417-D", "H", 4, 2)
    painted = one_module_of_each(symbol, 3, dark=False)
    seen = photographed(overpainted(label(symbol), painted, 40), symbol)
    found = measure(*_with(symbol, seen))
    assert [block.wrong for block in found.blocks] == [3, 0, 0, 0]
    assert found.unused_error_correction == pytest.approx(1 - 3 / 8)


@pytest.mark.parametrize("off", [0.3, 0.7, 1.0])
def test_corners_may_be_off_by_a_module(off: float) -> None:
    picture, exact = photographed(label())
    _, rough = photographed(label(), off=off)
    flat = flatten(picture, SYMBOL, rough)
    n = SYMBOL.size
    for (x, y), (right, down) in zip(exact, ((0, 0), (n, 0), (n, n), (0, n)), strict=True):
        assert flat.in_picture(right, down) == pytest.approx((x, y), abs=1.5)
    assert measure(picture, SYMBOL, rough).unused_error_correction == 1


def test_uneven_light_is_no_damage() -> None:
    found = measure(*_with(SYMBOL, photographed(label(), shade=0.6)))
    assert found.unused_error_correction == 1
    assert grade(found, ConditionSettings()).verdict == "good"


def test_faint_print_is_named() -> None:
    found = measure(*_with(SYMBOL, photographed(label(ink=140))))
    grading = grade(found, ConditionSettings())
    assert grading.verdict == "reprint soon"
    assert [reason.code for reason in grading.reasons] == ["contrast"]


def test_a_rubbed_off_finder_pattern_is_named_with_its_place() -> None:
    places = [(row, column) for row in range(5) for column in range(7)]
    found = measure(*_with(SYMBOL, photographed(overpainted(label(), places, 215))))
    grading = grade(found, ConditionSettings())
    assert grading.verdict == "reprint now"
    assert "top left finder pattern" in grading.reasons[0].sentence


def test_a_frame_that_is_gone_is_named() -> None:
    ring = range(-6, SYMBOL.size + 6)
    places = [(row, column) for row in ring for column in ring if min(row, column) < -4]
    places += [(row, column) for row in ring for column in (-6, -5)]
    places += [(row, column) for row in ring for column in range(SYMBOL.size + 4, SYMBOL.size + 6)]
    found = measure(*_with(SYMBOL, photographed(overpainted(label(), places, 215))))
    top, right, bottom, left = found.frame_sides
    assert top is not None and right is not None and left is not None and bottom is not None
    assert max(top, right, left) < 0.2 < 0.8 < bottom
    assert found.unused_error_correction == 1
    assert [reason.code for reason in grade(found, ConditionSettings()).reasons] == ["frame"]


def test_a_mirrored_lamp_is_not_taken_for_damage() -> None:
    picture, corners = photographed(label(film=190))
    x, y = np.mean(corners, axis=0)
    cv2.circle(picture, (int(x), int(y)), 30, 255, -1)
    found = measure(picture, SYMBOL, corners)
    grading = grade(found, ConditionSettings())
    assert found.glare > 0.05
    assert found.unused_error_correction > 0.7
    assert "mirrored" in grading.doubts[0]


def test_the_form_of_a_label_is_taken_from_the_record_or_from_the_picture() -> None:
    picture, corners = photographed(label())
    other = encode(PAYLOAD, "H", 2, 5)
    assert expected_symbol(picture, PAYLOAD, corners, [other, SYMBOL]) == (SYMBOL, True)
    assert expected_symbol(picture, PAYLOAD, corners) == (SYMBOL, False)
    assert expected_symbol(picture, PAYLOAD, corners, [other]) == (SYMBOL, False)


def test_the_smallest_symbols_keep_some_correction_for_detecting_misreads() -> None:
    # ISO/IEC 18004, table 9: 1-L mends 2 of 26, 1-M 4, 1-Q 6, 1-H 8, 2-L 4, 3-L 7, 4-H 8.
    known = {(1, "L", 7): 2, (1, "M", 10): 4, (1, "Q", 13): 6, (1, "H", 17): 8, (2, "L", 10): 4,
             (3, "L", 15): 7, (4, "H", 16): 8}  # fmt: skip
    for (version, level, correction), count in known.items():
        assert mendable(version, level, correction) == count  # type: ignore[arg-type]


def test_a_symbol_without_a_wrong_module_has_no_wrong_codeword() -> None:
    blocks = blocks_with(np.zeros((33, 33), bool), block_map(4, "H"))
    assert [(block.codewords, block.wrong, block.unused) for block in blocks] == [(25, 0, 1.0)] * 4


def test_the_marked_picture_shows_red_where_the_damage_is() -> None:
    painted = one_module_of_each(SYMBOL, 5, dark=True)
    picture, corners = photographed(overpainted(label(), painted, 215))
    found = measure(picture, SYMBOL, corners)
    shown = marked(picture, [(found, grade(found, ConditionSettings()), PAYLOAD)]).astype(int)
    scale = shown.shape[0] // picture.shape[0]
    for row, column in painted:
        x, y = found.flat.in_picture(column + 0.5, row + 0.5)
        blue, _, red = shown[round(y * scale), round(x * scale)]
        assert red > blue + 40


def _with(symbol: Symbol, seen: tuple[np.ndarray, Corners]) -> tuple[np.ndarray, Symbol, Corners]:
    return seen[0], symbol, seen[1]
