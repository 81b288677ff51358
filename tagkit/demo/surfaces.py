"""Painted steel, concrete and sheet metal to stick labels on, drawn flat and to scale.

A :class:`Surface` is a picture in millimetres: everything on it is drawn face-on, and the
camera (``camera.py``) looks at it from somewhere. Colours are blue, green, red, as OpenCV
keeps them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]
Colour = tuple[float, float, float]

PIXELS_PER_MM = 2.5


@dataclass(frozen=True)
class Face:
    """A label as printed, flat, with its size."""

    pixels: Pixels
    width: float  # mm
    height: float  # mm


class Surface:
    """A canvas in millimetres, origin at the top left."""

    def __init__(self, width: float, height: float, colour: Colour, seed: int) -> None:
        self.width, self.height = width, height
        self.random = np.random.default_rng(seed)
        self._bytes: Pixels | None = None
        shape = (round(height * PIXELS_PER_MM), round(width * PIXELS_PER_MM), 3)
        self.pixels: NDArray[np.float32] = np.empty(shape, np.float32)
        cv2.rectangle(self.pixels, (0, 0), (shape[1], shape[0]), colour, cv2.FILLED)

    def bytes(self) -> Pixels:
        """What is drawn, as bytes; to be looked at from now on, not drawn on."""
        if self._bytes is None:
            self._bytes = cv2.convertScaleAbs(np.maximum(self.pixels, 0)).astype(np.uint8)
        return self._bytes

    def rectangle(self, x: float, y: float, w: float, h: float, colour: Colour) -> None:
        """A filled rectangle."""
        cv2.rectangle(
            self.pixels, self._at(x, y), self._at(x + w, y + h), colour, cv2.FILLED, cv2.LINE_AA
        )

    def line(
        self, x: float, y: float, to_x: float, to_y: float, colour: Colour, thick: float
    ) -> None:
        """A straight line, ``thick`` mm."""
        width = max(1, round(thick * PIXELS_PER_MM))
        cv2.line(self.pixels, self._at(x, y), self._at(to_x, to_y), colour, width, cv2.LINE_AA)

    def disc(self, x: float, y: float, radius: float, colour: Colour) -> None:
        """A filled circle."""
        pixels = max(1, round(radius * PIXELS_PER_MM))
        cv2.circle(self.pixels, self._at(x, y), pixels, colour, cv2.FILLED, cv2.LINE_AA)

    def curve(self, points: list[tuple[float, float]], colour: Colour, thick: float) -> None:
        """A smooth line through ``points``, for cables."""
        ends = np.array(points, np.float64)
        steps = np.linspace(0, len(points) - 1, 60)
        knots = np.arange(len(points))
        smooth = np.stack([np.interp(steps, knots, ends[:, axis]) for axis in (0, 1)], axis=1)
        for _ in range(6):
            smooth[1:-1] = (smooth[:-2] + 2 * smooth[1:-1] + smooth[2:]) / 4
        path = np.round(smooth * PIXELS_PER_MM).astype(np.int32).reshape(-1, 1, 2)
        for share, light in ((1.0, 0.7), (0.7, 1.0), (0.25, 1.35)):
            shade = tuple(min(255.0, part * light) for part in colour)
            width = max(1, round(thick * share * PIXELS_PER_MM))
            cv2.polylines(self.pixels, [path], False, shade, width, cv2.LINE_AA)

    def words(
        self, text: str, x: float, y: float, height: float, colour: Colour, thick: float = 0.6
    ) -> None:
        """A line of plain letters, ``height`` mm tall, its foot at ``y``."""
        font, scale = cv2.FONT_HERSHEY_DUPLEX, height * PIXELS_PER_MM / 21
        width = max(1, round(thick * PIXELS_PER_MM))
        (wide, tall), below = cv2.getTextSize(text, font, scale, width)
        left, foot = self._at(x, y)
        window = self._window(left - width, foot - tall - width, left + wide + width,
                              foot + below + width)  # fmt: skip
        layer = np.zeros(window.shape[:2], np.uint8)  # letters are drawn on bytes only
        at = (min(left, width), min(foot, tall + width))
        cv2.putText(layer, text, at, font, scale, 255, width, cv2.LINE_AA)
        share = layer[..., None].astype(np.float32) / 255
        window += (np.array(colour, np.float32) - window) * share

    def shadow(self, x: float, y: float, w: float, h: float, spread: float, depth: float) -> None:
        """Darkness around a rectangle, as under something that stands off the surface."""
        (left, top), (right, foot) = self._at(x, y), self._at(x + w, y + h)
        reach = round(spread * PIXELS_PER_MM * 3) + 1
        window = self._window(left - reach, top - reach, right + reach, foot + reach)
        off = (max(0, left - reach), max(0, top - reach))
        mask = np.zeros(window.shape[:2], np.float32)
        cv2.rectangle(
            mask, (left - off[0], top - off[1]), (right - off[0], foot - off[1]), 1.0, cv2.FILLED
        )
        window *= (1 - depth * _soft(mask, spread * PIXELS_PER_MM))[..., None]

    def grain(self, coarse: float, fine: float) -> None:
        """Unevenness of paint or concrete; figures are grey levels."""
        height, width = self.pixels.shape[:2]
        uneven = self._layer()
        for cells, strength in ((6, coarse), (30, coarse / 2), (160, fine)):
            size = (cells * width // height + 2, cells + 2)
            noise = self.random.normal(0, strength, (size[1], size[0])).astype(np.float32)
            uneven += cv2.resize(noise, (width, height), interpolation=cv2.INTER_LINEAR)
        uneven += fine * self.random.standard_normal((height, width), np.float32)
        self._lighten(uneven)

    def scratches(
        self, count: int, light: float, within: tuple[float, float, float, float] | None = None
    ) -> None:
        """Long thin scratches; ``light`` is how much brighter than the paint.

        ``within`` is the rectangle (x, y, width, height) that is scratched, else everything.
        """
        left, top, wide, tall = within or (0.0, 0.0, self.width, self.height)
        layer = self._layer()
        for _ in range(count):
            x, y = left + self.random.uniform(0, wide), top + self.random.uniform(0, tall)
            angle, length = self.random.normal(0, 0.35), self.random.gamma(2.0, 22.0)
            to_x = min(left + wide, x + length * np.cos(angle))
            to_y = min(top + tall, max(top, y + length * np.sin(angle)))
            to = self._at(to_x, to_y)
            bright = float(self.random.uniform(0.3, 1.0))
            cv2.line(layer, self._at(x, y), to, bright, 1, cv2.LINE_AA)
        self._lighten(light * layer)

    def stains(self, count: int, size: float, darkness: float) -> None:
        """Soft blotches of oil, dust or old acid."""
        layer = self._layer()
        for _ in range(count):
            x, y = self.random.uniform(0, self.width), self.random.uniform(0, self.height)
            axes = self.random.uniform(0.3, 1.0, 2) * size * PIXELS_PER_MM
            cv2.ellipse(
                layer, self._at(x, y), (int(axes[0]) + 1, int(axes[1]) + 1),
                float(self.random.uniform(0, 180)), 0, 360, 1.0, cv2.FILLED,
            )  # fmt: skip
        self._darken(darkness * _soft(layer, size * 0.5 * PIXELS_PER_MM))

    def drips(self, x: float, y: float, w: float, count: int, length: float) -> None:
        """Whitish runs of dried electrolyte below an edge."""
        layer = self._layer()
        for _ in range(count):
            start = x + self.random.uniform(0, w)
            run = self.random.gamma(2.0, length / 2)
            cv2.line(
                layer, self._at(start, y), self._at(start + self.random.normal(0, 2), y + run),
                float(self.random.uniform(0.3, 0.9)), int(self.random.integers(3, 10)), cv2.LINE_AA,
            )  # fmt: skip
        (left, top), (right, foot) = self._at(x - 20, y - 10), self._at(x + w + 20, y + 8 * length)
        window = self._window(left, top, right, foot)
        soft = _soft(layer[max(0, top) : foot, max(0, left) : right], 3.0)[..., None] * 0.5
        window += (205 - window) * soft

    def stick(self, face: Face, x: float, y: float, turned: float = 0.0) -> None:
        """The label with its top left at (x, y), turned by some degrees about its middle."""
        middle = (x + face.width / 2, y + face.height / 2)
        angle = np.deg2rad(turned)
        rotation = np.array(
            [[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]], np.float64
        )
        half = np.array([face.width / 2, face.height / 2])
        corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * half @ rotation.T + middle
        self._paste(face.pixels, corners * PIXELS_PER_MM)

    def _paste(self, pixels: Pixels, corners: NDArray[np.float64]) -> None:
        side = float(np.linalg.norm(corners[1] - corners[0]))
        if pixels.shape[1] > side:
            tall = max(1, round(pixels.shape[0] * side / pixels.shape[1]))
            pixels = cv2.resize(
                pixels, (max(1, round(side)), tall), interpolation=cv2.INTER_AREA
            ).astype(np.uint8)
        margin = 24
        low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - margin, 0)
        high = np.ceil(corners.max(axis=0)).astype(int) + margin
        window = self._window(low[0], low[1], high[0], high[1])
        height, width = window.shape[:2]
        here = (corners - low).astype(np.float32)
        h, w = pixels.shape[:2]
        flat = np.array([(0, 0), (w, 0), (w, h), (0, h)], np.float32)
        warp = cv2.getPerspectiveTransform(flat, here)
        on = cv2.warpPerspective(
            pixels.astype(np.float32), warp, (width, height),
            flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE,
        )  # fmt: skip
        inside = np.zeros((height, width), np.uint8)  # smooth edges are drawn on bytes only
        cv2.fillConvexPoly(inside, np.round(here * 16).astype(np.int32), 255, cv2.LINE_AA, 4)
        mask = inside.astype(np.float32) / 255
        window *= (1 - 0.45 * _soft(np.roll(mask, (3, 2), (0, 1)), 4.0))[..., None]
        window += (on - window) * mask[..., None]

    def _lighten(self, levels: NDArray[np.float32]) -> None:
        """Adds grey levels everywhere."""
        cv2.add(self.pixels, cv2.cvtColor(levels, cv2.COLOR_GRAY2BGR), self.pixels)

    def _darken(self, share: NDArray[np.float32]) -> None:
        """Takes a share of the light away everywhere."""
        cv2.multiply(self.pixels, cv2.cvtColor(1 - share, cv2.COLOR_GRAY2BGR), self.pixels)

    def _window(self, left: int, top: int, right: int, foot: int) -> NDArray[np.float32]:
        """The part of the canvas between these pixels, to be changed in place."""
        return self.pixels[max(0, top) : max(0, foot), max(0, left) : max(0, right)]

    def _layer(self) -> NDArray[np.float32]:
        return np.zeros(self.pixels.shape[:2], np.float32)

    @staticmethod
    def _at(x: float, y: float) -> tuple[int, int]:
        return round(x * PIXELS_PER_MM), round(y * PIXELS_PER_MM)


def _soft(mask: NDArray[Any], sigma: float) -> NDArray[np.float32]:
    """The mask blurred; wide blurs are made on a smaller copy, which nobody can tell."""
    height, width = mask.shape
    smaller = max(1, int(sigma / 3))
    if smaller > 1:
        size = (max(1, width // smaller), max(1, height // smaller))
        mask = cv2.resize(mask, size, interpolation=cv2.INTER_AREA)
    blurred = cv2.GaussianBlur(mask, (0, 0), max(0.3, sigma / smaller))
    if smaller > 1:
        blurred = cv2.resize(blurred, (width, height), interpolation=cv2.INTER_LINEAR)
    return blurred.astype(np.float32)
