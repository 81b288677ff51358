"""The tables of ISO/IEC 18004:2015 that a symbol's structure follows from.

Written out here because reading a damaged label needs to know where every codeword lies, which
an encoder does not tell. Index 0 is version 1.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

Level = Literal["L", "M", "Q", "H"]
LEVELS: tuple[Level, ...] = ("L", "M", "Q", "H")
LARGEST_VERSION = 40

# The two bits that name the level in the format information (table 12).
LEVEL_BITS: dict[Level, int] = {"L": 0b01, "M": 0b00, "Q": 0b11, "H": 0b10}

# (error correction codewords in each block, number of blocks) for L, M, Q, H (table 9).
# fmt: off
EC_BLOCKS: tuple[tuple[tuple[int, int], ...], ...] = (
    ((7, 1), (10, 1), (13, 1), (17, 1)),  # 1
    ((10, 1), (16, 1), (22, 1), (28, 1)),  # 2
    ((15, 1), (26, 1), (18, 2), (22, 2)),  # 3
    ((20, 1), (18, 2), (26, 2), (16, 4)),  # 4
    ((26, 1), (24, 2), (18, 4), (22, 4)),  # 5
    ((18, 2), (16, 4), (24, 4), (28, 4)),  # 6
    ((20, 2), (18, 4), (18, 6), (26, 5)),  # 7
    ((24, 2), (22, 4), (22, 6), (26, 6)),  # 8
    ((30, 2), (22, 5), (20, 8), (24, 8)),  # 9
    ((18, 4), (26, 5), (24, 8), (28, 8)),  # 10
    ((20, 4), (30, 5), (28, 8), (24, 11)),  # 11
    ((24, 4), (22, 8), (26, 10), (28, 11)),  # 12
    ((26, 4), (22, 9), (24, 12), (22, 16)),  # 13
    ((30, 4), (24, 9), (20, 16), (24, 16)),  # 14
    ((22, 6), (24, 10), (30, 12), (24, 18)),  # 15
    ((24, 6), (28, 10), (24, 17), (30, 16)),  # 16
    ((28, 6), (28, 11), (28, 16), (28, 19)),  # 17
    ((30, 6), (26, 13), (28, 18), (28, 21)),  # 18
    ((28, 7), (26, 14), (26, 21), (26, 25)),  # 19
    ((28, 8), (26, 16), (30, 20), (28, 25)),  # 20
    ((28, 8), (26, 17), (28, 23), (30, 25)),  # 21
    ((28, 9), (28, 17), (30, 23), (24, 34)),  # 22
    ((30, 9), (28, 18), (30, 25), (30, 30)),  # 23
    ((30, 10), (28, 20), (30, 27), (30, 32)),  # 24
    ((26, 12), (28, 21), (30, 29), (30, 35)),  # 25
    ((28, 12), (28, 23), (28, 34), (30, 37)),  # 26
    ((30, 12), (28, 25), (30, 34), (30, 40)),  # 27
    ((30, 13), (28, 26), (30, 35), (30, 42)),  # 28
    ((30, 14), (28, 28), (30, 38), (30, 45)),  # 29
    ((30, 15), (28, 29), (30, 40), (30, 48)),  # 30
    ((30, 16), (28, 31), (30, 43), (30, 51)),  # 31
    ((30, 17), (28, 33), (30, 45), (30, 54)),  # 32
    ((30, 18), (28, 35), (30, 48), (30, 57)),  # 33
    ((30, 19), (28, 37), (30, 51), (30, 60)),  # 34
    ((30, 19), (28, 38), (30, 53), (30, 63)),  # 35
    ((30, 20), (28, 40), (30, 56), (30, 66)),  # 36
    ((30, 21), (28, 43), (30, 59), (30, 70)),  # 37
    ((30, 22), (28, 45), (30, 62), (30, 74)),  # 38
    ((30, 24), (28, 47), (30, 65), (30, 77)),  # 39
    ((30, 25), (28, 49), (30, 68), (30, 81)),  # 40
)

# Row and column of the centres of alignment patterns (annex E).
ALIGNMENT: tuple[tuple[int, ...], ...] = (
    (),  # 1
    (6, 18),  # 2
    (6, 22),  # 3
    (6, 26),  # 4
    (6, 30),  # 5
    (6, 34),  # 6
    (6, 22, 38),  # 7
    (6, 24, 42),  # 8
    (6, 26, 46),  # 9
    (6, 28, 50),  # 10
    (6, 30, 54),  # 11
    (6, 32, 58),  # 12
    (6, 34, 62),  # 13
    (6, 26, 46, 66),  # 14
    (6, 26, 48, 70),  # 15
    (6, 26, 50, 74),  # 16
    (6, 30, 54, 78),  # 17
    (6, 30, 56, 82),  # 18
    (6, 30, 58, 86),  # 19
    (6, 34, 62, 90),  # 20
    (6, 28, 50, 72, 94),  # 21
    (6, 26, 50, 74, 98),  # 22
    (6, 30, 54, 78, 102),  # 23
    (6, 28, 54, 80, 106),  # 24
    (6, 32, 58, 84, 110),  # 25
    (6, 30, 58, 86, 114),  # 26
    (6, 34, 62, 90, 118),  # 27
    (6, 26, 50, 74, 98, 122),  # 28
    (6, 30, 54, 78, 102, 126),  # 29
    (6, 26, 52, 78, 104, 130),  # 30
    (6, 30, 56, 82, 108, 134),  # 31
    (6, 34, 60, 86, 112, 138),  # 32
    (6, 30, 58, 86, 114, 142),  # 33
    (6, 34, 62, 90, 118, 146),  # 34
    (6, 30, 54, 78, 102, 126, 150),  # 35
    (6, 24, 50, 76, 102, 128, 154),  # 36
    (6, 28, 54, 80, 106, 132, 158),  # 37
    (6, 32, 58, 84, 110, 136, 162),  # 38
    (6, 26, 54, 82, 110, 138, 166),  # 39
    (6, 30, 58, 86, 114, 142, 170),  # 40
)
# fmt: on


def size_of(version: int) -> int:
    """Modules along one side, without the quiet zone (clause 5.3.1)."""
    return 17 + 4 * version


@lru_cache(maxsize=160)
def blocks_of(version: int, level: Level) -> tuple[tuple[int, int], ...]:
    """(data codewords, error correction codewords) of each block, in order (table 9)."""
    correction, count = EC_BLOCKS[version - 1][LEVELS.index(level)]
    short, longer = divmod(codewords_of(version), count)
    return tuple(
        (short + (1 if block >= count - longer else 0) - correction, correction)
        for block in range(count)
    )


def codewords_of(version: int) -> int:
    """Codewords in the symbol, data and error correction together (table 1)."""
    size = size_of(version)
    centres = len(ALIGNMENT[version - 1])
    modules = size * size
    modules -= 3 * 64  # finder patterns and their separators
    modules -= 2 * (size - 16)  # timing patterns
    modules -= 31  # format information and the dark module
    if centres:
        modules -= 25 * (centres * centres - 3)
        modules += 10 * (centres - 2)  # alignment patterns that lie on the timing patterns
    if version >= 7:
        modules -= 36
    return modules // 8
