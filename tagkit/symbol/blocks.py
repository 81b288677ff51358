"""Which codeword and which error-correction block every module of a symbol belongs to.

Reading what is left of a damaged label needs this: damage to one block says nothing about the
others, and two tags differ only in some of them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from tagkit.symbol.patterns import Role, function_patterns, placement
from tagkit.symbol.tables import Level, blocks_of, size_of

NONE = -1


@dataclass(frozen=True)
class BlockMap:
    """One entry for each module, row by row from the top left; -1 where it does not apply."""

    version: int
    level: Level
    size: int
    role: tuple[Role, ...]
    codeword: tuple[int, ...]  # place in the final stream of codewords
    bit: tuple[int, ...]  # 7 is the most significant
    block: tuple[int, ...]
    in_block: tuple[int, ...]  # codeword within its block: data first, then error correction
    blocks: tuple[tuple[int, int], ...]  # (data, error correction codewords) of each block

    def at(self, row: int, column: int) -> int:
        """The entry of the module in this row and column."""
        return row * self.size + column


@lru_cache(maxsize=16)
def block_map(version: int, level: Level) -> BlockMap:
    """The map of symbols of this version and level (ISO/IEC 18004, clauses 7.6 and 7.7.3)."""
    size = size_of(version)
    roles, _ = function_patterns(version)
    role = list(roles)
    codeword, bit, block, in_block = ([NONE] * (size * size) for _ in range(4))
    owners = interleaving(version, level)
    for index, module in enumerate(placement(version)):
        if index >= 8 * len(owners):
            role[module] = Role.REMAINDER
            continue
        codeword[module] = index // 8
        bit[module] = 7 - index % 8
        block[module], in_block[module] = owners[index // 8]
    return BlockMap(
        version, level, size, tuple(role), tuple(codeword), tuple(bit), tuple(block),
        tuple(in_block), tuple(blocks_of(version, level)),
    )  # fmt: skip


@lru_cache(maxsize=16)
def interleaving(version: int, level: Level) -> tuple[tuple[int, int], ...]:
    """(block, codeword within it) for each codeword of the final stream (clause 7.6)."""
    blocks = blocks_of(version, level)
    longest = max(data for data, _ in blocks)
    stream = [
        (number, index)
        for index in range(longest)
        for number, (data, _) in enumerate(blocks)
        if index < data
    ]
    stream += [
        (number, data + index)
        for index in range(blocks[0][1])
        for number, (data, _) in enumerate(blocks)
    ]
    return tuple(stream)
