"""Kills writers of a record, or the process that exchanges, 1,000 times and counts what is lost.

python tests/bench/bench_kill.py [writers|exchange] [--rounds N] [--restart-every N] [--seed N]

Of the exchange: two sites that record without a pause meanwhile, each kill at a random moment
within the command, once or again and again (--every), one in ten with its start; the server is
restarted now and then, half of the times as a crash does.
"""

from __future__ import annotations

import argparse
import importlib.util
import os
import random
import sys
import tempfile
import time
from pathlib import Path

from tagkit.assets.tag import Kind
from tagkit.record.clock import system_clock
from tagkit.record.record import Record
from tagkit.record.verify import verify

TESTS = Path(__file__).resolve().parent.parent
_SPEC = importlib.util.spec_from_file_location("kill_rounds", TESTS / "record" / "kill_rounds.py")
assert _SPEC and _SPEC.loader
kill_rounds = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(kill_rounds)


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("what", nargs="?", choices=["writers", "exchange"], default="writers")
    options.add_argument("--rounds", type=int, default=1000)
    options.add_argument("--restart-every", type=int, default=40)
    options.add_argument("--seed", type=int, default=1)
    chosen = options.parse_args()
    if chosen.what == "exchange":
        exchange(chosen.rounds, chosen.restart_every, chosen.seed)
    else:
        writers(chosen.rounds, chosen.seed)


def writers(rounds: int, seed: int) -> None:
    with tempfile.TemporaryDirectory() as top:
        folder = Path(top) / "site"
        with Record.create(folder, "QM") as record, record.writing("TS", "desk") as writing:
            for kind, count in ((Kind.TRUCK, 4), (Kind.BATTERY, 12), (Kind.CHARGER, 4)):
                for _ in range(count):
                    writing.append("registered", [writing.issue(kind)], {"nameplate": {}})
        start = time.perf_counter()
        confirmed = kill_rounds.kill_writers(folder, rounds, random.Random(seed))
        took = time.perf_counter() - start
        grave = [finding for finding in verify(folder) if finding.grave]
        row("writers killed", rounds, f"in {took:.0f} s")
        row("actions confirmed", len(confirmed))
        row("confirmed events missing", len(kill_rounds.missing(folder, confirmed)))
        row("half-written actions", len(kill_rounds.half_written(folder)))
        row("grave findings of verify", len(grave))
        for finding in grave:
            print(f"  {finding}")


def exchange(rounds: int, restart_every: int, seed: int) -> None:
    sys.path.insert(0, str(TESTS / "exchange"))
    from companies import Company
    from exchange_kills import kill_exchanges
    from postgres import Postgres

    postgres = Postgres(fsync="on")
    postgres.start()
    start = time.perf_counter()
    with tempfile.TemporaryDirectory() as top:
        company = Company(postgres, Path(top), system_clock, ("QA", "QB"), fresh=True)
        try:
            killed = kill_exchanges(company, rounds, random.Random(seed), restart_every, pause=0.05)
        finally:
            company.close()
            postgres.remove()
    took = time.perf_counter() - start
    row("exchanges killed", killed.kills, f"in {took:.0f} s, load {os.getloadavg()[0]:.1f}")
    row("  of them exchanging again and again", killed.of_them_in_the_loop)
    row("  of them with the whole start", killed.of_them_started_anew)
    row("ended before they were killed", killed.ended_before)
    row("server restarted", killed.restarts, f"{killed.could_not_reach} told of it")
    row("events confirmed by the two writers", killed.confirmed)
    row("events missing", len(killed.missing))
    row("events twice", killed.twice)
    row("batteries known differently", len(killed.different))
    row("grave findings of verify", len(killed.grave))
    row("ended otherwise than done or busy", len(killed.faults))
    for finding in (*killed.missing[:5], *killed.different, *killed.grave, *killed.faults[:3]):
        print(f"  {finding}")


def row(what: str, number: int, more: str = "") -> None:
    print(f"{what:40}{number:8,}   {more}".rstrip(), flush=True)


if __name__ == "__main__":
    main()
