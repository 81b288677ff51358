"""Sites exchange in thousands of ways: whoever knows an asset knows the same of it in the end.

python tests/bench/bench_converges.py [--first SEED] [--minutes M] [--only NAME]
(three times as fast with its records in memory: TMPDIR=/dev/shm)

Four ways in turn, each with a seed of its own: plans of up to 60 steps through a real PostgreSQL
(recording, sending batteries, cancelling, clocks that jump, exchanges, and exchanges that have
forgotten what they sent and fetched, so that all comes twice); rows that become visible in any
order; transactions that commit late; chains of two sites received in any interleaving, in batches
of any size and again. A seed that fails is printed with what went wrong, and the run goes on.
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

TESTS = Path(__file__).resolve().parent.parent
sys.path[:0] = [str(TESTS / "exchange"), str(TESTS / "record")]

import test_exchange_converges as converges  # noqa: E402
import test_order_of_events as order  # noqa: E402
from companies import Company  # noqa: E402
from postgres import Postgres  # noqa: E402

Way = Callable[[Postgres, Path, int], None]


def plans(postgres: Postgres, folder: Path, seed: int) -> None:
    clocks = converges.SiteClocks()
    company = Company(postgres, folder, clocks)
    try:
        converges.begin(company, clocks, folder)
        converges.play(company, clocks, folder, converges.plan_of(random.Random(seed)))
    finally:
        company.close()


def rows_out_of_order(postgres: Postgres, folder: Path, seed: int) -> None:
    clocks = converges.SiteClocks()
    company = Company(postgres, folder, clocks)
    try:
        converges.test_events_committed_late_and_out_of_order_are_never_skipped(
            (company, clocks), folder, seed
        )
    finally:
        company.close()


def late_commits(postgres: Postgres, folder: Path, seed: int) -> None:
    now = [converges.START]

    def clock() -> Any:
        now[0] += timedelta(milliseconds=1)
        return now[0]

    company = Company(postgres, folder, clock)
    try:
        converges.test_a_commit_that_comes_late_is_never_taken_for_nothing_new(company, seed)
    finally:
        company.close()


def interleaved(_: Postgres, folder: Path, seed: int) -> None:
    chance = random.Random(seed)
    kinds = ("changed", "moved", "charge_started", "charge_ended", "held", "voided")
    jumps = (0, 0, 0, -90, 2, 60, -14 * 60, 20 * 365 * 24 * 60)
    earlier = (None, None, None, 0, 45, 600)
    first, second = (
        [
            (chance.choice(kinds), chance.randint(0, 1), chance.randint(0, 1),
             chance.choice(jumps), chance.choice(earlier), chance.randint(0, 60))
            for _ in range(chance.randint(0, 30))
        ]
        for _ in range(2)
    )  # fmt: skip
    ids: list[str] = []
    one = order.write(folder / "one", "NA", first, ids)
    other = order.write(folder / "other", "NB", second, ids)
    expected = order.folded(folder / "whole", [one, other])
    for name in ("a", "b"):
        mixed = order.interleaved(one + other, [chance.randint(0, 3) for _ in range(80)])
        batches, at = [], 0
        while at < len(mixed):
            size = chance.randint(1, 9)
            # What came already may come again with it, from its beginning.
            back = chance.randint(0, at) if chance.random() < 0.3 else at
            batches.append(mixed[back : at + size])
            at += size
        assert order.folded(folder / name, batches) == expected


WAYS: dict[str, Way] = {
    "plans": plans,
    "rows out of order": rows_out_of_order,
    "late commits": late_commits,
    "interleaved": interleaved,
}


def main() -> int:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--first", type=int, default=1_000_000, help="the first seed")
    options.add_argument("--minutes", type=float, default=10)
    options.add_argument("--only", choices=WAYS)
    given = options.parse_args()
    ways = [given.only] if given.only else list(WAYS)
    done: Counter[str] = Counter()
    failed: list[tuple[str, int]] = []
    took: Counter[str] = Counter()
    end, told, seed = time.monotonic() + given.minutes * 60, time.monotonic(), given.first
    postgres = Postgres()
    postgres.start()
    try:
        while time.monotonic() < end:
            for name in ways:
                before = time.process_time()
                with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as top:
                    try:
                        WAYS[name](postgres, Path(top), seed)
                    except Exception:  # noqa: BLE001  whatever it is belongs to its seed
                        failed.append((name, seed))
                        print(f"{name}, seed {seed}:\n{traceback.format_exc()}", flush=True)
                done[name] += 1
                took[name] += time.process_time() - before  # type: ignore[assignment]
            seed += 1
            if time.monotonic() - told > 300:
                told = time.monotonic()
                print(f"seeds to {seed - 1}: {dict(done)}, failed {failed}", flush=True)
    finally:
        postgres.remove()
    for name in ways:
        wrong = [seed for way, seed in failed if way == name]
        print(
            f"{name:18} {done[name]:6,} seeds from {given.first:,}, failed {len(wrong):,}"
            f" {wrong or ''}  {took[name] / max(1, done[name]) * 1000:,.0f} ms of processor each"
        )
    return bool(failed)


if __name__ == "__main__":
    sys.exit(main())
