"""Whole scenes: a label printed, aged, hung in a room, photographed; and what is true of it.

``damaged`` one picture, ``video`` eight frames of one label, ``null`` pictures in which no
registered tag can be seen, ``long_range`` the smallest-module row. The same seed with another
severity is the same label, room and camera with more or less damage.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from tagkit.assets.tag import Kind, Tag, tag_for
from tagkit.labels.layout import PrintedLabel

from . import clutter
from .ageing import GRAIN, MODELS, Bend, Ground, Wear
from .camera import Camera, Grey, Homography, Posture, drawn, expose, homography, lay_on, to_picture
from .fields import Field, smooth
from .labels import OTHER_SITE, PER_MODULE, TEMPLATES, Form, Print, neighbours, print_label, roster
from .severity import informative, lost_by_module, misread_modules, steered

Null = Literal[
    "neighbour", "other site", "foreign", "prefix", "grilles", "vents", "overlap", "clutter"
]
NULLS: tuple[Null, ...] = (
    "neighbour", "other site", "foreign", "prefix", "grilles", "vents", "overlap", "clutter",
)  # fmt: skip
FRAMES = 8
_UP = PER_MODULE // GRAIN


@dataclass(frozen=True, eq=False)
class Label:
    """The truth about one label in a picture.

    ``grid`` is where the corners of the modules lie: (modules + 1, modules + 1, 2), row, column,
    (x, y) in pixels, pixel centres at whole numbers. ``lost`` is the share of each module that
    is lost. ``asked`` and the three shares of what was reached: see ``severity``.
    """

    tag: Tag
    printed: PrintedLabel
    model: str
    asked: float
    area_lost: float
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


@dataclass(frozen=True, eq=False)
class Scene:
    """A picture and what is true of it; ``labels[0]`` is the one asked about (none in nulls)."""

    picture: Grey
    labels: tuple[Label, ...]
    foreign: tuple[str, ...]
    model: str
    severity: float
    camera: Camera
    seed: int
    frame: int = 0

    @property
    def label(self) -> Label:
        return self.labels[0]

    @property
    def texts(self) -> frozenset[str]:
        """All that can truly be read in the picture."""
        return frozenset({one.printed.payload for one in self.labels} | set(self.foreign))


def damaged(
    seed: int,
    model: str,
    severity: float,
    *,
    posture: Posture = "station",
    form: Form | None = None,
    tags: tuple[Tag, ...] | None = None,
    camera: Camera | None = None,
) -> Scene:
    """One picture with one damaged label of the roster (and perhaps others beside it).

    ``severity`` is the share of the symbol's area to lose, 0 to 0.8. ``form`` of the payload is
    drawn unless given. ``tags`` is the roster.
    """
    return _shoot(seed, model, severity, posture, form, tags or roster(), camera, frames=1)[0]


def video(
    seed: int,
    model: str,
    severity: float,
    *,
    posture: Posture = "station",
    form: Form | None = None,
    tags: tuple[Tag, ...] | None = None,
) -> tuple[Scene, ...]:
    """Eight frames of the same damaged label while camera and hand move.

    Some pixels and a degree or two from frame to frame, as at 10 frames a second; shake, focus
    and noise are drawn anew for each.
    """
    return _shoot(seed, model, severity, posture, form, tags or roster(), None, frames=FRAMES)


def long_range(seed: int, module: float, *, tags: tuple[Tag, ...] | None = None) -> Scene:
    """A whole label, far away: link in 4-H, ``module`` pixels a module, nothing damaged.

    Section 13's circumstances: blur sigma 0.6 px, noise 4, contrast 0.7 of the grey range, tilt
    to 20°, any turn.
    """
    rng = _stream(seed, 1)
    camera = replace(drawn(rng, 34, "plain"), module=module)
    x, y = camera.middle
    camera = replace(camera, middle=(x + rng.uniform(-0.5, 0.5), y + rng.uniform(-0.5, 0.5)))
    return damaged(seed, "none", 0.0, posture="plain", form="link", tags=tags, camera=camera)


def null(seed: int, kind: Null | None = None, *, posture: Posture = "station") -> Scene:
    """A picture in which no registered tag can be seen; any tag given for it is wrong.

    neighbour: a serial between those of the roster; other site: the roster's own serials under
    another site's code; foreign: many foreign codes; prefix: our link and frame around what is
    no tag; grilles, vents, clutter: no code of ours at all; overlap: two labels that are not in
    the roster, one across the other. Labels are damaged by any model, up to 70 %.
    """
    kind = kind or NULLS[seed % len(NULLS)]
    rng = _stream(seed, 5)
    model = list(MODELS)[int(rng.integers(0, len(MODELS)))]
    severity = float(rng.uniform(0, 0.7)) * (rng.random() < 0.85)
    if kind in ("grilles", "vents", "clutter", "foreign"):
        return _bare(seed, kind, posture)
    others = neighbours()
    tag = others[int(rng.integers(0, len(others)))]
    text = None
    if kind == "other site":
        ours = roster()
        same = ours[int(rng.integers(0, len(ours)))]
        tag = _issued(same.kind, OTHER_SITE, same.serial)
    elif kind == "prefix":
        text = _no_tag(rng)
    scene = _shoot(
        seed, model, severity, posture, None, (tag,), None, 1, payload=text, overlap=kind == "overlap"
    )[0]
    return replace(scene, model=f"{kind}: {scene.model}")


def _issued(kind: Kind, site: str, serial: int) -> Tag:
    from tagkit.assets.tag import can_issue

    while not can_issue(kind, site, serial):
        serial += 1
    return tag_for(kind, site, serial)


def _no_tag(rng: np.random.Generator) -> str:
    """Something under our own link that is no tag: a page, a tag with a wrong check character."""
    serial = int(rng.integers(1, 2000))
    tag = str(_issued(Kind.BATTERY, "QM", serial))
    wrong = "0123456789"[(int(rng.integers(1, 10)) + "0123456789X".find(tag[-1])) % 10]
    choices = (f"PAGE-{serial:05d}", f"SHELF-{serial:04d}", f"{tag[:-1]}{wrong}", f"Z{tag[1:]}")
    picked = choices[int(rng.integers(0, len(choices)))]
    return f"HTTPS://LABELS.EXAMPLE/A/{picked if picked != tag else 'HELP'}"


# Putting it together


def _stream(seed: int, number: int) -> np.random.Generator:
    """Independent chances for label, camera, room, damage: each keeps its own when others change."""
    return np.random.default_rng([seed, number])


@dataclass(frozen=True, eq=False)
class _Aged:
    """A flat aged label: ``art`` and ``cover`` at ``scale`` pixels a module."""

    label: Print
    art: Grey
    cover: Grey
    to_modules: Homography
    bend: Bend | None
    model: str
    asked: float
    area_lost: float
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
            self.informative_lost, self.informative_misread, self.lost, grid,
        )  # fmt: skip


def _round(lengths: NDArray[np.float64], radius: float) -> NDArray[np.float64]:
    """Where lengths along a cylinder's skin appear from the front; the far side at its edge."""
    return radius * np.sin(np.clip(lengths / radius, -np.pi / 2, np.pi / 2))


def _shoot(
    seed: int,
    model: str,
    severity: float,
    posture: Posture,
    form: Form | None,
    tags: tuple[Tag, ...],
    camera: Camera | None,
    frames: int,
    payload: str | None = None,
    overlap: bool = False,
) -> tuple[Scene, ...]:
    rng = _stream(seed, 0)
    tag = tags[int(rng.integers(0, len(tags)))]
    if model == "cable" and len(tags) > 1:
        batteries = [one for one in tags if one.kind is Kind.BATTERY] or list(tags)
        tag = batteries[int(rng.integers(0, len(batteries)))]
    choices = TEMPLATES[tag.kind]
    template = choices[int(rng.integers(0, len(choices)))]
    drawn_form: Form = "link" if rng.random() < 0.5 else "bare"
    printed = print_label(tag, template, form or drawn_form, payload)
    tones = (38.0, 216.0) if posture == "plain" else None
    if tones:  # contrast 0.7 of the grey range
        tones = (128 - 127 * 0.7, 128 + 127 * 0.7)
    aged = _age(printed, model, severity, seed, tones)
    reach = (printed.modules + 12) * 0.7072
    view = camera or drawn(_stream(seed, 1), reach, posture)
    room_rng = _stream(seed, 2)
    margin = 1.3
    size = (int(view.size[0] * margin), int(view.size[1] * margin))
    things = int(room_rng.integers(4, 11))
    room, foreign = clutter.wall(room_rng, size, things)
    beside = _neighbours(seed, aged, room_rng, overlap) if posture != "plain" or overlap else []
    scenes = []
    for frame, shot in enumerate(_moves(view, _stream(seed, 3), frames)):
        matrix = homography(shot)
        to_room = np.array([
            [1 / view.module, 0, -size[0] / 2 / view.module - (view.middle[0] - view.size[0] / 2)
             / view.module],
            [0, 1 / view.module, -size[1] / 2 / view.module - (view.middle[1] - view.size[1] / 2)
             / view.module],
            [0, 0, 1],
        ])  # fmt: skip
        light = cv2.warpPerspective(
            room, matrix @ to_room, shot.size, flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REFLECT_101,
        ).astype(np.float32)  # fmt: skip
        over = 4 if shot.module < 2.6 else 2
        labels = [aged.truth(matrix)]
        order = [(aged, np.eye(3))]
        for other, move in beside:
            order.append((other, move))
            labels.append(other.truth(matrix @ move))
        for other, move in order if overlap else order[::-1]:
            lay_on(light, other.art, other.cover, other.to_modules, matrix @ move, over)
        picture = expose(light, shot, _stream(seed, 100 + frame))
        scenes.append(Scene(
            picture, tuple(labels), tuple(foreign), model, severity, shot, seed, frame
        ))  # fmt: skip
    return tuple(scenes)


def _neighbours(
    seed: int, aged: _Aged, rng: np.random.Generator, overlap: bool
) -> list[tuple[_Aged, Homography]]:
    """Other labels on the same case: in one picture of four (a worn one), or one lying across."""
    if not overlap and rng.random() > 0.25:
        return []
    pool = neighbours() if overlap else roster()
    tag = pool[int(rng.integers(0, len(pool)))]
    if tag == aged.label.printed.tag:
        return []
    template = TEMPLATES[tag.kind][0]
    form: Form = "link" if rng.random() < 0.5 else "bare"
    model = list(MODELS)[int(rng.integers(0, len(MODELS) - 1))]
    other = _age(print_label(tag, template, form), model, float(rng.uniform(0, 0.3)),
                 seed + 1_000_003)  # fmt: skip
    scale = rng.uniform(0.8, 1.2) * aged.label.modules / other.label.modules
    angle = np.radians(rng.normal(0, 25 if overlap else 5))
    if overlap:
        off = rng.uniform(-0.7, 0.7, 2) * aged.label.modules
    else:
        side = aged.label.modules + 12 + other.label.modules * scale
        off = np.array([rng.choice([-1, 1]) * side * rng.uniform(0.1, 0.5),
                        rng.choice([-1, 1]) * side * rng.uniform(0.75, 1.0)])  # fmt: skip
    turn = scale * np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return [(other, np.block([[turn, off[:, None]], [np.zeros((1, 2)), np.ones((1, 1))]]))]


def _bare(seed: int, kind: Null, posture: Posture) -> Scene:
    rng = _stream(seed, 2)
    view = drawn(_stream(seed, 1), 32, posture)
    count = int(rng.integers(6, 14))
    things = {
        "grilles": ["grille"] * count, "vents": ["vent", "grille", "mesh"] * (count // 2),
        "foreign": ["foreign"] * (count // 2) + ["plate"] * 3,
        "clutter": [clutter.THINGS[int(one)] for one in rng.integers(0, 12, count + 8)],
    }[kind]  # fmt: skip
    room, foreign = clutter.wall(rng, view.size, things)
    width, height = view.size
    centred = np.array([[1 / view.module, 0, -width / 2 / view.module],
                        [0, 1 / view.module, -height / 2 / view.module], [0, 0, 1]])  # fmt: skip
    light = cv2.warpPerspective(
        room, homography(replace(view, middle=(width / 2, height / 2))) @ centred, view.size,
        borderMode=cv2.BORDER_REFLECT_101,
    ).astype(np.float32)  # fmt: skip
    return Scene(expose(light, view, _stream(seed, 100)), (), tuple(foreign), kind, 0.0, view, seed)


def _moves(view: Camera, rng: np.random.Generator, frames: int) -> list[Camera]:
    """The camera's way: a drift and a tremor; the faster it moves, the longer the shake."""
    drift = rng.normal(0, 0.7, 2) * view.module
    lean, spin = rng.normal(0, 1.2), rng.normal(0, 0.6)
    shots = [view]
    for frame in range(1, frames):
        step = drift * frame + rng.normal(0, 0.4, 2) * view.module
        speed = float(np.hypot(*drift)) * rng.uniform(0, 0.5)
        x, y = view.middle
        shots.append(replace(
            view, middle=(x + float(step[0]), y + float(step[1])),
            tilt=float(np.clip(view.tilt + lean * frame, 0, 50)),
            toward=view.toward + float(rng.normal(0, 1)) + frame,
            turn=view.turn + spin * frame + float(rng.normal(0, 0.4)),
            module=view.module * float(1 + 0.008 * frame * np.sign(lean)),
            blur=view.blur * float(rng.uniform(0.85, 1.3)),
            motion=max(view.motion * float(rng.uniform(0.3, 1.2)), speed),
            motion_along=float(np.degrees(np.arctan2(drift[1], drift[0]))),
        ))  # fmt: skip
    return shots


def _age(
    label: Print, model: str, severity: float, seed: int, tones: tuple[float, float] | None = None
) -> _Aged:
    """The label with ``severity`` of its symbol's area lost by ``model``."""
    rng = _stream(seed, 4)
    ink, film = float(rng.uniform(22, 58)), float(rng.uniform(192, 238))
    beneath = float(rng.uniform(45, 130))
    if tones:
        ink, film = tones
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
            flat += rng.standard_normal(flat.shape, np.float32) * np.float32(2.5)
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
    art = np.clip(flat, 0, 255).astype(np.uint8)
    cover = np.full(art.shape, 255, np.uint8)
    middle = (x + length / 2 - 0.5, y + length / 2 - 0.5)
    if bend:
        art, cover, middle = _wrapped(art, bend, middle, float(rng.uniform(18, 50)))
    to_modules = np.array([
        [1 / PER_MODULE, 0, -middle[0] / PER_MODULE], [0, 1 / PER_MODULE, -middle[1] / PER_MODULE],
        [0, 0, 1],
    ])  # fmt: skip
    return _Aged(
        label, art, cover, to_modules, bend, model, severity, float(lost.mean()),
        float((lost[counts] >= 0.5).mean()), float(misread[counts].mean()), lost,
    )  # fmt: skip


def _worn(flat: Field, wear: Wear) -> Field:
    worn = flat * _enlarged(wear.kept, flat)
    if wear.smear is not None:
        blurred = cv2.GaussianBlur(flat, (0, 0), 1.6 * PER_MODULE)
        worn += blurred * _enlarged(wear.smear, flat)
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
        bent, cover, moved = np.ascontiguousarray(bent.T), np.ascontiguousarray(cover.T), moved[::-1]
    return np.ascontiguousarray(bent), np.ascontiguousarray(cover), moved
