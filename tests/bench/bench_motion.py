"""How much motion blur decoders stand, by pixels per module: what the planner's limit rests on.

Run by hand: python tests/bench/bench_motion.py [TRIALS]

Held fixed: version 2, level H, bare tags, tilt up to 20° about both axes, any turn in the plane,
blur sigma 0.6 px, noise 4 of 255, contrast 0.7. Motion goes in a random direction; its length is
given in modules, since it moves the same share of a module at any distance (v t / m).
"""

from __future__ import annotations

import sys

import cv2
import numpy as np
import zxingcpp
from numpy.typing import NDArray
from tagkit.assets.tag import Kind, Tag
from tagkit.symbol.encode import encode

PIXELS = (1.5, 2.0, 2.5, 3.0, 4.0)
MOTION = (0.0, 0.25, 0.5, 0.75, 1.0, 1.5)
_FINE = 12  # pixels a module before the camera


def seen(text: str, pixels: float, motion: float, rng: np.random.Generator) -> NDArray[np.uint8]:
    """A symbol as a camera sees it."""
    matrix = np.pad(np.array(encode(text).matrix), 6)
    fine = np.kron(
        np.where(matrix, 40, 218).astype(np.float32), np.ones((_FINE, _FINE), np.float32)
    )
    side, half = fine.shape[0], matrix.shape[0] / 2
    across, down = np.radians(rng.uniform(-20, 20, 2))
    turn = rng.uniform(0, 2 * np.pi)
    corners = np.array([[-half, -half, 0], [half, -half, 0], [half, half, 0], [-half, half, 0]])
    rotate_x = [[1, 0, 0], [0, np.cos(down), -np.sin(down)], [0, np.sin(down), np.cos(down)]]
    rotate_y = [
        [np.cos(across), 0, np.sin(across)],
        [0, 1, 0],
        [-np.sin(across), 0, np.cos(across)],
    ]
    rotate_z = [[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]]
    moved = corners @ np.array(rotate_z).T @ np.array(rotate_x).T @ np.array(rotate_y).T
    away = 10 * half
    oversampled = 3
    focal = pixels * oversampled * away
    size = int(4 * half * pixels * oversampled)
    there = moved[:, :2] * focal / (away + moved[:, 2:]) + size / 2
    here = np.array([[0, 0], [side, 0], [side, side], [0, side]], np.float32) - 0.5
    warp = cv2.getPerspectiveTransform(here, there.astype(np.float32))
    picture = cv2.warpPerspective(fine, warp, (size, size), flags=cv2.INTER_AREA, borderValue=218.0)
    length = motion * pixels * oversampled
    if length >= 1:
        direction = rng.uniform(0, np.pi)
        reach = int(np.ceil(length / 2)) + 1
        grid = np.arange(-reach, reach + 1)
        x, y = np.meshgrid(grid, grid)
        along = np.abs(x * np.cos(direction) + y * np.sin(direction)) <= length / 2
        beside = np.abs(-x * np.sin(direction) + y * np.cos(direction))
        kernel = np.where(along, np.clip(1 - beside, 0, 1), 0).astype(np.float32)
        picture = cv2.filter2D(picture, -1, kernel / kernel.sum(), borderType=cv2.BORDER_REPLICATE)
    picture = cv2.GaussianBlur(picture, (0, 0), 0.6 * oversampled)
    small = cv2.resize(
        picture, None, fx=1 / oversampled, fy=1 / oversampled, interpolation=cv2.INTER_AREA
    )  # type: ignore[call-overload]
    return np.clip(small + rng.normal(0, 4, small.shape), 0, 255).astype(np.uint8)


def main() -> None:
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print("share read by zxing-cpp; rows: pixels per module, columns: motion in modules")
    print("      " + "".join(f"{motion:7.2f}" for motion in MOTION))
    for pixels in PIXELS:
        row = []
        for motion in MOTION:
            rng = np.random.default_rng(7)
            read = 0
            for trial in range(trials):
                text = str(Tag(Kind.BATTERY, "QM", 1000 + trial))
                picture = seen(text, pixels, motion, rng)
                read += text in [code.text for code in zxingcpp.read_barcodes(picture)]
            row.append(read / trials)
        print(f"{pixels:6.2f}" + "".join(f"{share:7.1%}" for share in row), flush=True)


if __name__ == "__main__":
    main()
