"""What each module of a symbol is for: function patterns, format information, data."""

from __future__ import annotations

from enum import IntEnum
from functools import lru_cache

from tagkit.symbol.tables import ALIGNMENT, LEVEL_BITS, Level, size_of


class Role(IntEnum):
    """The use of a module (ISO/IEC 18004, clause 6.3)."""

    DATA = 0
    FINDER = 1
    SEPARATOR = 2
    TIMING = 3
    ALIGNMENT = 4
    FORMAT = 5
    VERSION = 6
    DARK = 7  # the one module that is always dark
    REMAINDER = 8  # left over after the last codeword


@lru_cache(maxsize=8)
def function_patterns(version: int) -> tuple[tuple[Role, ...], tuple[bool, ...]]:
    """Role and value of every module, row by row; False where the value is not fixed."""
    size = size_of(version)
    roles = [Role.DATA] * (size * size)
    dark = [False] * (size * size)

    def put(row: int, column: int, role: Role, value: bool) -> None:
        roles[row * size + column] = role
        dark[row * size + column] = value

    for index in range(size):
        put(6, index, Role.TIMING, index % 2 == 0)
        put(index, 6, Role.TIMING, index % 2 == 0)
    for top, left in ((0, 0), (0, size - 7), (size - 7, 0)):
        for row in range(max(0, top - 1), min(size, top + 8)):
            for column in range(max(0, left - 1), min(size, left + 8)):
                ring = max(abs(row - top - 3), abs(column - left - 3))
                put(row, column, Role.SEPARATOR if ring == 4 else Role.FINDER, ring not in (2, 4))
    for row, column in _alignment_centres(version):
        for down in range(-2, 3):
            for across in range(-2, 3):
                value = max(abs(down), abs(across)) != 1
                put(row + down, column + across, Role.ALIGNMENT, value)
    for first, second in format_positions(version):
        put(*first, Role.FORMAT, False)
        put(*second, Role.FORMAT, False)
    put(size - 8, 8, Role.DARK, True)
    for bit, value in enumerate(version_bits(version)):
        for row, column in version_positions(version, bit):
            put(row, column, Role.VERSION, value)
    return tuple(roles), tuple(dark)


def _alignment_centres(version: int) -> list[tuple[int, int]]:
    places = ALIGNMENT[version - 1]
    if not places:
        return []
    first, last = places[0], places[-1]
    corners = {(first, first), (first, last), (last, first)}
    return [(row, column) for row in places for column in places if (row, column) not in corners]


def format_positions(version: int) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """Both places of the 15 format bits, least significant first (clause 7.9)."""
    size = size_of(version)
    places = []
    for bit in range(15):
        row = bit if bit < 6 else bit + 1 if bit < 8 else size - 15 + bit
        column = size - 1 - bit if bit < 8 else 7 if bit == 8 else 14 - bit
        places.append(((row, 8), (8, column)))
    return places


@lru_cache(maxsize=32)
def format_bits(level: Level, mask: int) -> int:
    """The 15 bits of format information: level and mask, BCH(15,5), masked (annex C)."""
    data = LEVEL_BITS[level] << 3 | mask
    return (data << 10 | _remainder(data << 10, 0b10100110111)) ^ 0b101010000010010


def version_bits(version: int) -> list[bool]:
    """The 18 bits of version information, least significant first; none below 7 (annex D)."""
    if version < 7:
        return []
    word = version << 12 | _remainder(version << 12, 0b1111100100101)
    return [bool(word >> bit & 1) for bit in range(18)]


def version_positions(version: int, bit: int) -> tuple[tuple[int, int], tuple[int, int]]:
    """Both places of one bit of the version information (clause 7.10)."""
    along, across = bit // 3, size_of(version) - 11 + bit % 3
    return (along, across), (across, along)


def _remainder(word: int, generator: int) -> int:
    degree = generator.bit_length()
    while word.bit_length() >= degree:
        word ^= generator << (word.bit_length() - degree)
    return word


@lru_cache(maxsize=8)
def placement(version: int) -> tuple[int, ...]:
    """The modules that carry data, as row × size + column, in the order of the bits.

    Two columns at a time from the right, up and down in turn, past the vertical timing
    pattern (clause 7.7.3).
    """
    size = size_of(version)
    roles, _ = function_patterns(version)
    order = []
    upwards = True
    for right in range(size - 1, 0, -2):
        first = right if right > 6 else right - 1
        for row in range(size - 1, -1, -1) if upwards else range(size):
            for column in (first, first - 1):
                if roles[row * size + column] is Role.DATA:
                    order.append(row * size + column)
        upwards = not upwards
    return tuple(order)


def is_masked(mask: int, row: int, column: int) -> bool:
    """Whether mask pattern ``mask`` inverts this module (table 10)."""
    product = row * column
    match mask:
        case 0:
            return (row + column) % 2 == 0
        case 1:
            return row % 2 == 0
        case 2:
            return column % 3 == 0
        case 3:
            return (row + column) % 3 == 0
        case 4:
            return (row // 2 + column // 3) % 2 == 0
        case 5:
            return product % 2 + product % 3 == 0
        case 6:
            return (product % 2 + product % 3) % 2 == 0
        case _:
            return ((row + column) % 2 + product % 3) % 2 == 0
