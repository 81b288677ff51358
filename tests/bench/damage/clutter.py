"""What hangs and stands around a label: painted steel, concrete, cables, grilles, other codes.

Drawn on the plane of the label at about one pixel a picture pixel, so that the camera's tilt
applies to it too. Ground textures come from a small kept pool (turned, cut and toned anew for
each scene); the things on them are drawn anew every time.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import cv2
import numpy as np
import qrcode
from numpy.typing import NDArray

from .fields import smooth

Grey = NDArray[np.uint8]
_POOL = (1500, 1900)
FOREIGN = (
    "BATTERY PASSPORT 0000-7781-EXAMPLE",
    "HTTPS://PARTS.EXAMPLE/P/320A-GREY-02",
    "(01)00000000000017(21)EXAMPLE-4471",
    "https://manuals.example/cells/24-125-17",
    "WIFI:S:yard;T:WPA;P:not-a-real-one;;",
    "BOX 17 OF 40, KEEP UPRIGHT, EXAMPLE FREIGHT",
)
"""Foreign codes that may stand in a picture; reading them is right but is not our tag."""

THINGS = (
    "grille", "vent", "cable", "plate", "bolts", "seam", "scuffs", "foreign", "caps", "stripes",
    "mesh", "lettering",
)  # fmt: skip


def wall(
    rng: np.random.Generator, size: tuple[int, int], things: Sequence[str] | int = 7
) -> tuple[Grey, list[str]]:
    """A piece of the room of this size (width, height), and the foreign codes drawn on it.

    ``things`` names what to draw, or says how many.
    """
    picture = _cut(rng, size)
    if isinstance(things, int):
        things = [THINGS[int(pick)] for pick in rng.integers(0, len(THINGS), things)]
    codes: list[str] = []
    for thing in things:
        _DRAW[thing](picture, rng, codes)
    return picture, codes


def _cut(rng: np.random.Generator, size: tuple[int, int]) -> Grey:
    width, height = size
    ground = _ground(int(rng.integers(0, _GROUNDS)))
    top = int(rng.integers(0, max(1, ground.shape[0] - height)))
    left = int(rng.integers(0, max(1, ground.shape[1] - width)))
    piece = ground[top : top + height, left : left + width]
    if piece.shape != (height, width):
        piece = cv2.resize(piece, size)
    if rng.random() < 0.5:
        piece = piece[:, ::-1]
    if rng.random() < 0.5:
        piece = piece[::-1]
    gain, lift = rng.uniform(0.75, 1.25), rng.uniform(-18, 18)
    return cv2.convertScaleAbs(np.ascontiguousarray(piece), alpha=gain, beta=lift)


_GROUNDS = 6


@lru_cache(maxsize=_GROUNDS)
def _ground(index: int) -> Grey:
    """Painted steel (dark, pale, worn), concrete, sheet metal, a dim floor."""
    rng = np.random.default_rng([7, index])
    tone = (74, 128, 96, 150, 176, 58)[index]
    field = np.full(_POOL, tone, np.float32)
    field += 7 * smooth(rng, _POOL, 260, 2) + 3 * smooth(rng, _POOL, 12, 2)
    field += 2.0 * smooth(rng, _POOL, 1.5)
    if index == 3:  # concrete: coarse grain, pits
        field += 7 * smooth(rng, _POOL, 4, 3)
        field[smooth(rng, _POOL, 5) > 2.6] -= 45
    layer = np.zeros(_POOL, np.float32)
    for _ in range((120, 90, 420, 20, 160, 40)[index]):
        at = rng.uniform(0, 1, 2) * _POOL[::-1]
        to = at + rng.gamma(2, 40) * np.array([np.cos(t := rng.normal(0, 0.5)), np.sin(t)])
        cv2.line(layer, (round(at[0]), round(at[1])), (round(to[0]), round(to[1])),
                 float(rng.uniform(-1, 1)), 1, cv2.LINE_AA)  # fmt: skip
    field += 34 * layer
    stain = smooth(rng, _POOL, 120, 4)
    field -= 26 * np.clip(stain - 0.9, 0, 1)
    runs = smooth(rng, _POOL, (220, 16), 2)  # dried acid running down
    field += 30 * np.clip(runs - 1.6, 0, 1)
    return np.clip(field, 0, 255).astype(np.uint8)


def _box(picture: Grey, rng: np.random.Generator, least: float, most: float) -> list[int]:
    height, width = picture.shape
    w, h = (int(rng.uniform(least, most) * width) for _ in range(2))
    return [int(rng.integers(-w // 3, width)), int(rng.integers(-h // 3, height)), w, h]


def _patch(picture: Grey, x: int, y: int, w: int, h: int) -> Grey:
    return picture[max(0, y) : max(0, y + h), max(0, x) : max(0, x + w)]


def _grille(picture: Grey, rng: np.random.Generator, codes: list[str]) -> None:
    """A grille of bars, or a stamped grid of square holes."""
    x, y, w, h = _box(picture, rng, 0.12, 0.4)
    pitch, dark = int(rng.integers(5, 22)), int(rng.integers(8, 45))
    cv2.rectangle(picture, (x, y), (x + w, y + h), int(rng.integers(70, 190)), -1)
    holes = rng.random() < 0.4
    bar = max(2, int(pitch * rng.uniform(0.35, 0.6)))
    for at in range(y + pitch, y + h - pitch, pitch):
        if holes:
            for to in range(x + pitch, x + w - pitch, pitch):
                cv2.rectangle(picture, (to, at), (to + bar, at + bar), dark, -1)
        else:
            cv2.rectangle(picture, (x + pitch, at), (x + w - pitch, at + bar), dark, -1)
    cv2.rectangle(picture, (x, y), (x + w, y + h), int(rng.integers(40, 220)), 2)


def _vent(picture: Grey, rng: np.random.Generator, codes: list[str]) -> None:
    """Louvres: light upper lips, dark below, shaded."""
    x, y, w, h = _box(picture, rng, 0.12, 0.35)
    pitch = int(rng.integers(10, 30))
    patch = _patch(picture, x, y, w, h)
    rows = np.arange(patch.shape[0]) % pitch / pitch
    shade = np.interp(rows, [0, 0.12, 0.2, 0.75, 1], [1.5, 1.2, 0.3, 0.75, 1.0])
    patch[:] = np.clip(patch * shade[:, None], 0, 255).astype(np.uint8)


def _cable(picture: Grey, rng: np.random.Generator, codes: list[str]) -> None:
    height, width = picture.shape
    knots = rng.uniform(-0.1, 1.1, (5, 2)) * (width, height)
    steps = np.linspace(0, 4, 60)
    path = np.stack([np.interp(steps, range(5), knots[:, axis]) for axis in (0, 1)], axis=1)
    for _ in range(25):
        path[1:-1] = (path[:-2] + 2 * path[1:-1] + path[2:]) / 4
    points = [np.round(path).astype(np.int32)]
    thick, tone = int(rng.integers(8, 30)), float(rng.uniform(16, 70))
    for share, light in ((1.15, 0.5), (1.0, 1.0), (0.6, 1.4), (0.2, 2.1)):
        cv2.polylines(picture, points, False, min(255, tone * light),
                      max(1, round(thick * share)), cv2.LINE_AA)  # fmt: skip


def _plate(picture: Grey, rng: np.random.Generator, codes: list[str]) -> None:
    """A maker's plate or another label: a frame, lines of print, a bar code of lines."""
    x, y, w, h = _box(picture, rng, 0.12, 0.3)
    paper, ink = int(rng.integers(150, 240)), int(rng.integers(20, 80))
    cv2.rectangle(picture, (x, y), (x + w, y + h), paper, -1)
    cv2.rectangle(picture, (x + 3, y + 3), (x + w - 3, y + h - 3), ink, int(rng.integers(1, 5)))
    line = int(rng.integers(10, 22))
    for at in range(y + line, y + h * 2 // 3, line):
        word = "".join(chr(c) for c in rng.integers(48, 91, int(rng.integers(4, 14))))
        cv2.putText(picture, word, (x + 10, at), cv2.FONT_HERSHEY_SIMPLEX, line / 34, ink, 1,
                    cv2.LINE_AA)  # fmt: skip
    if rng.random() < 0.6:
        at = x + 10
        while at < x + w - 14:
            bar = int(rng.integers(1, 5))
            cv2.rectangle(picture, (at, y + h * 3 // 4), (at + bar, y + h - 10), ink, -1)
            at += bar + int(rng.integers(2, 6))


def _bolts(picture: Grey, rng: np.random.Generator, codes: list[str]) -> None:
    height, width = picture.shape
    y, step, radius = rng.integers(0, height), rng.integers(50, 160), int(rng.integers(5, 15))
    for x in range(int(rng.integers(0, step)), width, step):
        cv2.circle(picture, (x + 2, y + 3), radius + 2, 30, -1, cv2.LINE_AA)
        cv2.circle(picture, (x, y), radius, 120, -1, cv2.LINE_AA)
        cv2.circle(picture, (x - 1, y - 1), radius * 2 // 3, 165, -1, cv2.LINE_AA)
        cv2.circle(picture, (x, y), radius // 3, 40, -1, cv2.LINE_AA)


def _seam(picture: Grey, rng: np.random.Generator, codes: list[str]) -> None:
    height, width = picture.shape
    if rng.random() < 0.5:
        at = int(rng.integers(0, height))
        cv2.line(picture, (0, at), (width, at), 25, int(rng.integers(2, 8)))
        cv2.line(picture, (0, at + 4), (width, at + 4), 200, 1)
    else:
        at = int(rng.integers(0, width))
        cv2.rectangle(picture, (at, 0), (width, height), int(rng.integers(20, 190)), -1)
        cv2.line(picture, (at, 0), (at, height), 20, 4)


def _scuffs(picture: Grey, rng: np.random.Generator, codes: list[str]) -> None:
    x, y, w, h = _box(picture, rng, 0.2, 0.6)
    for _ in range(int(rng.integers(6, 40))):
        a = (x + int(rng.integers(0, w)), y + int(rng.integers(0, h)))
        b = (a[0] + int(rng.integers(10, 120)), a[1] + int(rng.normal(0, 12)))
        cv2.line(picture, a, b, int(rng.integers(30, 230)), 1, cv2.LINE_AA)


def _foreign(picture: Grey, rng: np.random.Generator, codes: list[str]) -> None:
    text = FOREIGN[int(rng.integers(0, len(FOREIGN)))]
    code = foreign_code(text)
    module = int(rng.integers(2, 6))
    light, dark = rng.uniform(150, 240), rng.uniform(20, 70)
    art = np.kron(code, np.ones((module, module), np.uint8)) * (light - dark) + dark
    turn = cv2.getRotationMatrix2D((art.shape[1] / 2, art.shape[0] / 2), rng.normal(0, 12), 1)
    x = int(rng.integers(0, max(1, picture.shape[1] - art.shape[1])))
    y = int(rng.integers(0, max(1, picture.shape[0] - art.shape[0])))
    patch = picture[y : y + art.shape[0], x : x + art.shape[1]]
    if patch.shape != art.shape:
        return
    mask = cv2.warpAffine(np.ones_like(art), turn, art.shape[::-1])
    on = cv2.warpAffine(art, turn, art.shape[::-1], flags=cv2.INTER_LINEAR)
    patch[:] = np.where(mask > 0.5, on, patch).astype(np.uint8)
    codes.append(text)


def _caps(picture: Grey, rng: np.random.Generator, codes: list[str]) -> None:
    """Cell caps and the links between cells, from above."""
    height, width = picture.shape
    y, step = int(rng.integers(0, height)), int(rng.integers(60, 130))
    radius = step // 4
    for x in range(int(rng.integers(0, step)), width, step):
        cv2.rectangle(picture, (x + radius, y - 8), (x + step - radius, y + 8), 90, -1)
        cv2.circle(picture, (x, y), radius + 3, 22, -1, cv2.LINE_AA)
        cv2.circle(picture, (x, y), radius, 190, -1, cv2.LINE_AA)
        cv2.circle(picture, (x, y), radius // 2, 120, 2, cv2.LINE_AA)


def _stripes(picture: Grey, rng: np.random.Generator, codes: list[str]) -> None:
    height, width = picture.shape
    y, tall, step = int(rng.integers(0, height)), int(rng.integers(20, 60)), 70
    cv2.rectangle(picture, (0, y), (width, y + tall), 190, -1)
    for x in range(-tall, width, step):
        corners = [(x, y + tall), (x + step // 2, y + tall), (x + step // 2 + tall, y),
                   (x + tall, y)]  # fmt: skip
        cv2.fillConvexPoly(picture, np.array(corners, np.int32), 30, cv2.LINE_AA)


def _mesh(picture: Grey, rng: np.random.Generator, codes: list[str]) -> None:
    """Chequer plate, woven mesh, random squares: what looks most like modules."""
    x, y, w, h = _box(picture, rng, 0.1, 0.3)
    cell = int(rng.integers(3, 14))
    rows, columns = max(1, h // cell), max(1, w // cell)
    if rng.random() < 0.5:
        board = np.indices((rows, columns)).sum(axis=0) % 2
    else:
        board = rng.integers(0, 2, (rows, columns))
    low, high = rng.uniform(15, 90), rng.uniform(120, 230)
    art = np.kron(board, np.ones((cell, cell))) * (high - low) + low
    patch = _patch(picture, x, y, art.shape[1], art.shape[0])
    patch[:] = art[: patch.shape[0], : patch.shape[1]]


def _lettering(picture: Grey, rng: np.random.Generator, codes: list[str]) -> None:
    height, width = picture.shape
    word = ("48V", "B-17", "ACID", "775 Ah", "DO NOT LIFT", "CHARGE", "R-07")[rng.integers(0, 7)]
    at = (int(rng.integers(-40, width)), int(rng.integers(0, height)))
    cv2.putText(picture, word, at, cv2.FONT_HERSHEY_DUPLEX, float(rng.uniform(1, 4)),
                int(rng.choice([25, 215])), int(rng.integers(2, 9)), cv2.LINE_AA)  # fmt: skip


_DRAW = {
    "grille": _grille, "vent": _vent, "cable": _cable, "plate": _plate, "bolts": _bolts,
    "seam": _seam, "scuffs": _scuffs, "foreign": _foreign, "caps": _caps, "stripes": _stripes,
    "mesh": _mesh, "lettering": _lettering,
}  # fmt: skip


@lru_cache(maxsize=16)
def foreign_code(text: str) -> Grey:
    """A foreign symbol with its quiet zone: 1 light, 0 dark, one entry a module."""
    code = qrcode.QRCode(error_correction=qrcode.constants.ERROR_CORRECT_M, border=4)
    code.add_data(text)
    code.make()
    return (~np.array(code.get_matrix(), bool)).astype(np.uint8)
