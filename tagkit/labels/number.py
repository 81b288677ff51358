"""The number in large type: its serial is what people read from afar and call out.

On one line the parts around the serial are smaller; in a higher box the site stands above the
serial. Which it is and how large depends on the box and on nothing that differs from one label
of a run to the next, so that labels of a delivery look alike.
"""

from __future__ import annotations

from functools import lru_cache

from tagkit.assets.tag import Tag
from tagkit.labels.drawing import Box, Words
from tagkit.labels.fonts import CAPITAL, face

_BESIDE = 0.6  # size of what stands beside the serial, as a share of the serial's
_ABOVE = 0.45  # size of the site above the serial
_BETWEEN = 0.22  # from the site's baseline to the top of the serial
_WIDEST_CHECK = "-W"


def number(tag: Tag, box: Box, letters: tuple[float, float], align: str) -> list[Words] | None:
    """The number in the box, its serial as large as it allows; None if that is too small."""
    bold = face("bold")
    serial, prefix, suffix = _parts(tag)
    height = _reach()
    wide = bold.width(serial), bold.width(prefix), bold.width(_WIDEST_CHECK)
    one_line = min(box.width / (wide[0] + _BESIDE * (wide[1] + wide[2])), box.height / height)
    site_row = CAPITAL * _ABOVE + _BETWEEN
    two_lines = min(
        box.width / max(wide[0] + _BESIDE * wide[2], _ABOVE * wide[1]),
        box.height / (site_row + height),
    )
    size = min(max(one_line, two_lines), letters[1] / CAPITAL)
    if size * CAPITAL < letters[0]:
        return None
    if one_line >= size:
        top = box.y + (box.height - size * height) / 2
        parts = [(prefix, _BESIDE), (serial, 1.0), (suffix, _BESIDE)]
        return _in_a_row(parts, box, align, top + size * bold.ink("0")[0], size)
    top = box.y + (box.height - size * (site_row + height)) / 2
    return [
        *_in_a_row([(prefix, _ABOVE)], box, align, top + size * _ABOVE * CAPITAL, size),
        *_in_a_row(
            [(serial, 1.0), (suffix, _BESIDE)], box, align,
            top + size * (site_row + bold.ink("0")[0]), size,
        ),
    ]  # fmt: skip


def _parts(tag: Tag) -> tuple[str, str, str]:
    return f"{tag.serial:05d}", f"{tag.kind.value}-{tag.site}-", f"-{tag.check}"


@lru_cache(maxsize=1)
def _reach() -> float:
    return sum(face("bold").ink("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-"))


def _in_a_row(
    parts: list[tuple[str, float]], box: Box, align: str, baseline: float, size: float
) -> list[Words]:
    bold = face("bold")
    used = sum(bold.width(text) * size * share for text, share in parts)
    spare = box.width - used
    left = box.x + {"left": 0.0, "centre": spare / 2, "right": spare}[align]
    words = []
    for text, share in parts:
        words.append(Words(left, baseline, size * share, "bold", text))
        left += bold.width(text) * size * share
    return words
