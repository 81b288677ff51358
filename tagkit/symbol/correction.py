"""Error correction codewords: Reed-Solomon over GF(256), by table (ISO/IEC 18004, annex A)."""

from __future__ import annotations

from functools import lru_cache

_FIELD = 0b100011101  # x^8 + x^4 + x^3 + x^2 + 1


def correction(data: bytes, count: int) -> bytes:
    """The ``count`` error correction codewords of one block of data."""
    table = _multiples(count)
    keep = (1 << 8 * (count - 1)) - 1
    shift = 8 * (count - 1)
    rest = 0
    for byte in data:
        rest = (rest & keep) << 8 ^ table[rest >> shift ^ byte]
    return rest.to_bytes(count)


@lru_cache(maxsize=32)
def _multiples(count: int) -> tuple[int, ...]:
    """The generator polynomial of this degree (without its leading 1) times every byte.

    The generator is the product of (x - 2^i) for i from 0 to count - 1.
    """
    generator = [1]
    root = 1
    for _ in range(count):
        longer = [*generator, 0]
        for place, factor in enumerate(generator):
            longer[place + 1] ^= _product(factor, root)
        generator = longer
        root = _product(root, 2)
    return tuple(
        int.from_bytes(bytes(_product(factor, byte) for factor in generator[1:]))
        for byte in range(256)
    )


def _product(first: int, second: int) -> int:
    result = 0
    while second:
        if second & 1:
            result ^= first
        first <<= 1
        if first & 0x100:
            first ^= _FIELD
        second >>= 1
    return result
