"""A label printed and aged, still flat (or bent round its cable), with the truth about it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from tagkit.assets.tag import Tag
from tagkit.labels.layout import PrintedLabel

from .ageing import GRAIN, MODELS, Bend, Ground, Wear
from .camera import Grey, Homography, to_picture
from .fields import Field, smooth
from .labels import PER_MODULE, Print
from .severity import informative, lost_by_module, misread_modules, steered, touched

_UP = PER_MODULE // GRAIN


@dataclass(frozen=True, eq=False)
class Label:
    """The truth about one label in a picture.

    ``grid`` is where the corners of the modules lie: (modules + 1, modules + 1, 2), row, column,
    (x, y) in pixels, pixel centres at whole numbers. ``lost`` is the share of each module that
    is lost. ``asked`` and the four shares of what was reached: see ``severity``.
    """

    tag: Tag
    printed: PrintedLabel
    model: str
    asked: float
    area_lost: float
    area_touched: float
    informative_lost: float
    informative_misread: float
    lost: NDArray[np.float32]
    grid: NDArray[np.float64]

    @property
    def corners(self) -> NDArray[np.float64]:
        """The symbol's corners (4, 2) from its own top left, clockwise, in pixels."""
        return self.grid[[0, 0, -1, -1], [0, -1, -1, 0]]

    @property
    def pixels_per_module(self) -> float:
        """The square root of a module's mean area in the picture."""
        x, y = self.corners[:, 0], self.corners[:, 1]
        area = 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
        return float(np.sqrt(area)) / len(self.lost)


def stream(seed: int, number: int) -> np.random.Generator:
    """Independent chances for label, camera, room, damage: each keeps its own when others change."""
    return np.random.default_rng([seed, number])


@dataclass(frozen=True, eq=False)
class Aged:
    """A flat aged label: ``art`` and ``cover`` at ``scale`` pixels a module."""

    label: Print
    art: Grey
    cover: Grey
    to_modules: Homography
    bend: Bend | None
    model: str
    asked: float
    area_lost: float
    area_touched: float
    informative_lost: float
    informative_misread: float
    lost: NDArray[np.float32]

    def truth(self, matrix: Homography) -> Label:
        n = self.label.modules
        lines = np.arange(n + 1, dtype=np.float64)
        x, y = np.meshgrid(lines, lines)
        if self.bend:
            start = self.label.symbol[1 if self.bend.along else 0] / PER_MODULE
            middle, radius = self.bend.middle / GRAIN - start, self.bend.radius / GRAIN
            bent = _round(lines - middle, radius) + middle
            x, y = (x, np.tile(bent[:, None], n + 1)) if self.bend.along else (
                np.tile(bent, (n + 1, 1)), y)  # fmt: skip
        grid = to_picture(matrix, np.stack([x, y], axis=-1) - n / 2)
        return Label(
            self.label.printed.tag, self.label.printed, self.model, self.asked, self.area_lost,
            self.area_touched, self.informative_lost, self.informative_misread, self.lost, grid,
        )  # fmt: skip


def _round(lengths: NDArray[np.float64], radius: float) -> NDArray[np.float64]:
    """Where lengths along a cylinder's skin appear from the front; the far side at its edge."""
    return radius * np.sin(np.clip(lengths / radius, -np.pi / 2, np.pi / 2))


def age(
    label: Print,
    model: str,
    severity: float,
    seed: int,
    tones: tuple[float, float] | None = None,
    dimmed: float = 1.0,
) -> Aged:
    """The label with ``severity`` of its symbol's area lost by ``model``."""
    rng = stream(seed, 4)
    ink, film = float(rng.uniform(22, 58)), float(rng.uniform(192, 238))
    beneath = float(rng.uniform(45, 130))
    ink, film = tones or (ink * dimmed, film * dimmed)
    shape = (label.picture.shape[0] // _UP, label.picture.shape[1] // _UP)
    column, row, side = (part // _UP for part in label.symbol)
    ground = Ground(shape, (column, row, side), ink, film, beneath)
    wear: Wear | None = None
    if model != "none" and severity > 0:
        course = MODELS[model](ground, np.random.default_rng([seed, 6, *model.encode()]))
        square = np.s_[row : row + side, column : column + side]

        def lost_at(level: float) -> float:
            return float(lost_by_module(course(level).kept[square], label.modules).mean())

        wear = course(steered(lost_at, severity))
    flat = label.picture.astype(np.float32) * np.float32((film - ink) / 255) + np.float32(ink)
    if not tones:
        # A label in service: the film yellows and is soiled unevenly even where it is whole.
        worn = 1 + 0.03 * smooth(rng, shape, 16 * GRAIN, 3)
        flat *= _enlarged(worn.astype(np.float32), flat)
    bend = None
    if wear:
        flat, bend = _worn(flat, wear), wear.bend
        if not tones:
            grain = rng.standard_normal(shape, np.float32) * np.float32(3)
            flat += _enlarged(grain, flat)
        kept = wear.kept[square]
        lost = lost_by_module(kept, label.modules)
    else:
        lost = np.zeros(label.dark.shape, np.float32)
    counts = informative(label.printed)
    x, y, length = label.symbol
    small = cv2.resize(
        flat[y : y + length, x : x + length], (side, side), interpolation=cv2.INTER_AREA
    )
    misread = misread_modules(small, label.dark, ink, film) & (lost > 0)
    art = cv2.convertScaleAbs(cv2.max(flat, 0)).astype(np.uint8)
    cover = np.full(art.shape, 255, np.uint8)
    middle = (x + length / 2 - 0.5, y + length / 2 - 0.5)
    if bend:
        art, cover, middle = _wrapped(art, bend, middle, float(rng.uniform(18, 50)))
    to_modules = np.array([
        [1 / PER_MODULE, 0, -middle[0] / PER_MODULE], [0, 1 / PER_MODULE, -middle[1] / PER_MODULE],
        [0, 0, 1],
    ])  # fmt: skip
    return Aged(
        label, art, cover, to_modules, bend, model, severity, float(lost.mean()),
        touched(wear.kept[square]) if wear else 0.0,
        float((lost[counts] >= 0.5).mean()), float(misread[counts].mean()), lost,
    )  # fmt: skip


def _worn(flat: Field, wear: Wear) -> Field:
    worn = cv2.multiply(flat, _enlarged(wear.kept, flat))
    if wear.smear is not None:
        small = cv2.resize(flat, wear.kept.shape[::-1], interpolation=cv2.INTER_AREA)
        blurred = cv2.GaussianBlur(small, (0, 0), 1.6 * GRAIN)
        worn += _enlarged(blurred * wear.smear, flat)
    worn += _enlarged(wear.added, flat)
    return worn


def _enlarged(part: Field, like: Field) -> Field:
    wide: Field = cv2.resize(part, like.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return wide


def _wrapped(
    art: Grey, bend: Bend, middle: tuple[float, float], rubber: float
) -> tuple[Grey, Grey, tuple[float, float]]:
    """The label as it appears on a cylinder, with a stretch of the cable on both sides of it."""
    across = bend.along == 0
    if not across:
        art, middle = np.ascontiguousarray(art.T), middle[::-1]
    height, width = art.shape
    radius = bend.radius * _UP
    facing = bend.middle * _UP + 0.5 * (_UP - 1)
    reach = int(np.ceil(radius)) + 1
    left, right = -min(reach, int(facing) + 1), min(reach, width - int(facing))
    seen = np.arange(left, right + 1, dtype=np.float32)
    where = radius * np.arcsin(np.clip(seen / radius, -1, 1)) + facing
    stretch = 30 * PER_MODULE
    rows = np.arange(-stretch, height + stretch, dtype=np.float32)
    at_x, at_y = np.meshgrid(where.astype(np.float32), rows)
    bent = cv2.remap(art, at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT)
    outside = (at_y < -0.5) | (at_y > height - 0.5) | (at_x < -0.5) | (at_x > width - 0.5)
    shine = 0.4 + 0.6 * np.sqrt(np.clip(1 - (seen / radius) ** 2, 0, 1))
    rubbers = np.broadcast_to((rubber * shine)[None, :], bent.shape).astype(np.uint8)
    bent = np.where(outside, rubbers, bent)
    cover = np.broadcast_to(np.where(np.abs(seen) <= radius, 255, 0)[None, :], bent.shape)
    cover = cover.astype(np.uint8)
    # A drum wider than the label is no cable: there only the label is laid on.
    if radius > width * 0.6:
        cover = np.where(outside, 0, cover).astype(np.uint8)
    # The symbol's middle as the flat label would have it, seen from the middle of the bend.
    moved = (middle[0] - facing - left, middle[1] + stretch)
    if not across:
        bent, cover, moved = (
            np.ascontiguousarray(bent.T),
            np.ascontiguousarray(cover.T),
            moved[::-1],
        )
    return np.ascontiguousarray(bent), np.ascontiguousarray(cover), moved
