"""From the payload to the modules of its symbol.

The qrcode library is the encoder of record: it writes the payload's bits, and tests hold every
matrix against the library's own, for all versions, levels and masks. Error correction, placing
and the choice of the mask are done here, by table, because a delivery prints hundreds of labels
and a library made for one symbol at a time takes milliseconds for each.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from operator import itemgetter
from typing import Any

import qrcode.util

from tagkit.errors import WrongInput
from tagkit.symbol.blocks import interleaving
from tagkit.symbol.correction import correction
from tagkit.symbol.patterns import (
    Role,
    format_bits,
    format_positions,
    function_patterns,
    is_masked,
    placement,
)
from tagkit.symbol.penalty import penalty
from tagkit.symbol.tables import LARGEST_VERSION, LEVELS, Level, blocks_of, size_of

_PADDING = b"\xec\x11"


@dataclass(frozen=True)
class Symbol:
    """A symbol as printed, without its quiet zone."""

    payload: str
    version: int
    level: Level
    mask: int
    bits: int  # all modules, row by row, the top left one the most significant; 1 is dark

    @property
    def size(self) -> int:
        """Modules along one side."""
        return size_of(self.version)

    @cached_property
    def rows(self) -> tuple[str, ...]:
        """Each row as a text of 0 (light) and 1 (dark)."""
        size = self.size
        text = f"{self.bits:0{size * size}b}"
        return tuple(text[start : start + size] for start in range(0, size * size, size))

    @cached_property
    def matrix(self) -> tuple[tuple[bool, ...], ...]:
        """True where a module is dark, by row and column."""
        return tuple(tuple(module == "1" for module in row) for row in self.rows)


def encode(
    payload: str, level: Level = "H", version: int | None = None, mask: int | None = None
) -> Symbol:
    """The symbol of ``payload``: the smallest version and the mask of least penalty unless given.

    Raises WrongInput when the payload does not go into the version, or nothing is known to
    hold it.
    """
    if level not in LEVELS:
        raise WrongInput(f"“{level}” is not a level of error correction", "Use L, M, Q or H")
    if mask is not None and mask not in range(8):
        raise WrongInput(f"{mask} is not a mask pattern", "Use 0 to 7")
    alphanumeric = qrcode.util.RE_ALPHA_NUM.match(payload.encode()) is not None
    smallest = smallest_version(len(payload.encode()), alphanumeric, level)
    if version is None:
        version = smallest
    elif not 1 <= version <= LARGEST_VERSION:
        raise WrongInput(f"{version} is not a version of the symbol", "Use 1 to 40")
    elif version < smallest:
        raise WrongInput(
            f"“{payload}” does not go into a symbol of version {version} at level {level}",
            f"Use version {smallest} or more",
        )
    unmasked = _place(_codewords(payload, alphanumeric, version, level), version)
    if mask is None:
        size = size_of(version)
        scores = [penalty(unmasked ^ pattern, size) for pattern in _masks(version)]
        mask = scores.index(min(scores))
    bits = unmasked ^ _masks(version)[mask] | _fixed(version, level, mask)
    return Symbol(payload, version, level, mask, bits)


@lru_cache(maxsize=256)
def smallest_version(length: int, alphanumeric: bool, level: Level) -> int:
    """The smallest version that holds ``length`` characters (bytes unless alphanumeric)."""
    bits = (length // 2 * 11 + length % 2 * 6) if alphanumeric else 8 * length
    for version in range(1, LARGEST_VERSION + 1):
        counting = _count_bits(alphanumeric, version)
        if 4 + counting + bits <= 8 * sum(data for data, _ in blocks_of(version, level)):
            return version
    raise WrongInput(
        f"{length} characters do not go into any symbol at level {level}", "Shorten the payload"
    )


def _count_bits(alphanumeric: bool, version: int) -> int:
    """Bits that give the number of characters (table 3)."""
    step = 0 if version < 10 else 1 if version < 27 else 2
    return (9, 11, 13)[step] if alphanumeric else (8, 16, 16)[step]


def _codewords(payload: str, alphanumeric: bool, version: int, level: Level) -> bytes:
    """Data and error correction, interleaved (clauses 7.4.9 to 7.6)."""
    mode = qrcode.util.MODE_ALPHA_NUM if alphanumeric else qrcode.util.MODE_8BIT_BYTE
    segment = qrcode.util.QRData(payload.encode(), mode=mode, check_data=False)
    stream = _Bits()
    stream.put(mode, 4)
    stream.put(len(segment), _count_bits(alphanumeric, version))
    segment.write(stream)
    blocks = blocks_of(version, level)
    room = sum(data for data, _ in blocks)
    ended = -(-min(stream.length + 4, 8 * room) // 8)  # four bits 0 end the data
    words = (stream.bits << 8 * ended - stream.length).to_bytes(ended)
    words += (_PADDING * room)[: room - ended]
    start = 0
    streams = []
    for data, count in blocks:
        block = words[start : start + data]
        streams.append(block + correction(block, count))
        start += data
    if len(streams) == 1:
        return streams[0]
    return bytes(streams[block][index] for block, index in interleaving(version, level))


class _Bits:
    """A stream of bits, as the library writes into; its own takes them one by one."""

    def __init__(self) -> None:
        self.bits = 0
        self.length = 0

    def put(self, number: int, length: int) -> None:
        """The last ``length`` bits of a number, the most significant first."""
        self.bits = self.bits << length | number
        self.length += length


def _place(codewords: bytes, version: int) -> int:
    """The codewords in their modules, before masking; everything else 0."""
    stream = f"{int.from_bytes(codewords):0{8 * len(codewords)}b}0"
    return int("".join(_gather(version)(stream)), 2)


@lru_cache(maxsize=8)
def _gather(version: int) -> Callable[[str], tuple[Any, ...]]:
    """For each module in turn, the bit of the stream that it carries; the last bit is 0."""
    total = 8 * sum(data + correction for data, correction in blocks_of(version, "L"))
    source = [total] * size_of(version) ** 2
    for index, module in enumerate(placement(version)):
        source[module] = min(index, total)
    return itemgetter(*source)


@lru_cache(maxsize=8)
def _masks(version: int) -> tuple[int, ...]:
    """What each mask inverts, with the finder, timing and alignment patterns in place.

    The format and version information and the dark module come later: the masks are scored
    without them.
    """
    size = size_of(version)
    roles, dark = function_patterns(version)
    later = (Role.FORMAT, Role.VERSION, Role.DARK)
    return tuple(
        int(
            "".join(
                "1"
                if (
                    is_masked(mask, *divmod(module, size))
                    if role is Role.DATA
                    else value and role not in later
                )
                else "0"
                for module, (role, value) in enumerate(zip(roles, dark, strict=True))
            ),
            2,
        )
        for mask in range(8)
    )


@lru_cache(maxsize=64)
def _fixed(version: int, level: Level, mask: int) -> int:
    """Format and version information and the dark module."""
    size = size_of(version)
    roles, dark = function_patterns(version)
    modules = [
        value and role in (Role.VERSION, Role.DARK) for role, value in zip(roles, dark, strict=True)
    ]
    word = format_bits(level, mask)
    for bit, places in enumerate(format_positions(version)):
        for row, column in places:
            modules[row * size + column] = bool(word >> bit & 1)
    return int("".join("1" if value else "0" for value in modules), 2)
