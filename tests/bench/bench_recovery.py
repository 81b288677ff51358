"""What recovery names, at which risk, how fast: tables to be run by hand.

    python -m tests.bench.bench_recovery share [SCENES] [SEED] [0.4,0.5]   one picture, every model
    python -m tests.bench.bench_recovery frames [VIDEOS] [SEED] [0.5,0.6]  eight frames
    python -m tests.bench.bench_recovery null [SCENES] [SEED]              whole pictures, no tag
    python -m tests.bench.bench_recovery chance [DRAWS]                    claimed, observed
    python -m tests.bench.bench_recovery speed                             10,000 tags

The roster has 1,000 tags, each as a bare tag and as a link (2,000 symbols), masks by the
standard. ``tests.bench.bench_recovery:recovery`` can be given to damage.curve as ``--recovery``.
"""

from __future__ import annotations

import sys
import time
import tracemalloc
from collections import defaultdict
from collections.abc import Collection, Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import lru_cache
from typing import Any

import cv2
import numpy as np
from tagkit.assets.tag import Kind, Tag, serials_after, tag_for
from tagkit.reader.read import Read
from tagkit.reader.recovery.acceptance import chance_score, proof_modules, threshold
from tagkit.reader.recovery.looks import Looks
from tagkit.reader.recovery.matching import match
from tagkit.reader.recovery.recover import recover
from tagkit.reader.recovery.roster import Roster, Variant
from tagkit.reader.recovery.sampling import grey_modules, place_of, soft
from tagkit.symbol.encode import encode

from .damage.ageing import MODELS
from .damage.curve import wilson
from .damage.labels import LINK, roster
from .damage.scenes import damaged, null, video

PROCESSES = 2
UNLIMITED = 60.0  # seconds: what is named must not depend on how busy the machine is


@lru_cache(maxsize=1)
def printed() -> Roster:
    """The laboratory's roster in both forms of payload."""
    return Roster(_variant(tag, before) for tag in roster() for before in ("", LINK))


def recovery(
    grey: Any, reads: Sequence[Read], _tags: Collection[Tag], seconds: float = UNLIMITED
) -> list[Read]:
    """A Recovery for the curve of the damage laboratory."""
    return recover(grey, reads, printed(), seconds=seconds)


def _variant(tag: Tag, before: str = "", mask: int | None = None) -> Variant:
    symbol = encode(f"{before}{tag}", "H", mask=mask)
    return Variant(tag, symbol.payload, symbol.version, "H", symbol.mask)


def share(scenes: int, seed: int, levels: str) -> None:
    """Right, wrong and nothing for each model of damage."""
    jobs = [
        (model, float(level), seed + 100_000 * index + number)
        for index, model in enumerate(MODELS)
        for level in levels.split(",")
        for number in range(scenes)
    ]
    _table(list(_run(_one_picture, jobs)))


def frames(videos: int, seed: int, levels: str) -> None:
    """The same over eight frames of one label."""
    jobs = [
        (model, float(level), seed + 100_000 * index + number)
        for index, model in enumerate(MODELS)
        for level in levels.split(",")
        for number in range(videos)
    ]
    _table(list(_run(_one_video, jobs)))


def _one_picture(job: tuple[str, float, int]) -> tuple[str, float, str, float]:
    model, level, seed = job
    scene = damaged(seed, model, level)
    start = time.perf_counter()
    texts = {read.text for read in recovery(scene.picture, [], ())}
    took = time.perf_counter() - start
    return model, level, _outcome(texts, scene), took


def _one_video(job: tuple[str, float, int]) -> tuple[str, float, str, float]:
    model, level, seed = job
    looks = Looks(seconds=UNLIMITED)
    texts: set[str] = set()
    scenes = video(seed, model, level)
    start = time.perf_counter()
    for scene in scenes:
        texts |= {read.text for read in looks(scene.picture, [], printed())}
    took = (time.perf_counter() - start) / len(scenes)
    return model, level, _outcome(texts, scenes[0]), took


def _outcome(texts: set[str], scene: Any) -> str:
    if texts - scene.texts:
        return "wrong"
    return "right" if scene.label.printed.payload in texts else "nothing"


def _table(found: list[tuple[str, float, str, float]]) -> None:
    levels = sorted({level for _, level, _, _ in found})
    counts: dict[tuple[str, float], list[str]] = defaultdict(list)
    for model, level, outcome, _ in found:
        counts[model, level].append(outcome)
        counts["all", level].append(outcome)
    print(f"{'right/wrong/nothing':12} " + "".join(f"{level:>18.0%}" for level in levels))
    for model in [*MODELS, "all"]:
        cells = []
        for level in levels:
            some = counts[model, level]
            right, wrong = some.count("right"), some.count("wrong")
            cells.append(f"{right}/{wrong}/{len(some) - right - wrong}".rjust(18))
        print(f"{model:19} " + "".join(cells))
    for level in levels:
        some = counts["all", level]
        low, high = wilson(some.count("right"), len(some))
        print(f"{level:.0%} destroyed: {some.count('right') / len(some):.1%} right "
              f"[{low:.1%}, {high:.1%}], wrong {some.count('wrong')} of {len(some)}")  # fmt: skip
    took = [seconds for *_, seconds in found]
    print(f"seconds a picture: median {np.median(took):.2f}, p95 {np.quantile(took, 0.95):.2f}")


def nulls(scenes: int, seed: int) -> None:
    """Pictures without a registered tag: how often each looser alpha would have answered."""
    alphas = (1e-1, 1e-2, 1e-3, 1e-4, 1e-6)
    named: dict[float, int] = dict.fromkeys(alphas, 0)
    for bound in _run(_one_null, [(seed + number,) for number in range(scenes)]):
        for alpha in alphas:
            named[alpha] += bound <= alpha
    for alpha, count in named.items():
        low, high = wilson(count, scenes)
        print(f"claimed {alpha:.0e}: {count} of {scenes} scenes, observed [{low:.1e}, {high:.1e}]")


def _one_null(job: tuple[int]) -> float:
    """The least bound at which something wrong would be named."""
    scene = null(job[0])
    reads = recover(scene.picture, [], printed(), seconds=UNLIMITED, alpha=0.1)
    wrong = [read.false_match_bound for read in reads if read.text not in scene.texts]
    return min((bound for bound in wrong if bound is not None), default=1.0)


def chance(draws: int) -> None:
    """T0 of registered symbols in pictures of damaged symbols that were never issued."""
    jobs = [(number, max(1, draws // 2000 // 8)) for number in range(8)]
    scores = np.concatenate(list(_run(_some_chance, jobs)))
    print(f"{len(scores)} symbols in {len(scores) // len(printed().variants)} scenes and places")
    for claimed in (1e-1, 1e-2, 1e-3, 1e-4, 1e-5):
        observed = float(np.mean(scores >= threshold(1, claimed)))
        print(f"claimed {claimed:.0e}: observed {observed:.2e}")


def _some_chance(job: tuple[int, int]) -> Any:
    number, count = job
    found = []
    models = list(MODELS)
    for index in range(count):
        seed = 7_000_000 + number * 10_000 + index
        scene = damaged(seed, models[seed % len(models)], 0.2 + 0.1 * (seed % 5), tags=_decoys())
        label = scene.label
        place = place_of(label.corners, len(label.lost))
        values = soft(grey_modules(scene.picture.astype(np.float32), place))
        for family in printed().families:
            for turn in range(4):
                turned = np.rot90(values, turn)
                if len(turned) != family.size:
                    continue
                proof = proof_modules(family)
                flat = turned.ravel()[family.informative[proof]]
                found.append(family.signs[:, proof] @ flat / (np.linalg.norm(flat) + 1e-6))
    return np.concatenate(found)


@lru_cache(maxsize=1)
def _decoys() -> tuple[Tag, ...]:
    """Tags of a site that the roster knows nothing of."""
    serials = serials_after(Kind.BATTERY, "ZV", 40_000)
    return tuple(tag_for(Kind.BATTERY, "ZV", next(serials)) for _ in range(500))


def speed() -> None:
    """Memory of a roster of 10,000 labels and time to match one geometry against it."""
    serials = serials_after(Kind.BATTERY, "QM", 0)
    tags = [tag_for(Kind.BATTERY, "QM", next(serials)) for _ in range(10_000)]
    for before in ("", LINK):
        variants = [_variant(tag, before, tag.serial % 8) for tag in tags]
        tracemalloc.start()
        start = time.perf_counter()
        many = Roster(variants)
        count = len(many.families)
        made = time.perf_counter() - start
        held = tracemalloc.get_traced_memory()[0] / 1e6
        tracemalloc.stop()
        size = many.sizes[0]
        one = soft(np.random.default_rng(1).normal(128, 40, (size, size)).astype(np.float32))
        softs = [np.rot90(one, turn).copy() for turn in range(4)]
        match(softs, many)
        took = []
        for _ in range(20):
            start = time.perf_counter()
            best = match(softs, many)
            took.append(time.perf_counter() - start)
        chance_score(best[0], softs[best[0].which])
        print(f"{before or 'bare tag'}: 10,000 tags in {count} families, {held:.0f} MB, made in "
              f"{made:.1f} s; one geometry in four turns {1e3 * np.median(took):.1f} ms "
              f"(p95 {1e3 * np.quantile(took, 0.95):.1f})")  # fmt: skip


def _run(work: Any, jobs: Sequence[Any]) -> Any:
    with ProcessPoolExecutor(PROCESSES, initializer=cv2.setNumThreads, initargs=(1,)) as pool:
        yield from pool.map(work, jobs, chunksize=2)


def main() -> None:
    name, *rest = sys.argv[1:] or [""]
    if name in ("share", "frames"):
        defaults = ["4", "0", "0.4,0.5"] if name == "share" else ["2", "0", "0.5,0.6"]
        count, seed, levels = [*rest, *defaults[len(rest) :]]
        (share if name == "share" else frames)(int(count), int(seed), levels)
    elif name == "null":
        nulls(*(int(part) for part in [*rest, *["200", "0"][len(rest) :]]))
    elif name == "chance":
        chance(int(rest[0]) if rest else 200_000)
    elif name == "speed":
        speed()
    else:
        print(__doc__)


if __name__ == "__main__":
    main()
