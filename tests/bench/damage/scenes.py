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
from tagkit.assets.tag import Kind, Tag, can_issue, tag_for

from . import clutter
from .ageing import MODELS
from .camera import Camera, Grey, Homography, Posture, drawn, expose, homography, lay_on
from .flat import Aged, Label, age, stream
from .labels import OTHER_SITE, TEMPLATES, Form, neighbours, print_label, roster

Null = Literal[
    "neighbour", "other site", "foreign", "prefix", "grilles", "vents", "overlap", "clutter"
]
NULLS: tuple[Null, ...] = (
    "neighbour", "other site", "foreign", "prefix", "grilles", "vents", "overlap", "clutter",
)  # fmt: skip
FRAMES = 8


@dataclass(frozen=True, eq=False)
class Scene:
    """A picture and what is true of it; ``labels[0]`` is the one asked about.

    The labels of null scenes are none of the roster's, if there are any. ``severity`` is what was
    asked for.
    """

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
    rng = stream(seed, 1)
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
    rng = stream(seed, 5)
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
        seed,
        model,
        severity,
        posture,
        None,
        (tag,),
        None,
        1,
        payload=text,
        overlap=kind == "overlap",
    )[0]
    return replace(scene, model=f"{kind}: {scene.model}")


def _issued(kind: Kind, site: str, serial: int) -> Tag:
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
    rng = stream(seed, 0)
    tag = tags[int(rng.integers(0, len(tags)))]
    if model == "cable" and len(tags) > 1:
        batteries = [one for one in tags if one.kind is Kind.BATTERY] or list(tags)
        tag = batteries[int(rng.integers(0, len(batteries)))]
    choices = TEMPLATES[tag.kind]
    template = choices[int(rng.integers(0, len(choices)))]
    drawn_form: Form = "link" if rng.random() < 0.5 else "bare"
    printed = print_label(tag, template, form or drawn_form, payload)
    # Section 13: contrast 0.7 of the grey range.
    tones = (128 - 127 * 0.7, 128 + 127 * 0.7) if posture == "plain" else None
    reach = (printed.modules + 12) * 0.7072
    view = camera or drawn(stream(seed, 1), reach, posture)
    room_rng = stream(seed, 2)
    dimmed = 1.0
    if model == "glare":
        # The mirrored lamp is what clips; the camera closes down for it, so the rest is darker.
        dimmed = float(stream(seed, 7).uniform(0.45, 0.85))
        view = replace(view, exposure=1.15, shade=min(view.shade, 0.12))
    aged = age(printed, model, severity, seed, tones, dimmed)
    margin = 1.3
    size = (int(view.size[0] * margin), int(view.size[1] * margin))
    things = int(room_rng.integers(4, 11))
    room, foreign = clutter.wall(room_rng, size, things)
    if dimmed < 1:
        room = cv2.convertScaleAbs(room, alpha=dimmed)
    beside: list[tuple[Aged, Homography]] = []
    if overlap or (posture != "plain" and room_rng.random() < 0.25):
        beside = _beside(seed, aged, room_rng, tags if len(tags) > 1 else neighbours(), overlap)
    scenes = []
    for frame, shot in enumerate(_moves(view, stream(seed, 3), frames)):
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
        picture = expose(light, shot, stream(seed, 100 + frame))
        scenes.append(Scene(
            picture, tuple(labels), tuple(foreign), model, severity, shot, seed, frame
        ))  # fmt: skip
    return tuple(scenes)


def _beside(
    seed: int, aged: Aged, rng: np.random.Generator, pool: tuple[Tag, ...], overlap: bool
) -> list[tuple[Aged, Homography]]:
    """Another, somewhat worn label on the same case, or one that lies across."""
    tag = pool[int(rng.integers(0, len(pool)))]
    if tag == aged.label.printed.tag:
        return []
    template = TEMPLATES[tag.kind][0]
    form: Form = "link" if rng.random() < 0.5 else "bare"
    model = list(MODELS)[int(rng.integers(0, len(MODELS) - 1))]
    other = age(print_label(tag, template, form), model, float(rng.uniform(0, 0.3)),
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
    rng = stream(seed, 2)
    view = drawn(stream(seed, 1), 32, posture)
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
    return Scene(expose(light, view, stream(seed, 100)), (), tuple(foreign), kind, 0.0, view, seed)


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
