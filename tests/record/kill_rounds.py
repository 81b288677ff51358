"""Killing writers at random moments, and looking at what they leave."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from pathlib import Path

from tagkit.record.record import Record

WRITER = Path(__file__).with_name("killed_writer.py")
AT_ONCE = 2


def kill_writers(folder: Path, rounds: int, chance: random.Random) -> list[list[str]]:
    """Lets two writers work at a time and kills each; gives the actions they confirmed."""
    confirmed: list[list[str]] = []
    for start in range(0, rounds, AT_ONCE):
        writers = [_writer(folder, f"bay {n}") for n in range(min(AT_ONCE, rounds - start))]
        for writer in writers:
            assert writer.stdout and writer.stdout.readline() == "ready\n"
        first = ["", ""]
        for number, writer in enumerate(writers):
            # Some are killed while they begin, the rest in the middle of their work.
            if chance.random() < 0.75:
                first[number] = writer.stdout.readline()
            time.sleep(chance.uniform(0, 0.06))
            writer.kill()
        for number, writer in enumerate(writers):
            # Not communicate(): it would pass over what readline has already taken in.
            output, errors = writer.stdout.read(), writer.stderr.read()
            writer.wait()
            assert not errors, errors
            # The last line may be torn by the kill.
            lines = (first[number] + output).splitlines(True)
            confirmed += [line.split() for line in lines if line.endswith("\n")]
    return confirmed


def _writer(folder: Path, station: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, str(WRITER), str(folder), station],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def missing(folder: Path, confirmed: list[list[str]]) -> list[str]:
    """The confirmed events that are not there."""
    with Record.open(folder) as record:
        return [one for action in confirmed for one in action if record.event(one) is None]


def half_written(folder: Path) -> list[str]:
    """Changes without the charge that was to be recorded with them, or the other way round."""
    with Record.open(folder) as record:
        halves = []
        for head in record.heads():
            if not head.station.startswith("bay"):
                continue
            kinds = [
                record.event(f"{head.epoch}-{sequence}").kind
                for sequence in range(2, head.sequence + 1)
            ]
            if kinds != ["changed", "charge_started"] * (len(kinds) // 2):
                halves.append(head.epoch)
        return halves
