"""Kills writers of a record 1,000 times and counts what is lost.

python tests/bench/bench_kill.py [--rounds N]
"""

from __future__ import annotations

import argparse
import importlib.util
import random
import tempfile
import time
from pathlib import Path

from tagkit.assets.tag import Kind
from tagkit.record.record import Record
from tagkit.record.verify import verify

_PATH = Path(__file__).parent.parent / "record" / "kill_rounds.py"
_SPEC = importlib.util.spec_from_file_location("kill_rounds", _PATH)
assert _SPEC and _SPEC.loader
kill_rounds = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(kill_rounds)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--rounds", type=int, default=1000)
    rounds = options.parse_args().rounds
    with tempfile.TemporaryDirectory() as top:
        folder = Path(top) / "site"
        with Record.create(folder, "QM") as record, record.writing("TS", "desk") as writing:
            for kind, count in ((Kind.TRUCK, 4), (Kind.BATTERY, 12), (Kind.CHARGER, 4)):
                for _ in range(count):
                    writing.append("registered", [writing.issue(kind)], {"nameplate": {}})
        start = time.perf_counter()
        confirmed = kill_rounds.kill_writers(folder, rounds, random.Random(1))
        took = time.perf_counter() - start
        grave = [finding for finding in verify(folder) if finding.grave]
        print(f"writers killed             {rounds:8,}   in {took:.0f} s")
        print(f"actions confirmed          {len(confirmed):8,}")
        print(f"confirmed events missing   {len(kill_rounds.missing(folder, confirmed)):8,}")
        print(f"half-written actions       {len(kill_rounds.half_written(folder)):8,}")
        print(f"grave findings of verify   {len(grave):8,}")
        for finding in grave:
            print(f"  {finding}")


if __name__ == "__main__":
    main()
