"""Kills ``tagkit exchange`` at random moments while both sites record, and looks at the end."""

from __future__ import annotations

import contextlib
import json
import os
import random
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tagkit.exchange.address import connect

HERE = Path(__file__).resolve().parent
SITES = ("QA", "QB")
BATCHES = (3, 20, 5_000)
LONGEST = {False: 0.35, True: 1.6}
"""Seconds within which it is killed: once, and again and again."""
WITHIN = 60.0


@dataclass
class Killed:
    """What was done, and what was found at the end."""

    kills: int = 0
    of_them_in_the_loop: int = 0
    of_them_started_anew: int = 0
    ended_before: int = 0
    restarts: int = 0
    could_not_reach: int = 0
    confirmed: int = 0
    missing: list[str] = field(default_factory=list)
    """Confirmed events that are not in the record of their site, or not at the exchange."""
    twice: int = 0
    """Rows at the exchange beyond one for each event of a site."""
    different: list[str] = field(default_factory=list)
    """Batteries that the two sites know differently."""
    grave: list[str] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    """What a command said that ended otherwise than done or busy."""


def kill_exchanges(
    company: Any, rounds: int, chance: random.Random, restart_every: int, pause: float = 0.01
) -> Killed:
    """Kills it so often, in turns of both sites; the server is restarted now and then.

    ``company`` has the sites QA and QB and the system's clock.
    """
    killed = Killed()
    for site in SITES:
        company.site(site)
        (company.folder / site / "site.toml").write_text(f'[site]\ncode = "{site}"\n')
    company.settle(*SITES)
    for number, site in enumerate(SITES):
        company.move(site, company.batteries[site][0], f"site {SITES[1 - number]}", "elsewhere")
    company.settle(*SITES)
    while company.lines:
        company.lines.popitem()[1].close()  # the server is restarted
    with _starter() as start, _writers(company, pause) as confirmed:
        for number in range(rounds):
            looping = chance.random() < 0.3
            restart = restart_every and number % restart_every == restart_every - 1
            running = [
                _Run(company, site, start, chance, looping, number)
                for site in (SITES if chance.random() < 0.4 else [chance.choice(SITES)])
            ]
            if restart:
                time.sleep(chance.uniform(0, LONGEST[looping]))
                company.postgres.stop(at_once=chance.random() < 0.5)
            for run in running:
                run.kill(killed)
            if restart:
                company.postgres.start()
                killed.restarts += 1
    company.admin = connect(company.postgres.url(company.database))
    company.settle(*SITES)
    events = [event for line in confirmed for event in line.split()]
    killed.confirmed = len(events)
    _compare(company, events, killed)
    return killed


class _Run:
    """One process that exchanges."""

    def __init__(
        self, company: Any, site: str, start: Any, chance: random.Random, loop: bool, number: int
    ) -> None:
        self.said = company.folder / f"said-{number}-{site}"
        self.until = time.monotonic() + chance.uniform(0, LONGEST[loop])
        self.loop = loop
        arguments = ["exchange", "--site", str(company.folder / site), "--through",
                     company.addresses[site], *(["--every", "1"] if loop else [])]  # fmt: skip
        self.whole: subprocess.Popen[bytes] | None = None
        if number % 10 == 9:  # as a person starts it, imports and all
            self.until += chance.uniform(0, 2)
            with self.said.open("ab") as said:
                self.whole = subprocess.Popen(
                    [sys.executable, "-m", "tagkit", *arguments], stdout=said, stderr=said
                )
            self.pid = self.whole.pid
        else:
            self.pid = start(self.said, chance.choice(BATCHES), arguments)

    def kill(self, killed: Killed) -> None:
        time.sleep(max(0, self.until - time.monotonic()))
        ended = self.whole is not None and self.whole.poll() is not None
        if not ended:
            try:
                os.kill(self.pid, signal.SIGKILL)
            except ProcessLookupError:
                ended = True
        if self.whole:
            self.whole.wait()
        killed.ended_before += ended
        killed.kills += not ended
        killed.of_them_in_the_loop += self.loop and not ended
        killed.of_them_started_anew += self.whole is not None and not ended
        said = self.said.read_text(encoding="utf-8") if self.said.exists() else ""
        killed.could_not_reach += "exchange can't be reached" in said
        fault = any(
            line.startswith(("Traceback", "refused ")) or "fault of ours" in line
            for line in said.splitlines()
        )
        code = said.rpartition("ended ")[2].strip() if "ended " in said else "0"
        if fault or code not in ("0", "75"):
            killed.faults.append(said[-2000:])
        self.said.unlink(missing_ok=True)


@contextlib.contextmanager
def _starter() -> Iterator[Any]:
    process = subprocess.Popen(
        [sys.executable, str(HERE / "exchange_starter.py")],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert process.stdin and process.stdout

    def start(said: Path, batch: int, arguments: list[str]) -> int:
        print(json.dumps([str(said), batch, arguments]), file=process.stdin, flush=True)
        return int(process.stdout.readline())  # type: ignore[union-attr]

    try:
        yield start
    finally:
        process.stdin.close()
        process.wait(WITHIN)


@contextlib.contextmanager
def _writers(company: Any, pause: float) -> Iterator[list[str]]:
    """A writer at each site; what they confirmed is in the list when the block has ended."""
    confirmed: list[str] = []
    writers, files = [], []
    for number, site in enumerate(SITES):
        file = tempfile.TemporaryFile("w+", encoding="utf-8")  # noqa: SIM115 - closed below
        files.append(file)
        command = [sys.executable, str(HERE / "exchange_writer.py"), str(company.folder / site),
                   "bay 1", SITES[1 - number], str(pause)]  # fmt: skip
        writers.append(subprocess.Popen(command, stdin=subprocess.PIPE, stdout=file))
    try:
        yield confirmed
    finally:
        for writer in writers:
            assert writer.stdin
            writer.stdin.close()
        for writer, file in zip(writers, files, strict=True):
            assert writer.wait(WITHIN) == 0
            file.seek(0)
            confirmed += file.read().splitlines()
            file.close()


def _compare(company: Any, events: list[str], killed: Killed) -> None:
    for site in SITES:
        record = company.site(site)
        own = {event for event in events if (e := record.event(event)) and e.site == site}
        there = {
            f"{epoch}-{sequence}"
            for epoch, sequence in company.admin.execute(
                f"SELECT epoch, sequence FROM tagkit.events_{site.lower()}"
            ).fetchall()
        }
        killed.missing += [event for event in own if event not in there]
        heads = sum(head.sequence for head in record.heads() if head.site == site)
        killed.twice += abs(len(there) - heads)
        killed.grave += company.grave(site)
    records = [company.site(site) for site in SITES]
    for event in events:
        if not any(record.event(event) for record in records):
            killed.missing.append(event)
    for tag in (tag for site in SITES for tag in company.batteries[site]):
        one, two = (record.state(tag) for record in records)
        if one is None or two is None:
            continue
        timelines = [[event.id for event in record.timeline(tag)] for record in records]
        if one.to_json() != two.to_json() or timelines[0] != timelines[1]:
            killed.different.append(tag)
        if len(set(timelines[0])) != len(timelines[0]) or one.events != len(timelines[0]):
            killed.different.append(f"{tag} twice")
