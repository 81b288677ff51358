"""Camera trouble against known causes: ``python -m tests.bench.bench_trouble``.

Undamaged labels of the damage laboratory, and pictures without a label of ours, in good light and
spoilt on purpose. Prints what is named, how often; and what of it no decoder could read, because
only then anybody is told.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np
from tagkit.reader.decoders import look
from tagkit.reader.trouble import camera_trouble

from .damage.camera import Grey
from .damage.scenes import Scene, damaged, null


def seen_by(
    model: str = "none", severity: float = 0.0, **changes: float
) -> Callable[[Scene], Grey]:
    def again(scene: Scene) -> Grey:
        camera = replace(scene.camera, **changes)
        return damaged(scene.seed, model, severity, camera=camera).picture

    return again


def fogged(scene: Scene) -> Grey:
    """A lens that went from the cold store into warm air: veiled and soft."""
    veiled = cv2.GaussianBlur(scene.picture, (0, 0), 3.0).astype(np.float32) * 0.3 + 110
    return veiled.astype(np.uint8)


CAUSES: dict[str, Callable[[Scene], Grey]] = {
    "good": lambda scene: scene.picture,
    "no label": lambda scene: null(scene.seed, "clutter").picture,
    "dark (0.12)": seen_by(exposure=0.12, noise=6.0),
    "dark (0.2)": seen_by(exposure=0.2, noise=6.0),
    "flooded (2.5)": seen_by(exposure=2.5),
    "glare on the label (40 %)": seen_by("glare", 0.4),
    "defocus 3 px": seen_by(blur=3.0, sharpen=0.0),
    "defocus 5 px": seen_by(blur=5.0, sharpen=0.0),
    "shaken by 12 px": seen_by(motion=12.0),
    "fogged lens": fogged,
    "frosted label (60 %)": seen_by("frost", 0.6),
    "far (1 px a module)": seen_by(module=1.0),
    "far (0.7 px a module)": seen_by(module=0.7),
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scenes", type=int, default=24)
    parser.add_argument("--seed", type=int, default=0)
    chosen = parser.parse_args()
    print("cause                       unread  named (all pictures)")
    for cause, spoil in CAUSES.items():
        named: Counter[str] = Counter()
        unread = 0
        for number in range(chosen.scenes):
            scene = damaged(chosen.seed + number, "none", 0.0)
            picture = spoil(scene)
            unread += scene.label.printed.payload not in {f.text for f in look(picture, 0)}
            named[(camera_trouble(picture) or "nothing").split(":")[0].lower()] += 1
        words = ", ".join(f"{name} {count}" for name, count in named.most_common())
        print(f"{cause:27s} {unread:3d}/{chosen.scenes}  {words}")


if __name__ == "__main__":
    main()
