"""1080p frames with two damaged labels in view: ``python -m tests.bench.bench_stream``.

What a station pays for each frame, recovery's share included, and how soon it names them. Two
labels of the damage laboratory, with so much of their symbols lost that no decoder reads them,
hang in a cluttered room; from frame to frame the picture moves by a pixel or two and the noise
is drawn anew. Roster of 1,000 tags, each as bare number and as link. Times are processor time
of this one thread, so that other work on the machine hardly shows. The peer is zxing-cpp alone.
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

import cv2
import numpy as np
import zxingcpp
from tagkit.assets.tag import Tag
from tagkit.reader.watching import Watch

from .bench_recovery import printed
from .damage.camera import Grey
from .damage.scenes import damaged

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "reader"))
from scenes import clutter

MODELS = ("bleached", "mixed", "scratches", "torn", "dirt")
SIDE = 420


def room(seed: int, severity: float) -> tuple[Grey, set[Tag]]:
    """A cluttered room and the two tags in it."""
    picture = clutter(4000 + seed, 1920, 1080)
    tags: set[Tag] = set()
    number = 0
    while len(tags) < 2:
        scene = damaged(50_000 + 20 * seed + number, MODELS[number % len(MODELS)], severity)
        number += 1
        label = scene.labels[0]
        x, y = np.asarray(label.corners).mean(axis=0)
        left, top = (max(0, round(float(middle)) - SIDE // 2) for middle in (x, y))
        part = scene.picture[top : top + SIDE, left : left + SIDE]
        if zxingcpp.read_barcodes(part) or label.printed.tag in tags:
            continue
        at = 200 + 1000 * len(tags)
        picture[300 : 300 + part.shape[0], at : at + part.shape[1]] = part
        tags.add(label.printed.tag)
    return picture, tags


def frame(picture: Grey, rng: np.random.Generator) -> Grey:
    """The picture as the camera gives it once: moved a little, with fresh noise."""
    across, down = rng.normal(0, 1.0, 2)
    moved = cv2.warpAffine(
        picture, np.array([(1, 0, across), (0, 1, down)]), (1920, 1080),
        borderMode=cv2.BORDER_REPLICATE,
    )  # fmt: skip
    noise = rng.normal(0, 3, moved.shape).astype(np.float32)
    return np.clip(moved + noise, 0, 255).astype(np.uint8)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rooms", type=int, default=8)
    parser.add_argument("--frames", type=int, default=60)
    parser.add_argument("--severity", type=float, default=0.4)
    chosen = parser.parse_args()
    cv2.setNumThreads(1)
    roster = printed()
    _ = roster.families
    times: list[float] = []
    alone: list[float] = []
    named, wrong, waited = 0, 0, []
    for seed in range(chosen.rooms):
        picture, tags = room(seed, chosen.severity)
        watch, rng = Watch(roster), np.random.default_rng(seed)
        found: dict[Tag, int] = {}
        for number in range(chosen.frames):
            grey = frame(picture, rng)
            begun = time.thread_time()
            reads = watch.read(grey)
            times.append(1e3 * (time.thread_time() - begun))
            begun = time.thread_time()
            zxingcpp.read_barcodes(grey, formats=zxingcpp.BarcodeFormat.QRCode)
            alone.append(1e3 * (time.thread_time() - begun))
            for read in reads:
                if read.tag is not None:
                    found.setdefault(read.tag, number + 1)
        named += len(tags & found.keys())
        wrong += len(found.keys() - tags)
        waited += [found[tag] for tag in tags & found.keys()]
    print(
        f"{chosen.rooms} rooms, {chosen.frames} frames each, {chosen.severity:.0%} of two symbols lost"
    )
    for name, spent in (("tagkit with recovery's share", times), ("zxing-cpp alone", alone)):
        print(
            f"{name:30} ms p50 {np.median(spent):5.1f}  p95 {np.quantile(spent, 0.95):5.1f}  "
            f"most {max(spent):6.1f}  CPU s/s at 10 fps {np.mean(spent) / 100:.2f}"
        )
    print(f"named {named} of {2 * chosen.rooms}, wrong {wrong}"
          + (f", after {np.median(waited):.0f} frames (median)" if waited else ""))  # fmt: skip


if __name__ == "__main__":
    main()
