"""Places in Quillmoor's battery room where labels are stuck, drawn to scale.

Each function gives a surface with the labels on it and nothing else that is readable as a code,
unless a foreign one is asked for.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from tagkit.demo.surfaces import PIXELS_PER_MM, Colour, Face, Surface

CASE_GREY: Colour = (96, 92, 84)
CASE_BLUE: Colour = (118, 88, 52)
TRUCK_GREEN: Colour = (92, 116, 44)
CONCRETE: Colour = (138, 144, 148)
STEEL: Colour = (150, 150, 148)
DARK: Colour = (38, 36, 34)
RUBBER: Colour = (30, 30, 32)
CAP: Colour = (70, 150, 205)
WORN_WHITE: Colour = (188, 194, 196)


def battery_case(
    face: Face,
    *,
    foreign: Face | None = None,
    colour: Colour = CASE_GREY,
    plug: Colour = (128, 128, 126),
    turned: float = 1.2,
    seed: int = 1,
) -> Surface:
    """The long side of one battery on the roller stand; a foreign code sits beside the label."""
    room = Surface(1100, 860, DARK, seed)
    _wall_and_stand(room, 690)
    _case(room, 110, 150, 880, 540, colour, plug)
    room.stick(face, 550 - face.width / 2, 300, turned)
    if foreign is not None:
        room.stick(foreign, 590 + face.width / 2, 330, -2.0)
    return room


def two_batteries(left: Face, right: Face, *, seed: int = 2) -> Surface:
    """Two batteries side by side that look the same."""
    room = Surface(1500, 900, DARK, seed)
    _wall_and_stand(room, 720)
    for x, face, turned in ((60, left, -1.0), (770, right, 0.8)):
        _case(room, x, 170, 660, 550, CASE_BLUE, (124, 126, 126))
        room.stick(face, x + 330 - face.width / 2, 340, turned)
    return room


def truck_side(face: Face, *, fleet_number: str = "", seed: int = 3) -> Surface:
    """A truck's flank beside the battery compartment, with its plate."""
    truck = Surface(1200, 900, TRUCK_GREEN, seed)
    truck.grain(3.5, 1.6)
    truck.shadow(0, 0, 1200, 60, 14, 0.6)
    truck.rectangle(0, 0, 1200, 56, DARK)
    truck.shadow(745, 120, 410, 560, 5, 0.55)
    truck.rectangle(750, 125, 400, 550, tuple(part * 0.94 for part in TRUCK_GREEN))  # type: ignore[arg-type]
    for row in range(7):
        truck.shadow(800, 470 + 24 * row, 300, 9, 2, 0.5)
        truck.rectangle(800, 470 + 24 * row, 300, 9, DARK)
    for x, y in ((775, 150), (1125, 150), (775, 650), (1125, 650)):
        _bolt(truck, x, y)
    truck.line(700, 60, 700, 760, (40, 52, 20), 2.0)
    _makers_plate(truck, 120, 480, 210, 130)
    truck.rectangle(0, 760, 1200, 140, RUBBER)
    for step in range(-2, 26):
        corners = [(step * 60, 760), (step * 60 + 30, 760), (step * 60 + 2, 800)]
        corners.append((step * 60 - 28, 800))
        _quadrilateral(truck, corners, (40, 178, 214))
    truck.scratches(70, 46)
    truck.stains(14, 46, 0.25)
    if fleet_number:
        truck.words(fleet_number, 815, 330, 90, WORN_WHITE, 5.0)
    truck.stick(face, 360 - face.width / 2, 190, -0.7)
    return truck


def charger_bays(faces: Sequence[Face], bays: Sequence[str], *, seed: int = 4) -> Surface:
    """Chargers side by side in their row, each with its bay number and its plate."""
    wide = 520
    row = Surface(60 + wide * len(faces), 900, (172, 178, 180), seed)
    row.grain(5, 2.5)
    row.rectangle(0, 800, row.width, 100, (112, 116, 118))
    for index, (face, bay) in enumerate(zip(faces, bays, strict=True)):
        x = 40 + wide * index
        row.shadow(x, 70, 440, 660, 12, 0.55)
        row.rectangle(x, 70, 440, 660, (196, 198, 194))
        row.rectangle(x, 70, 440, 90, (92, 74, 48))
        row.words(bay, x + 20, 145, 55, WORN_WHITE, 4.0)
        row.rectangle(x + 250, 92, 160, 46, (34, 46, 30))
        row.words("CHARGE", x + 262, 124, 17, (90, 210, 120), 1.2)
        for lamp, shade in enumerate(((60, 60, 62), (60, 200, 90), (60, 60, 62))):
            row.disc(x + 60 + 46 * lamp, 200, 11, DARK)
            row.disc(x + 60 + 46 * lamp, 200, 8, shade)
        for slot in range(6):
            row.rectangle(x + 70, 590 + 18 * slot, 300, 6, (120, 122, 120))
        row.stick(face, x + 220 - face.width / 2, 270, 0.6 - index)
        row.curve([(x + 60, 730), (x + 30, 820), (x + 200, 880), (x + 330, 850)], RUBBER, 22)
    row.scratches(40, 28)
    row.stains(10, 40, 0.18)
    return row


def floor(faces: Sequence[Face], *, seed: int = 5) -> Surface:
    """Labels laid out on the concrete in unloading order, before they are stuck."""
    widest = max(face.width for face in faces)
    tallest = max(face.height for face in faces)
    columns = min(3, len(faces))
    rows = -(-len(faces) // columns)
    ground = Surface(columns * (widest + 90) + 120, rows * (tallest + 90) + 260, CONCRETE, seed)
    ground.grain(9, 5)
    ground.stains(16, 60, 0.3)
    ground.rectangle(0, ground.height - 190, ground.width, 34, (52, 176, 206))
    ground.scratches(50, -40)
    ground.stains(30, 9, 0.25)
    for index, face in enumerate(faces):
        x = 60 + (index % columns) * (widest + 90) + float(ground.random.uniform(0, 40))
        y = 50 + (index // columns) * (tallest + 90) + float(ground.random.uniform(0, 40))
        ground.stick(face, x, y, float(ground.random.uniform(-9, 9)))
    return ground


def eaten_by_acid(face: Face, *, share: float, seed: int = 6) -> Face:
    """The label after acid: bleached and brown blotches over about ``share`` of its area."""
    random = np.random.default_rng(seed)
    height, width = face.pixels.shape[:2]
    coarse = cv2.resize(
        random.normal(0, 1, (height // 26 + 3, width // 26 + 3)).astype(np.float32),
        (width, height), interpolation=cv2.INTER_CUBIC,
    )  # fmt: skip
    runs = cv2.GaussianBlur(coarse, (0, 0), sigmaX=width / 80, sigmaY=height / 18)
    edge = np.quantile(runs, 1 - share)
    over = np.clip((runs - edge) / (runs.std() * 0.18) + 0.5, 0, 1)[..., None]
    rim = np.exp(-(((runs - edge) / (runs.std() * 0.2)) ** 2))[..., None]
    bleached = np.array((206, 214, 216), np.float32) + 10 * coarse[..., None]
    pixels = face.pixels.astype(np.float32) * (1 - over) + bleached * over
    pixels = pixels * (1 - 0.4 * rim) + np.array((62, 96, 128), np.float32) * 0.4 * rim
    return Face(np.clip(pixels, 0, 255).astype(np.uint8), face.width, face.height)


def _wall_and_stand(room: Surface, y: float) -> None:
    """The dim wall behind, the rollers and their frame in front."""
    room.rectangle(0, 0, room.width, y, (60, 62, 64))
    for x in range(0, int(room.width) + 1, 150):
        room.line(x, 0, x, y, (50, 52, 54), 2.5)
    room.grain(4, 2)
    below = room.height - y
    room.rectangle(0, y, room.width, below, (44, 44, 46))
    for x in range(30, int(room.width), 96):
        for share in np.linspace(1, 0.15, 9):
            light = 90 + 110 * (1 - share)
            room.rectangle(
                x + 37 * (1 - share), y + 6, 74 * share, 44, (light, light, light * 0.98)
            )
    room.rectangle(0, y + 50, room.width, 70, (26, 92, 168))
    room.line(0, y + 52, room.width, y + 52, (50, 130, 205), 3)


def _case(
    room: Surface, x: float, y: float, w: float, h: float, colour: Colour, plug: Colour
) -> None:
    """A steel tray with its cells' caps showing over the rim, lifting eyes, cable and plug."""
    room.shadow(x - 8, y + 20, w + 26, h, 22, 0.7)
    room.rectangle(x + 14, y - 22, w - 28, 30, (48, 46, 44))
    count = max(6, round(w / 95))
    for cell in range(count):
        middle = x + 14 + (w - 28) * (cell + 0.5) / count
        room.rectangle(middle - 30, y - 34, 60, 24, (66, 64, 62))
        room.rectangle(middle - 13, y - 52, 26, 24, CAP)
        room.rectangle(middle - 13, y - 52, 8, 24, tuple(part * 1.15 for part in CAP))  # type: ignore[arg-type]
        if cell:
            room.line(middle - 62, y - 40, middle - 32, y - 40, (52, 52, 62), 9)
    top = tuple(min(255.0, part * 1.35) for part in colour)
    room.rectangle(x, y, w, h, colour)
    left, up, wide, tall = (round(part * PIXELS_PER_MM) for part in (x, y, w, h))
    panel = room.pixels[up : up + tall, left : left + wide]
    panel *= np.linspace(1.12, 0.82, panel.shape[0], dtype=np.float32)[:, None, None]
    room.rectangle(x, y, w, 9, top)  # type: ignore[arg-type]
    room.line(x, y + 62, x + w, y + 62, tuple(part * 0.8 for part in colour), 2.2)  # type: ignore[arg-type]
    room.line(x, y + 65, x + w, y + 65, tuple(part * 1.12 for part in colour), 1.2)  # type: ignore[arg-type]
    for eye in (x + 70, x + w - 70):
        room.disc(eye, y + 34, 21, tuple(part * 1.2 for part in colour))  # type: ignore[arg-type]
        room.disc(eye, y + 34, 16, (22, 22, 24))
    room.drips(x + 20, y + 9, w - 40, 18, 46)
    room.scratches(int(w * h / 6500), 52, (x, y + 9, w, h - 9))
    room.stains(10, 34, 0.2)
    for scuff in range(5):
        room.rectangle(x + 40 + scuff * w / 5.5, y + h - 26, 50 + 9 * scuff, 5, (70, 92, 128))
    room.words("+", x + w - 50, y + 130, 34, (60, 60, 190), 3.0)
    _makers_plate(room, x + 60, y + h - 165, 170, 100)
    room.curve(
        [(x + w - 130, y - 20), (x + w - 60, y - 60), (x + w + 10, y + 40), (x + w - 20, y + 200),
         (x + w - 60, y + 260)], RUBBER, 20,
    )  # fmt: skip
    room.shadow(x + w - 120, y + 250, 110, 66, 7, 0.5)
    room.rectangle(x + w - 120, y + 250, 110, 66, plug)
    room.rectangle(x + w - 120, y + 250, 110, 9, tuple(part * 1.2 for part in plug))  # type: ignore[arg-type]
    for pole in (0, 1):
        room.rectangle(x + w - 106 + 50 * pole, y + 272, 32, 34, (26, 26, 28))
        room.rectangle(x + w - 99 + 50 * pole, y + 280, 18, 18, (84, 130, 160))


def _makers_plate(on: Surface, x: float, y: float, w: float, h: float) -> None:
    """A worn plate: rows of stamped marks nobody can read from here."""
    on.shadow(x, y, w, h, 3, 0.45)
    on.rectangle(x, y, w, h, STEEL)
    for row in range(5):
        at = x + 12
        line = y + 16 + row * (h - 26) / 4.4
        while at < x + w - 26:
            wide = float(on.random.uniform(3, 14))
            on.rectangle(at, line, wide, 4.5, (96, 96, 95))
            at += wide + 3
    for corner in ((x + 5, y + 5), (x + w - 5, y + 5), (x + 5, y + h - 5), (x + w - 5, y + h - 5)):
        on.disc(*corner, 2.4, (90, 90, 90))


def _bolt(on: Surface, x: float, y: float) -> None:
    on.shadow(x - 8, y - 8, 18, 18, 3, 0.5)
    on.disc(x, y, 10, (120, 120, 118))
    on.disc(x - 1, y - 1, 7, (152, 152, 150))
    on.line(x - 5, y, x + 5, y, (70, 70, 70), 1.6)


def _quadrilateral(on: Surface, corners: Sequence[tuple[float, float]], colour: Colour) -> None:
    points = np.round(np.array(corners) * PIXELS_PER_MM).astype(np.int32)
    cv2.fillConvexPoly(on.pixels, points, colour, cv2.LINE_AA)
