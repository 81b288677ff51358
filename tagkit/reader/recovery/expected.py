"""The modules of many symbols at once, by the linearity of the code.

All symbols of one version, level and payload length differ from one of them by a linear map over
GF(2): a bit of the message flips a fixed set of data and error-correction modules (Reed-Solomon
codes are linear, masks and function patterns are added constants). So thousands of symbols cost
one product of bit matrices. Bits of the message follow ISO/IEC 18004, clause 7.4.4
(alphanumeric mode: two characters in 11 bits, a last single one in 6).
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from tagkit.symbol.blocks import interleaving
from tagkit.symbol.correction import correction
from tagkit.symbol.encode import encode
from tagkit.symbol.patterns import placement
from tagkit.symbol.tables import Level, blocks_of, size_of

ALPHABET = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ $%*+-./:"
# Mode indicator and number of characters come first (versions 1 to 9).
_HEADER = 13
LARGEST_VERSION = 9
_PART = 4096

Dark = NDArray[np.bool_]


def symbols(payloads: Sequence[str], version: int, level: Level, mask: int) -> Dark:
    """The modules (payloads, size²), row by row, True where dark; payloads of one length.

    Payloads that alphanumeric mode can't write, or of larger versions, are encoded one by one.
    """
    size = size_of(version)
    if not payloads:
        return np.zeros((0, size * size), np.bool_)
    first = _one(payloads[0], version, level, mask)
    values = _values(payloads)
    if version > LARGEST_VERSION or values is None:
        return np.stack([first, *(_one(text, version, level, mask) for text in payloads[1:])])
    bits = _message(values)
    flips = bits ^ bits[:1]
    used = np.flatnonzero(flips.any(axis=0))
    touched = _generator(version, level)[_HEADER + used].astype(np.float32)
    found = np.empty((len(payloads), size * size), np.bool_)
    for start in range(0, len(payloads), _PART):
        part = slice(start, start + _PART)
        sums = flips[part][:, used].astype(np.float32) @ touched
        found[part] = (sums.astype(np.int32) & 1).astype(np.bool_) ^ first
    return found


def _one(payload: str, version: int, level: Level, mask: int) -> Dark:
    return np.array(encode(payload, level, version, mask).matrix, np.bool_).ravel()


def _values(payloads: Sequence[str]) -> NDArray[np.int64] | None:
    """Values of the characters (table 5), or None when one has none."""
    if any(len(text) != len(payloads[0]) for text in payloads):
        raise ValueError("payloads of several lengths")
    table = np.full(256, -1, np.int64)
    table[np.frombuffer(ALPHABET.encode(), np.uint8)] = np.arange(len(ALPHABET))
    try:
        joined = "".join(payloads).encode("ascii")
    except UnicodeEncodeError:
        return None
    values = table[np.frombuffer(joined, np.uint8)].reshape(len(payloads), -1)
    return None if np.any(values < 0) else values


def _message(values: NDArray[np.int64]) -> NDArray[np.uint8]:
    """The bits of the characters, after mode and count."""
    paired = values.shape[1] // 2 * 2
    pairs = values[:, 0:paired:2] * 45 + values[:, 1:paired:2]
    parts = [_binary(pairs, 11)]
    if values.shape[1] % 2:
        parts.append(_binary(values[:, -1:], 6))
    return np.concatenate(parts, axis=1)


def _binary(numbers: NDArray[np.int64], length: int) -> NDArray[np.uint8]:
    places = np.arange(length - 1, -1, -1)
    return (numbers[:, :, None] >> places & 1).astype(np.uint8).reshape(len(numbers), -1)


@lru_cache(maxsize=8)
def _generator(version: int, level: Level) -> NDArray[np.uint8]:
    """Which modules each bit of the data flips: (data bits, size²)."""
    blocks = blocks_of(version, level)
    where = {owner: index for index, owner in enumerate(interleaving(version, level))}
    modules = placement(version)
    rows: list[NDArray[np.uint8]] = []
    for block, (data, count) in enumerate(blocks):
        for word in range(data):
            for bit in range(7, -1, -1):
                message = bytearray(data)
                message[word] = 1 << bit
                row: Any = np.zeros(size_of(version) ** 2, np.uint8)
                stream = bytes(message) + correction(bytes(message), count)
                for index, value in enumerate(stream):
                    start = 8 * where[block, index]
                    for place in range(8):
                        row[modules[start + place]] = value >> (7 - place) & 1
                rows.append(row)
    return np.stack(rows)
