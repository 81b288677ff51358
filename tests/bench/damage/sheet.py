"""Contact sheets, for looking at scenes: ``python -m tests.bench.damage.sheet FILE --help``."""

from __future__ import annotations

import argparse
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from .ageing import MODELS
from .scenes import NULLS, Scene, damaged, null


def sheet(
    scenes: list[Scene], columns: int, cell: tuple[int, int] = (420, 315), marked: bool = False
) -> NDArray[np.uint8]:
    """The scenes side by side, each with its model and shares; ``marked`` draws the truth."""
    rows = -(-len(scenes) // columns)
    page = np.full((rows * (cell[1] + 16), columns * cell[0]), 255, np.uint8)
    for index, scene in enumerate(scenes):
        picture = scene.picture.copy()
        words = f"{scene.model} {scene.seed}"
        for label in scene.labels:
            if marked:
                corners = np.round(label.corners * 16 + 8).astype(np.int32)
                cv2.polylines(picture, [corners], True, 255, 2, cv2.LINE_AA, 4)
        if scene.labels:
            one = scene.label
            words = (f"{one.model} {scene.seed} {100 * one.asked:.0f}: area "
                     f"{100 * one.area_lost:.0f} inf {100 * one.informative_lost:.0f} misr "
                     f"{100 * one.informative_misread:.0f} px {one.pixels_per_module:.1f}")  # fmt: skip
        size = _within(picture.shape[::-1], cell)
        small = cv2.resize(picture, size, interpolation=cv2.INTER_AREA)
        y, x = index // columns * (cell[1] + 16), index % columns * cell[0]
        page[y + 16 : y + 16 + size[1], x : x + size[0]] = small
        cv2.putText(page, words, (x + 2, y + 12), cv2.FONT_HERSHEY_SIMPLEX, 0.38, 0, 1, cv2.LINE_AA)
    return page


def _within(size: tuple[int, int], cell: tuple[int, int]) -> tuple[int, int]:
    scale = min(cell[0] / size[0], cell[1] / size[1])
    return int(size[0] * scale), int(size[1] * scale)


def main() -> None:
    parser = argparse.ArgumentParser(description="Draws a contact sheet of scenes.")
    parser.add_argument("file", type=Path)
    parser.add_argument("--models", default="", help="names with commas; all unless given")
    parser.add_argument("--severities", default="10,30,50,70", help="in %%")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--posture", choices=("station", "hard", "plain"), default="station")
    parser.add_argument("--nulls", action="store_true", help="pictures without a registered tag")
    parser.add_argument("--marked", action="store_true", help="draw the true corners")
    parser.add_argument("--close", action="store_true", help="cut out the label")
    chosen = parser.parse_args()
    levels = [float(part) / 100 for part in chosen.severities.split(",")]
    if chosen.nulls:
        scenes = [null(chosen.seed + index, NULLS[index // 4]) for index in range(32)]
    else:
        models = chosen.models.split(",") if chosen.models else list(MODELS)
        scenes = [
            damaged(chosen.seed + index, model, level, posture=chosen.posture)
            for index, model in enumerate(models) for level in levels
        ]  # fmt: skip
    if chosen.close:
        scenes = [_close(scene) for scene in scenes]
    page = sheet(scenes, 4 if chosen.nulls else len(levels), marked=chosen.marked)
    chosen.file.write_bytes(cv2.imencode(chosen.file.suffix, page)[1].tobytes())


def _close(scene: Scene) -> Scene:
    from dataclasses import replace

    x, y = scene.label.corners.T
    side = max(float(np.ptp(x)), float(np.ptp(y)))
    left, top = (max(0, int(np.min(part) - side * 0.3)) for part in (x, y))
    right, low = int(np.max(x) + side * 0.3), int(np.max(y) + side * 0.3)
    return replace(scene, picture=np.ascontiguousarray(scene.picture[top:low, left:right]))


if __name__ == "__main__":
    main()
