"""The penalty of a masked symbol, by which the standard chooses the mask.

All modules of a symbol are the bits of one integer, the top left one the most significant, so
that a whole feature is found by a few shifts. The sums are those of the qrcode library, which
scores the symbol before the format information is put in (ISO/IEC 18004, clause 7.8.3).
"""

from __future__ import annotations

from functools import lru_cache


def penalty(bits: int, size: int) -> int:
    """The sum of the four features N1 to N4 (table 11)."""
    whole, right, right_ten, below_ten = _areas(size)
    light = bits ^ whole
    along = ~(bits ^ bits >> 1) & right  # equal to the module on the left
    down = ~(bits ^ bits >> size) & (whole >> size)  # equal to the module above
    points = _runs(along, 1) + _runs(down, size)
    points += 3 * (along & along >> size & down).bit_count()
    points += 40 * _finder_like(bits, light, 1, right_ten)
    points += 40 * _finder_like(bits, light, size, below_ten)
    percent = bits.bit_count() / size**2 * 100
    return points + 10 * int(abs(percent - 50) / 5)


@lru_cache(maxsize=8)
def _areas(size: int) -> tuple[int, int, int, int]:
    """All modules; those with one and with ten to their left; those with ten above."""
    whole = (1 << size * size) - 1
    one_row = (1 << size) - 1

    def columns_from(first: int) -> int:
        row = one_row >> first
        return sum(row << size * number for number in range(size))

    return whole, columns_from(1), columns_from(10), whole >> 10 * size


def _runs(equal: int, step: int) -> int:
    """Runs of five or more: three points, and one for each module more."""
    ends = equal & equal >> step & equal >> 2 * step & equal >> 3 * step
    starts = ends & ~(ends >> step)
    return ends.bit_count() + 2 * starts.bit_count()


def _finder_like(dark: int, light: int, step: int, area: int) -> int:
    """How often 1:1:3:1:1 stands beside four light modules."""
    four = light & light >> step
    four &= four >> 2 * step
    core = dark & light >> step & dark >> 2 * step & dark >> 3 * step & dark >> 4 * step
    core &= light >> 5 * step & dark >> 6 * step
    return ((core >> 4 * step & four) & area).bit_count() + (
        (four >> 7 * step & core) & area
    ).bit_count()
