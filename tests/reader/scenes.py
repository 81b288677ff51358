"""Pictures of labels in a room, made by code: for tests and for the bench.

A scene is a textured, unevenly lit background with things that look a little like labels
(grilles, lettering, chequer plate, cables) and any number of QR symbols on white labels, tilted
and turned, then blurred and made noisy as a camera does. Everything follows from the seed, and
the true corners of every symbol are kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
import qrcode
from numpy.typing import NDArray

Grey = NDArray[np.uint8]
_OVERSAMPLING = 4
_MODULE = 12  # pixels of one module in the flat artwork
LEVELS = {
    "L": qrcode.ERROR_CORRECT_L,
    "M": qrcode.ERROR_CORRECT_M,
    "Q": qrcode.ERROR_CORRECT_Q,
    "H": qrcode.ERROR_CORRECT_H,
}


@dataclass(frozen=True)
class Placed:
    """A symbol in a scene; corners from its own top left, clockwise, in pixels."""

    text: str
    corners: NDArray[np.float64]


@dataclass
class Scene:
    """A grey picture and what is truly in it."""

    grey: Grey
    placed: list[Placed] = field(default_factory=list)

    @property
    def texts(self) -> list[str]:
        return [one.text for one in self.placed]


def flat_symbol(text: str, module: int = 6, level: str = "H", border: int = 4) -> Grey:
    """The bare symbol, black on white, ``module`` pixels a module, quiet zone included."""
    code = qrcode.QRCode(error_correction=LEVELS[level], box_size=1, border=border)
    code.add_data(text)
    code.make()
    dark = np.array(code.get_matrix(), dtype=bool)
    return np.kron(np.where(dark, 0, 255), np.ones((module, module))).astype(np.uint8)


def clutter(seed: int, width: int = 1920, height: int = 1080) -> Grey:
    """A battery room without a label: texture, light, grilles, lettering, plates, cables."""
    rng = np.random.default_rng(seed)
    coarse = rng.normal(0, 1, (height // 60 + 2, width // 60 + 2)).astype(np.float32)
    light = cv2.resize(coarse, (width, height), interpolation=cv2.INTER_CUBIC)
    fine = rng.normal(0, 1, (height // 2, width // 2)).astype(np.float32)
    texture = cv2.GaussianBlur(cv2.resize(fine, (width, height)), (0, 0), 1.2)
    wall = np.clip(118 + 22 * light + 12 * texture, 0, 255).astype(np.uint8)
    for _ in range(int(rng.integers(10, 18))):
        _draw_thing(wall, rng)
    noisy = wall + rng.normal(0, 3, wall.shape).astype(np.float32)
    return np.clip(noisy, 0, 255).astype(np.uint8)


def scene(
    texts: Sequence[str],
    seed: int,
    *,
    width: int = 1280,
    height: int = 720,
    module: float = 4.0,
    tilt: float = 20.0,
    turn: float | None = None,
    blur: float = 0.6,
    noise: float = 4.0,
    contrast: float = 0.7,
    level: str = "H",
    busy: bool = True,
) -> Scene:
    """Labels with ``texts`` side by side in a room.

    ``module`` is pixels per module, ``tilt`` the largest slant in degrees, ``turn`` the rotation
    in the picture (any, where None), ``blur`` and ``noise`` standard deviations in pixels and
    grey values, ``contrast`` the share of the grey range between dark and light modules.
    """
    rng = np.random.default_rng(seed)
    if busy:
        grey = clutter(seed, width, height).astype(np.float32)
    else:
        grey = np.full((height, width), 128, np.float32)
    placed = []
    columns = max(1, min(len(texts), int(np.ceil(np.sqrt(len(texts) * width / height)))))
    rows = max(1, int(np.ceil(len(texts) / columns)))
    for index, text in enumerate(texts):
        middle = np.array(
            [
                (index % columns + 0.5 + rng.uniform(-0.06, 0.06)) * width / columns,
                (index // columns + 0.5 + rng.uniform(-0.06, 0.06)) * height / rows,
            ]
        )
        angle = float(rng.uniform(0, 360)) if turn is None else turn
        slant = float(rng.uniform(0, tilt))
        toward = float(rng.uniform(0, 360))
        art = flat_symbol(text, _MODULE, level)
        corners = _paste(grey, art, middle, module, angle, slant, toward, contrast, rng)
        placed.append(Placed(text, corners))
    if blur > 0:
        grey = cv2.GaussianBlur(grey, (0, 0), blur)
    grey = grey + rng.normal(0, noise, grey.shape).astype(np.float32)
    return Scene(np.clip(grey, 0, 255).astype(np.uint8), placed)


def _paste(
    grey: NDArray[np.float32],
    art: Grey,
    middle: NDArray[np.float64],
    module: float,
    angle: float,
    slant: float,
    toward: float,
    contrast: float,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    """Put the artwork into the picture as a tilted card; the symbol's corners there."""
    size = art.shape[0]
    half = size / 2
    card = np.array([[-half, -half], [half, -half], [half, half], [-half, half]]) / _MODULE * module
    quiet = 4 * module
    inner = card + quiet * np.array([[1, 1], [-1, 1], [-1, -1], [1, -1]])
    outline = _projected(card, angle, slant, toward) + middle
    corners = _projected(inner, angle, slant, toward) + middle

    left, top = np.floor(outline.min(axis=0)).astype(int) - 2
    right, bottom = np.ceil(outline.max(axis=0)).astype(int) + 2
    left, top = max(left, 0), max(top, 0)
    right, bottom = min(right, grey.shape[1]), min(bottom, grey.shape[0])
    k = _OVERSAMPLING
    target = ((outline - [left, top]) * k).astype(np.float32)
    source = np.array([[0, 0], [size, 0], [size, size], [0, size]], np.float32)
    matrix = cv2.getPerspectiveTransform(source - 0.5, target - 0.5)
    span = ((right - left) * k, (bottom - top) * k)
    middle_grey = rng.uniform(110, 145)
    low, high = middle_grey - 127 * contrast, middle_grey + 127 * contrast
    shades = (low + (high - low) * art.astype(np.float32) / 255).clip(0, 255)
    card_picture = cv2.warpPerspective(shades, matrix, span, flags=cv2.INTER_LINEAR)
    mask = cv2.warpPerspective(np.ones_like(shades), matrix, span, flags=cv2.INTER_LINEAR)
    small = (right - left, bottom - top)
    card_picture = cv2.resize(card_picture, small, interpolation=cv2.INTER_AREA)
    mask = cv2.resize(mask, small, interpolation=cv2.INTER_AREA)
    region = grey[top:bottom, left:right]
    region[:] = region * (1 - mask) + card_picture
    return corners


def _projected(
    points: NDArray[np.float64], angle: float, slant: float, toward: float
) -> NDArray[np.float64]:
    """Points of a flat card turned, slanted about an axis, and seen from eight sizes away."""
    a, s, t = np.radians([angle, slant, toward])
    spin = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    flat = points @ spin.T
    axis = np.array([np.cos(t), np.sin(t)])
    across = np.array([-np.sin(t), np.cos(t)])
    along_axis, off_axis = flat @ axis, flat @ across
    distance = 8 * np.abs(points).max() * 2
    scale = distance / (distance + off_axis * np.sin(s))
    seen = np.outer(along_axis, axis) + np.outer(off_axis * np.cos(s), across)
    return seen * scale[:, None]


def _draw_thing(picture: Grey, rng: np.random.Generator) -> None:
    """One thing that stands about in a battery room."""
    height, width = picture.shape
    x, y = int(rng.integers(0, width)), int(rng.integers(0, height))
    w, h = int(rng.integers(60, max(61, width // 4))), int(rng.integers(40, max(41, height // 4)))
    dark, light = float(rng.uniform(10, 90)), float(rng.uniform(150, 240))
    what = int(rng.integers(0, 7))
    if what == 0:  # case, cabinet
        cv2.rectangle(picture, (x, y), (x + w, y + h), dark, -1)
        cv2.rectangle(picture, (x, y), (x + w, y + h), light, 3)
    elif what == 1:  # ventilation grille
        pitch = int(rng.integers(6, 20))
        for at in range(y, y + h, pitch):
            cv2.line(picture, (x, at), (x + w, at), dark, max(1, pitch // 2))
    elif what == 2:  # lettering on a white plate
        cv2.rectangle(picture, (x, y), (x + w, y + h), light, -1)
        for row in range(y + 24, y + h, 30):
            word = "".join(chr(c) for c in rng.integers(48, 91, 14))
            cv2.putText(picture, word, (x + 6, row), cv2.FONT_HERSHEY_SIMPLEX, 0.8, dark, 2)
    elif what == 3:  # chequer plate, woven mesh
        cell = int(rng.integers(4, 16))
        rows, columns = max(1, h // cell), max(1, w // cell)
        board = np.indices((rows, columns)).sum(axis=0) % 2
        _put(picture, np.kron(board, np.ones((cell, cell))) * (light - dark) + dark, x, y)
    elif what == 4:  # pixelated rubbish: random modules without finder patterns
        cell = int(rng.integers(3, 9))
        board = rng.integers(0, 2, (int(rng.integers(12, 34)), int(rng.integers(12, 34))))
        _put(picture, np.kron(board, np.ones((cell, cell))) * (light - dark) + dark, x, y)
    elif what == 5:  # nested squares and rings: bolts, sockets, drain covers
        radius = int(rng.integers(6, 40))
        for index, size in enumerate((radius, radius * 5 // 7, radius * 3 // 7)):
            shade = dark if index % 2 == 0 else light
            if rng.random() < 0.5:
                cv2.circle(picture, (x, y), size, shade, -1)
            else:
                cv2.rectangle(picture, (x - size, y - size), (x + size, y + size), shade, -1)
    else:  # cable
        points = np.cumsum(rng.normal(0, 50, (12, 2)), axis=0) + np.array([x, y])
        cv2.polylines(picture, [points.astype(np.int32)], False, dark, int(rng.integers(6, 22)))


def _put(picture: Grey, patch: NDArray[np.float64], x: int, y: int) -> None:
    region = picture[y : y + patch.shape[0], x : x + patch.shape[1]]
    region[:] = patch[: region.shape[0], : region.shape[1]]
