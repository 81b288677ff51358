"""A symbol found in a picture: what it says, where it lies, which decoder says so."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

Point = tuple[float, float]
Corners = tuple[Point, Point, Point, Point]


@dataclass(frozen=True)
class Found:
    """One decoded symbol.

    ``corners`` are pixels of the picture (x to the right, y down) on the outer edge of the
    symbol without its quiet zone: first the symbol's own top left (the finder pattern that has
    a finder pattern on both sides), then clockwise as the picture shows it. A mirrored symbol
    keeps this rule, so its own top right comes last.
    """

    text: str
    corners: Corners
    decoder: str

    def moved(self, scale: float, left: float, top: float) -> Found:
        """The same symbol in the picture of which this one was a scaled cut-out."""
        moved = tuple((x / scale + left, y / scale + top) for x, y in self.corners)
        return Found(self.text, (moved[0], moved[1], moved[2], moved[3]), self.decoder)


def clockwise(corners: Iterable[Point]) -> Corners:
    """Four corners in order round the symbol, turned clockwise, the first one kept."""
    first, second, third, fourth = ((float(x), float(y)) for x, y in corners)
    if signed_area((first, second, third, fourth)) < 0:
        second, fourth = fourth, second
    return (first, second, third, fourth)


def signed_area(corners: Corners) -> float:
    """Area in square pixels; positive when the corners run clockwise (y points down)."""
    following = corners[1:] + corners[:1]
    pairs = zip(corners, following, strict=True)
    return sum(x * v - u * y for (x, y), (u, v) in pairs) / 2


def centre(corners: Corners) -> Point:
    """The mean of the corners."""
    return sum(x for x, _ in corners) / 4, sum(y for _, y in corners) / 4


def box(corners: Corners) -> tuple[float, float, float, float]:
    """Left, top, right, bottom."""
    xs, ys = [x for x, _ in corners], [y for _, y in corners]
    return min(xs), min(ys), max(xs), max(ys)


def contains(corners: Corners, point: Point) -> bool:
    """Whether ``point`` lies inside the clockwise quadrilateral (or on its edge)."""
    px, py = point
    following = corners[1:] + corners[:1]
    return all(
        (u - x) * (py - y) - (v - y) * (px - x) >= 0
        for (x, y), (u, v) in zip(corners, following, strict=True)
    )


def same_symbol(one: Found, other: Found) -> bool:
    """Whether two decoders (or two looks) speak of one printed symbol.

    They do when they say the same and overlap: the centre of one lies inside the other. Two
    labels with the same text side by side stay two.
    """
    return one.text == other.text and (
        contains(one.corners, centre(other.corners)) or contains(other.corners, centre(one.corners))
    )


def merge(known: list[Found], more: Iterable[Found]) -> list[Found]:
    """``known`` and whatever of ``more`` is not yet in it, in this order."""
    merged = list(known)
    for found in more:
        if not any(same_symbol(found, earlier) for earlier in merged):
            merged.append(found)
    return merged
