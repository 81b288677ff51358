"""What recovery names, at which risk, how fast: tables to be run by hand.

    python -m tests.bench.bench_recovery share FILE [SCENES] [SEED] [0.4,0.5]   one picture
    python -m tests.bench.bench_recovery frames FILE [VIDEOS] [SEED] [0.5,0.6]  eight frames
    python -m tests.bench.bench_recovery null FILE [SCENES] [SEED]              pictures, no tag
    python -m tests.bench.bench_recovery table FILE                             what a file holds
    python -m tests.bench.bench_recovery modules FILE [SCENES] [SEED]           chance by modules
    python -m tests.bench.bench_recovery splitting [CHAINS] [SEED]              chance beyond
    python -m tests.bench.bench_recovery speed                                  10,000 tags
    python -m tests.bench.bench_recovery budget [FRAMES]                        time in each frame

Scenes are appended to FILE, one JSON line each, as they are done: a run that was cut off is taken
up where it ended, and what there is can be printed at any time. The roster has 1,000 tags, each
as a bare tag and as a link (2,000 symbols), masks by the standard.
``tests.bench.bench_recovery:recovery`` can be given to damage.curve as ``--recovery``.
"""

from __future__ import annotations

import json
import sys
import time
import tracemalloc
from collections import defaultdict
from collections.abc import Callable, Collection, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from tagkit.assets.tag import Kind, Tag, serials_after, tag_for
from tagkit.reader.decoders import first_look
from tagkit.reader.read import Read
from tagkit.reader.recovery.acceptance import chance_score
from tagkit.reader.recovery.matching import match
from tagkit.reader.recovery.recover import recover
from tagkit.reader.recovery.roster import Roster, Variant
from tagkit.reader.recovery.sampling import soft
from tagkit.reader.recovery.stream import RecoveryStream
from tagkit.symbol.encode import encode

from .damage.ageing import MODELS
from .damage.curve import wilson
from .damage.labels import LINK, roster
from .damage.peers import PEERS
from .damage.scenes import NULLS, damaged, null, video
from .null_modules import KINDS, exceeded, split

Job = tuple[str, str, float, int]  # row, model, severity, seed
Row = dict[str, Any]
CLAIMS = (1e-1, 1e-2, 1e-3, 1e-4, 1e-5, 1e-6)
LOOSEST = 0.1
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


def share(file: Path, scenes: int, seed: int, levels: str) -> None:
    """Right, wrong and nothing for each model of damage."""
    _append(file, _one_picture, _jobs("share", scenes, seed, levels))
    table(file)


def frames(file: Path, videos: int, seed: int, levels: str) -> None:
    """The same over eight frames of one label."""
    _append(file, _one_video, _jobs("frames", videos, seed, levels))
    table(file)


def nulls(file: Path, scenes: int, seed: int) -> None:
    """Pictures without a registered tag: the least bound at which something would be named."""
    _append(file, _one_null, [("null", "", 0.0, seed + number) for number in range(scenes)])
    table(file)


def _jobs(row: str, scenes: int, seed: int, levels: str) -> list[Job]:
    # Seed by seed, so that a part of the run has all models in it.
    return [
        (row, model, float(level), seed + 100_000 * index + number)
        for number in range(scenes)
        for index, model in enumerate(MODELS)
        for level in levels.split(",")
    ]


def _one_picture(job: Job) -> Row:
    _, model, level, seed = job
    scene = damaged(seed, model, level)
    start = time.process_time()
    reads = recovery(scene.picture, [], ())
    took = time.process_time() - start
    texts = {read.text for read in reads}
    form = "link" if scene.label.printed.payload.startswith(LINK) else "bare"
    peers = {name: _outcome(set(peer(scene.picture)), scene) for name, peer in PEERS.items()}
    return {"outcome": _outcome(texts, scene), "seconds": took, "form": form, "peers": peers}


def _one_video(job: Job) -> Row:
    _, model, level, seed = job
    stream = RecoveryStream(printed())
    texts: set[str] = set()
    scenes = video(seed, model, level)
    start = time.process_time()
    for scene in scenes:
        texts |= {read.text for read in stream.look(scene.picture)}
    took = (time.process_time() - start) / len(scenes)
    return {"outcome": _outcome(texts, scenes[0]), "seconds": took}


def _one_null(job: Job) -> Row:
    scene = null(job[3])
    reads = recover(scene.picture, [], printed(), seconds=UNLIMITED, alpha=LOOSEST)
    wrong = [read.false_match_bound for read in reads if read.text not in scene.texts]
    least = min((bound for bound in wrong if bound is not None), default=1.0)
    return {"kind": scene.model if not scene.labels else NULLS[job[3] % len(NULLS)], "bound": least}


def _outcome(texts: set[str], scene: Any) -> str:
    if texts - scene.texts:
        return "wrong"
    return "right" if scene.label.printed.payload in texts else "nothing"


def _append(file: Path, work: Callable[[Job], Row], jobs: list[Job]) -> None:
    """Does the jobs that the file does not hold yet."""
    done = {tuple(row["job"]) for row in _rows(file)}
    cv2.setNumThreads(1)
    for job in jobs:
        if job not in done:
            row = {"job": job, **work(job)}
            with file.open("a", encoding="utf-8") as out:
                out.write(json.dumps(row) + "\n")


def _rows(file: Path) -> list[Row]:
    if not file.exists():
        return []
    return [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]


def table(file: Path) -> None:
    """What a file of rows says so far."""
    rows = _rows(file)
    found = [(*row["job"][1:3], row["outcome"], row["seconds"]) for row in rows if "outcome" in row]
    if found:
        _table(found)
        for form in ("bare", "link"):
            some = [row for row in rows if row.get("form") == form]
            for level in sorted({row["job"][2] for row in some}):
                here = [row["outcome"] for row in some if row["job"][2] == level]
                print(f"{form} {level:.0%}: {here.count('right')} of {len(here)} right")
    for name in PEERS if any("peers" in row for row in rows) else ():
        for level in sorted({row["job"][2] for row in rows}):
            here = [row["peers"][name] for row in rows if row["job"][2] == level and "peers" in row]
            print(f"{name} {level:.0%}: {here.count('right')} of {len(here)} right")
    bounds = [row["bound"] for row in rows if "bound" in row]
    for claimed in CLAIMS if bounds else ():
        count = sum(bound <= claimed for bound in bounds)
        low, high = wilson(count, len(bounds))
        print(f"claimed {claimed:.0e}: {count} of {len(bounds)} scenes [{low:.1e}, {high:.1e}]")


def _table(found: list[tuple[str, float, str, float]]) -> None:
    levels = sorted({level for _, level, _, _ in found})
    counts: dict[tuple[str, float], list[str]] = defaultdict(list)
    for model, level, outcome, _ in found:
        counts[model, level].append(outcome)
        counts["all", level].append(outcome)
    print(f"{'right/wrong/nothing':19} " + "".join(f"{level:>18.0%}" for level in levels))
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
    print(f"CPU seconds a picture: median {np.median(took):.2f}, p95 {np.quantile(took, 0.95):.2f}")


def modules(file: Path, scenes: int, seed: int) -> None:
    """Claimed against observed on null scenes made of modules (null_modules)."""
    batch = 1000
    counts: dict[str, list[int]] = {}
    done = {tuple(row["job"]): row["counts"] for row in _rows(file)}
    cv2.setNumThreads(1)
    for number in range(-(-scenes // batch)):
        kind, link = KINDS[number % len(KINDS)], number // len(KINDS) % 3 == 2
        job = ("modules", f"{kind} {'link' if link else 'bare'}", 0.0, seed + number)
        if job not in done:
            rng = np.random.default_rng([seed + number, 18004])
            done[job] = exceeded(link, kind, batch, rng, CLAIMS)
            with file.open("a", encoding="utf-8") as out:
                out.write(json.dumps({"job": job, "counts": done[job]}) + "\n")
    for job, found in done.items():
        for name in (job[1], "all"):
            counts[name] = [a + b for a, b in zip(counts.get(name, [0] * 7), [batch, *found])]  # noqa: B905
    print(f"{'':14} {'scenes':>9} " + "".join(f"{claim:>10.0e}" for claim in CLAIMS))
    for name, (total, *named) in sorted(counts.items()):
        print(f"{name:14} {total:9} " + "".join(f"{count / total:10.1e}" for count in named))


def splitting(chains: int, seed: int) -> None:
    """Claimed against observed beyond what can be counted."""
    cv2.setNumThreads(1)
    for kind in ("near", "other"):
        for link in (False, True):
            print(f"{kind}, {'link' if link else 'bare tag'}", flush=True)
            for claimed, observed in split(kind, link, chains, np.random.default_rng([seed, 1])):
                print(f"  claimed {claimed:.1e}: observed about {observed:.1e}", flush=True)


def budget(frames_shown: int) -> None:
    """Milliseconds a frame of 1080p with two damaged labels in view costs, recovery's share 20."""
    cv2.setNumThreads(1)
    room = np.random.default_rng(1).normal(120, 4, (1080, 1920)).astype(np.uint8)
    for seed, left in ((11, 60), (12, 980)):
        cut = damaged(seed, "mixed", 0.4).picture[:900, :880]
        room[90 : 90 + cut.shape[0], left : left + cut.shape[1]] = cut
    stream = RecoveryStream(printed())
    stream.look(room, budget_ms=1)
    took, named = [], 0
    for number in range(frames_shown):
        frame = np.roll(room, number % 5, axis=1)
        start = time.process_time()
        first_look(frame)
        named = max(named, len(stream.look(frame, budget_ms=20)))
        took.append(1e3 * (time.process_time() - start))
    print(f"{frames_shown} frames, {named} labels named: CPU ms median {np.median(took):.1f}, "
          f"p95 {np.quantile(took, 0.95):.1f}, most {max(took):.1f}")  # fmt: skip


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


def main() -> None:
    name, *rest = sys.argv[1:] or [""]
    file = Path(rest.pop(0)) if name in ("share", "frames", "null", "table", "modules") else Path()
    if name in ("share", "frames"):
        defaults = ["4", "0", "0.4,0.5"] if name == "share" else ["2", "0", "0.5,0.6"]
        count, seed, levels = [*rest, *defaults[len(rest) :]]
        (share if name == "share" else frames)(file, int(count), int(seed), levels)
    elif name == "null":
        nulls(file, *(int(part) for part in [*rest, *["200", "0"][len(rest) :]]))
    elif name == "table":
        table(file)
    elif name == "modules":
        modules(file, *(int(part) for part in [*rest, *["1000000", "0"][len(rest) :]]))
    elif name == "splitting":
        splitting(*(int(part) for part in [*rest, *["200", "0"][len(rest) :]]))
    elif name == "speed":
        speed()
    elif name == "budget":
        budget(*(int(part) for part in [*rest, *["200"][len(rest) :]]))
    else:
        print(__doc__)


if __name__ == "__main__":
    main()
