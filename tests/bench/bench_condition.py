"""Label condition against the truth: ``python -m tests.bench.bench_condition``.

Scenes of the damage laboratory at small severities. The truth comes from the same damaged label
seen by an ideal camera (8 pixels a module, face on, no blur, no noise) and sampled by the
laboratory's own grid; what is compared is wrong codewords block by block and the share of error
correction left. Pictures that the command itself calls doubtful (a mirrored lamp, too small) are counted and
left out. No other reader reports it, so there is no peer.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from tagkit.reader.condition import Condition, blocks_with, expected_symbol, measure
from tagkit.reader.decoders import look
from tagkit.reader.grading import Grading, grade
from tagkit.reader.symbols import Corners
from tagkit.settings import ConditionSettings
from tagkit.symbol.blocks import block_map
from tagkit.symbol.encode import Symbol, encode

from .damage.ageing import MODELS
from .damage.camera import Camera
from .damage.scenes import Scene, damaged


@dataclass(frozen=True, eq=False)
class Case:
    scene: Scene
    found: Condition
    wrong: np.ndarray
    true_left: float
    milliseconds: float

    @property
    def left(self) -> float:
        return self.found.unused_error_correction

    @cached_property
    def grading(self) -> Grading:
        return grade(self.found, ConditionSettings())

    @property
    def verdict(self) -> str:
        return self.grading.verdict


def symbol_of(scene: Scene) -> Symbol:
    printed = scene.label.printed
    return encode(printed.payload, printed.level, printed.version, printed.mask)


def ideal(seed: int, model: str, severity: float) -> tuple[Scene, np.ndarray]:
    """The label under an ideal camera, and which of its modules look like the other tone."""
    side = 8 * 70
    camera = Camera((side, side), 8.0, (side / 2, side / 2), blur=0.0, noise=0.0)
    scene = damaged(seed, model, severity, camera=camera)
    grid = scene.label.grid
    n = len(grid) - 1
    dark = np.array(symbol_of(scene).matrix, bool)
    values = np.empty((n, n))
    for row in range(n):
        for column in range(n):
            corners = grid[row : row + 2, column : column + 2]
            (left, top), (right, bottom) = corners[0, 0], corners[1, 1]
            x = np.linspace(left + (right - left) * 0.25, right - (right - left) * 0.25, 4)
            y = np.linspace(top + (bottom - top) * 0.25, bottom - (bottom - top) * 0.25, 4)
            x, y = (np.clip(np.round(part), 0, side - 1).astype(int) for part in (x, y))
            values[row, column] = scene.picture[np.ix_(y, x)].mean()
    whole = scene.label.lost < 0.01
    ink = np.median(values[whole & dark]) if (whole & dark).any() else values[dark].min()
    film = np.median(values[whole & ~dark]) if (whole & ~dark).any() else values[~dark].max()
    return scene, (values < (ink + film) / 2) != dark


def cases(
    models: list[str], severity: float, count: int, seed: int, corners: str
) -> Iterator[Case]:
    for number in range(count):
        model = models[number % len(models)]
        scene = damaged(seed + number, model, severity)
        _, wrong = ideal(seed + number, model, severity)
        symbol = symbol_of(scene)
        at: Corners | None = None
        if corners == "decoded":
            at = next(
                (f.corners for f in look(scene.picture, 0.3) if f.text == symbol.payload), None
            )
        else:  # as a recovery would give them: off by half a module
            rng = np.random.default_rng([scene.seed, 9])
            off = rng.normal(0, 0.25 * scene.label.pixels_per_module, (4, 2))
            at = tuple((float(x), float(y)) for x, y in scene.label.corners + off)  # type: ignore[assignment]
        if at is None:
            continue
        start = time.perf_counter()
        chosen, _ = expected_symbol(scene.picture, symbol.payload, at, [symbol])
        found = measure(scene.picture, chosen, at)
        spent = 1e3 * (time.perf_counter() - start)
        blocks = blocks_with(wrong, block_map(symbol.version, symbol.level))
        yield Case(scene, found, wrong, min(block.unused for block in blocks), spent)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=int, default=56)
    parser.add_argument("--models", default="")
    parser.add_argument("--severities", default="0,1,2,4,6,10")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--corners", choices=("decoded", "given"), default="given")
    chosen = parser.parse_args()
    models = chosen.models.split(",") if chosen.models else list(MODELS)
    print("severity judged+doubtful  module error %  budget left: true / reported, mean |diff|, p90, bias"
          "   good/soon/now   contrast  ms")  # fmt: skip
    for percent in (float(part) for part in chosen.severities.split(",")):
        found = list(cases(models, percent / 100, chosen.scenes, chosen.seed, chosen.corners))
        judged = [one for one in found if not one.grading.doubts]
        doubtful = len(found) - len(judged)
        found = judged
        if not found:
            print(f"{percent:7.0f}% {0:4d}+{doubtful:<3d}")
            continue
        missed = np.mean([(one.found.wrong != one.wrong).mean() for one in found])
        off = np.array([one.left - one.true_left for one in found])
        verdicts = [one.verdict for one in found]
        print(
            f"{percent:7.0f}% {len(found):4d}+{doubtful:<3d} {100 * missed:10.2f}       "
            f"{np.mean([one.true_left for one in found]):.2f} / "
            f"{np.mean([one.left for one in found]):.2f}     {np.abs(off).mean():.3f}  "
            f"{np.quantile(np.abs(off), 0.9):.3f} {off.mean():+.3f}    "
            f"{verdicts.count('good'):3d}/{verdicts.count('reprint soon'):3d}/"
            f"{verdicts.count('reprint now'):3d}   "
            f"{np.mean([one.found.contrast for one in found]):.2f}  "
            f"{np.median([one.milliseconds for one in found]):.0f}"
        )  # fmt: skip


if __name__ == "__main__":
    main()
