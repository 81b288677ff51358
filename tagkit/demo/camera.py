"""A camera that looks at a surface: where it stands, the light, its blur and its noise."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from tagkit.demo.surfaces import PIXELS_PER_MM, Pixels, Surface

_NOISE_MARGIN = 97


@dataclass(frozen=True)
class View:
    """How a picture is taken.

    ``across`` is the width on the surface, in mm, that fills the picture at its middle. Angles
    are in degrees; ``blur`` is the standard deviation in pixels of the finished picture;
    ``light`` is the brightness of the lit side, ``shade`` that of the other, as a share.
    """

    middle: tuple[float, float]  # mm on the surface
    across: float
    size: tuple[int, int] = (1280, 960)
    yaw: float = 0.0
    pitch: float = 0.0
    roll: float = 0.0
    blur: float = 0.7
    noise: float = 3.0
    light: float = 1.05
    shade: float = 0.6
    light_from: float = -120.0  # degrees; -90 is above
    glare: float = 0.0
    tint: tuple[float, float, float] = (0.97, 1.0, 1.02)  # blue, green, red

    def towards(self, other: View, share: float) -> View:
        """The view on the way to ``other``: 0 is this one, 1 the other."""

        def mix(a: float, b: float) -> float:
            return a + (b - a) * share

        return replace(
            self,
            middle=(mix(self.middle[0], other.middle[0]), mix(self.middle[1], other.middle[1])),
            across=mix(self.across, other.across),
            yaw=mix(self.yaw, other.yaw),
            pitch=mix(self.pitch, other.pitch),
            roll=mix(self.roll, other.roll),
            blur=mix(self.blur, other.blur),
        )


def photograph(surface: Surface, view: View, seed: int, *, over: int = 2) -> Pixels:
    """The picture (BGR) that a camera at ``view`` takes of ``surface``.

    It is drawn ``over`` times larger and averaged, as a sensor does; 1 is quicker, for frames
    of a video.
    """
    random = np.random.default_rng(seed)
    width, height = view.size
    warp = _projection(view, over)
    picture = cv2.warpPerspective(
        surface.bytes(), warp, (width * over, height * over),
        flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT_101,
    )  # fmt: skip
    if over > 1:
        picture = cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA)
    picture = cv2.multiply(picture, _lighting(view), dtype=cv2.CV_32F)
    if view.glare:
        picture = cv2.add(picture, cv2.cvtColor(_glare(view, random), cv2.COLOR_GRAY2BGR))
    picture = cv2.GaussianBlur(picture, (0, 0), max(0.3, view.blur))
    picture = cv2.scaleAdd(_sensor_noise(view.size, random), view.noise, picture)
    taken: Pixels = np.clip(picture, 0, 255).astype(np.uint8)
    return taken


def _sensor_noise(size: tuple[int, int], random: np.random.Generator) -> NDArray[np.float32]:
    """Another part of one field of noise for every picture; drawing it anew takes long."""
    x, y = random.integers(0, _NOISE_MARGIN, 2)
    part = _noise_field(size)[y : y + size[1], x : x + size[0]]
    return np.ascontiguousarray(part)


@lru_cache(maxsize=2)
def _noise_field(size: tuple[int, int]) -> NDArray[np.float32]:
    shape = (size[1] + _NOISE_MARGIN, size[0] + _NOISE_MARGIN, 3)
    return np.random.default_rng(0).standard_normal(shape, np.float32)


def _projection(view: View, over: int) -> NDArray[np.float64]:
    """Surface pixels -> picture pixels, for a camera with a view of about 55 degrees."""
    width, height = view.size[0] * over, view.size[1] * over
    yaw, pitch, roll = np.deg2rad([view.yaw, view.pitch, view.roll])
    about_y = np.array([[np.cos(yaw), 0, np.sin(yaw)], [0, 1, 0], [-np.sin(yaw), 0, np.cos(yaw)]])
    about_x = np.array(
        [[1, 0, 0], [0, np.cos(pitch), -np.sin(pitch)], [0, np.sin(pitch), np.cos(pitch)]]
    )
    about_z = np.array(
        [[np.cos(roll), -np.sin(roll), 0], [np.sin(roll), np.cos(roll), 0], [0, 0, 1]]
    )
    turn = about_z @ about_x @ about_y
    focal = 0.96 * width
    distance = focal * view.across / width
    plane = np.column_stack([turn[:, 0], turn[:, 1], np.array([0, 0, distance])])
    lens = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1]])
    to_mm = np.array(
        [
            [1 / PIXELS_PER_MM, 0, -view.middle[0]],
            [0, 1 / PIXELS_PER_MM, -view.middle[1]],
            [0, 0, 1],
        ]
    )
    return np.asarray(lens @ plane @ to_mm, np.float64)


def _lighting(view: View) -> NDArray[np.float32]:
    lamp = (view.light, view.shade, view.light_from)
    return _light_field(view.size, lamp, view.tint)


@lru_cache(maxsize=4)
def _light_field(
    size: tuple[int, int], lamp: tuple[float, float, float], tint: tuple[float, float, float]
) -> NDArray[np.float32]:
    """Brightness by place and colour: brighter towards the lamp, darker in the corners."""
    light, shade, light_from = lamp
    x, y = np.meshgrid(np.linspace(-1, 1, size[0]), np.linspace(-1, 1, size[1]))
    angle = np.deg2rad(light_from)
    along = (x * np.cos(angle) + y * np.sin(angle)) / 1.5
    field = shade + (light - shade) * (0.5 + 0.5 * np.clip(along, -1, 1))
    field = (field * (1 - 0.13 * (x * x + y * y))).astype(np.float32)
    return np.stack([field * part for part in tint], axis=-1).astype(np.float32)


def _glare(view: View, random: np.random.Generator) -> NDArray[np.float32]:
    """The lamp's reflection: one soft bright streak."""
    width, height = view.size
    spot = np.zeros((height, width), np.float32)
    middle = (int(random.uniform(0.55, 0.8) * width), int(random.uniform(0.1, 0.25) * height))
    cv2.ellipse(spot, middle, (width // 7, height // 30), -12, 0, 360, 1.0, cv2.FILLED)
    return np.asarray(cv2.GaussianBlur(spot, (0, 0), width / 40) * view.glare, np.float32)
