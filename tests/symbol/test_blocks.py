"""The block map agrees with where the qrcode library puts its codewords."""

from __future__ import annotations

import pytest
import qrcode.base
import qrcode.constants
import qrcode.util
from tagkit.symbol.blocks import block_map
from tagkit.symbol.encode import encode
from tagkit.symbol.patterns import Role, is_masked
from tagkit.symbol.tables import LEVELS, blocks_of, codewords_of

LIBRARY = {
    "L": qrcode.constants.ERROR_CORRECT_L,
    "M": qrcode.constants.ERROR_CORRECT_M,
    "Q": qrcode.constants.ERROR_CORRECT_Q,
    "H": qrcode.constants.ERROR_CORRECT_H,
}


def test_the_blocks_of_every_version_and_level_are_those_of_the_library():
    for version in range(1, 41):
        for level in LEVELS:
            theirs = qrcode.base.rs_blocks(version, LIBRARY[level])
            ours = blocks_of(version, level)
            assert list(ours) == [(b.data_count, b.total_count - b.data_count) for b in theirs]
            assert sum(map(sum, ours)) == codewords_of(version)


def test_alignment_patterns_stand_where_the_library_puts_them():
    from tagkit.symbol.tables import ALIGNMENT

    for version in range(1, 41):
        assert list(ALIGNMENT[version - 1]) == qrcode.util.pattern_position(version)


@pytest.mark.parametrize(("version", "level"), [(2, "H"), (4, "H"), (5, "Q"), (7, "H"), (14, "M")])
def test_reading_the_modules_by_the_map_gives_back_the_codewords(version, level):
    payload = "B-QM-00417-D"
    symbol = encode(payload, level, version)
    layout = block_map(version, level)
    data = [qrcode.util.QRData(payload, mode=qrcode.util.MODE_ALPHA_NUM)]
    stream = qrcode.util.create_data(version, LIBRARY[level], data)
    found = [0] * len(stream)
    for row in range(symbol.size):
        for column in range(symbol.size):
            entry = layout.at(row, column)
            if layout.role[entry] is Role.DATA:
                value = symbol.matrix[row][column] ^ is_masked(symbol.mask, row, column)
                found[layout.codeword[entry]] |= value << layout.bit[entry]
    assert found == stream


def test_each_codeword_belongs_to_one_block_and_has_eight_modules():
    layout = block_map(4, "H")
    seen: dict[tuple[int, int], int] = {}
    for block, place in zip(layout.block, layout.in_block, strict=True):
        if block >= 0:
            seen[block, place] = seen.get((block, place), 0) + 1
    assert set(seen.values()) == {8}
    assert len(seen) == codewords_of(4)
    assert {block for block, _ in seen} == {0, 1, 2, 3}


def test_the_modules_left_over_after_the_last_codeword_belong_to_nothing():
    layout = block_map(2, "H")
    assert layout.role.count(Role.REMAINDER) == 7
    assert layout.role.count(Role.DATA) == 8 * codewords_of(2)


@pytest.mark.parametrize("version", [1, 2, 6, 7, 14, 40])
def test_function_patterns_of_the_map_are_dark_where_the_library_draws_them(version):
    symbol = encode("A", "L", version, 3)
    layout = block_map(version, "L")
    finder = [
        symbol.matrix[r][c]
        for r in range(symbol.size)
        for c in range(symbol.size)
        if layout.role[layout.at(r, c)] is Role.FINDER
    ]
    assert len(finder) == 3 * 49
    assert sum(finder) == 3 * 33
    assert layout.role.count(Role.FORMAT) == 30
    assert layout.role.count(Role.DARK) == 1
    assert layout.role.count(Role.VERSION) == (36 if version >= 7 else 0)
