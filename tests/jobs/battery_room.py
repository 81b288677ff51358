"""A small battery room for the tests of jobs and commands: its site, its fleet, its people."""

from __future__ import annotations

import io
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from unittest.mock import patch

from tagkit.cli.main import main
from tagkit.jobs.charge import ChargeReadings, end_charge, start_charge
from tagkit.jobs.people import authorise
from tagkit.jobs.receive import receive
from tagkit.jobs.site import Site, create_site, open_site
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.record.store import FILE_NAME, identity_of
from tagkit.record.verify import verify
from tagkit.settings import Settings

TRUCKS = """\
Fleet number,Maker's serial,Voltage (V),Battery weight min,Battery weight max,Allowed chemistries
T1,TS-1,48,1000 kg,1200 kg,vented lead-acid
T2,TS-2,48,1000 kg,1200 kg,vented lead-acid
"""
BATTERIES = """\
Maker's serial,Voltage (V),Service weight,Chemistry,Capacity C5 (Ah)
B1,48,1100 kg,vented lead-acid,775
B2,48,1120 kg,vented lead-acid,775
B3,48,1130 kg,vented lead-acid,775
LIGHT,48,880 kg,vented lead-acid,775
SMALL,24,1100 kg,vented lead-acid,775
"""
CHARGERS = """\
Bay,Maker's serial,Output voltage (V),Chemistries,Capacity min (Ah),Capacity max (Ah),Capacity hours
A1,C1,48,vented lead-acid,500,900,5
A2,C2,48,vented lead-acid,500,900,5
A3,C24,24,vented lead-acid,500,900,5
"""


@dataclass(frozen=True)
class Outcome:
    """How a command ended and what it printed."""

    code: int
    out: str
    err: str

    @property
    def data(self) -> dict[str, Any]:
        """The one JSON object on standard output."""
        (line,) = self.out.splitlines()
        found = json.loads(line)
        assert found.pop("schema") == 1
        return dict(found)

    @property
    def objects(self) -> list[dict[str, Any]]:
        """All JSON objects, one a line."""
        return [json.loads(line) for line in self.out.splitlines()]


class Attendant:
    """Somebody at the keyboard who waits for words on the screen before each line typed."""

    def __init__(self, *steps: tuple[str, str]) -> None:
        self.steps = steps
        self.screen: io.TextIOWrapper | None = None
        self.missed: str | None = None

    def __iter__(self) -> Iterator[str]:
        read = 0
        for awaited, typed in self.steps:
            found = -1
            end = time.monotonic() + 150
            while found < 0 and time.monotonic() < end:
                found = self.shown().find(awaited, read)
                time.sleep(0.01)
            if found < 0:
                self.missed = awaited
                return
            read = found + len(awaited)
            yield typed + "\n"

    def shown(self) -> str:
        assert self.screen is not None
        return str(self.screen.buffer.getvalue().decode("utf-8"))  # type: ignore[attr-defined]


def run(*arguments: object, encoding: str = "utf-8", keyboard: Attendant | None = None) -> Outcome:
    """``tagkit ARGUMENTS`` in this process, as when its output goes into a pipe."""
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding=encoding) for _ in range(2))
    if keyboard is not None:
        keyboard.screen = out
    with (
        patch.object(sys, "argv", ["tagkit", *map(str, arguments)]),
        patch.object(sys, "stdin", keyboard or io.StringIO()),
        redirect_stdout(out),
        redirect_stderr(err),
    ):
        try:
            main()
        except SystemExit as ended:
            code = ended.code
    assert code is None or isinstance(code, int)
    texts = []
    for stream in (out, err):
        stream.flush()
        texts.append(stream.buffer.getvalue().decode(encoding))  # type: ignore[attr-defined]
    return Outcome(int(code or 0), *texts)


def process(*arguments: object, **options: Any) -> subprocess.Popen[str]:
    """``tagkit ARGUMENTS`` as a process of its own."""
    environment = {**os.environ, "PYTHONIOENCODING": "utf-8", **options.pop("environment", {})}
    return subprocess.Popen(
        [sys.executable, "-m", "tagkit", *map(str, arguments)],
        stdin=options.pop("stdin", subprocess.DEVNULL),
        stdout=options.pop("output", subprocess.PIPE),
        stderr=subprocess.PIPE,
        text=True,
        encoding="utf-8",
        env=environment,
        **options,
    )


def ended(started: subprocess.Popen[str]) -> Outcome:
    """What became of a process."""
    out, err = started.communicate(timeout=120)
    return Outcome(started.returncode, out or "", err)


def ago(**amount: float) -> datetime:
    """A moment before now, to the second."""
    return datetime.now(UTC).replace(microsecond=0) - timedelta(**amount)


class BatteryRoom:
    """A site with names for its assets: maker's serial, or fleet number of a truck."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        settings = Settings()
        settings = replace(settings, site=replace(settings.site, timezone="Etc/UTC"))
        settings = replace(settings, station=replace(settings.station, by="TS"))
        create_site(folder, "QM", settings).record.close()
        self.tags: dict[str, str] = {}

    def moved_to(self, folder: Path) -> BatteryRoom:
        """The same room elsewhere, as if it had always been there: no copy to be noticed."""
        shutil.copytree(self.folder, folder)
        room = BatteryRoom.__new__(BatteryRoom)
        room.folder, room.tags = folder, dict(self.tags)
        path = folder / FILE_NAME
        with closing(sqlite3.connect(path)) as connection, connection:
            connection.execute(
                "UPDATE meta SET value = ? WHERE name = 'identity'", (identity_of(path),)
            )
        return room

    def __getitem__(self, name: str) -> str:
        return self.tags[name]

    @contextmanager
    def open(self, clock: Callable[[], datetime] | None = None) -> Iterator[Site]:
        with open_site(self.folder, *([clock] if clock else [])) as site:
            yield site

    def run(self, *arguments: object, **options: Any) -> Outcome:
        """A command at this site; names of assets stand for their numbers."""
        numbers = [self.tags.get(str(word), word) for word in arguments]
        return run(*numbers, "--site", self.folder, **options)

    def start(self, *arguments: object, **options: Any) -> subprocess.Popen[str]:
        """A command at this site in a process of its own."""
        numbers = [self.tags.get(str(word), word) for word in arguments]
        return process(*numbers, "--site", self.folder, **options)

    def sheet(self, text: str, name: str = "sheet.csv") -> Path:
        path = self.folder.parent / name
        path.write_text(text, encoding="utf-8", newline="\n")
        return path

    def take_in(self, text: str, *, as_stamped: bool = True, name: str = "sheet.csv") -> None:
        """The rows of a sheet become assets."""
        with self.open() as site:
            received = receive(
                site, self.sheet(text, name), by="TS", station="desk", as_stamped=as_stamped
            )
        assert not received.rejected, received.rejected
        self.learn([row.to_json() for row in received.taken])

    def learn(self, taken: list[dict[str, Any]]) -> None:
        """Remembers the numbers by what a person calls the assets."""
        for row in taken:
            self.tags[row["fleet_number"] or row["maker_serial"]] = row["tag"]

    def charge(
        self,
        *names: str,
        began: float = 20,
        ended: float | None = 12,
        charger: str = "C1",
        **readings: str,
    ) -> None:
        """Each was on the charger between so many hours ago."""
        with self.open() as site:
            for name in names:
                start_charge(
                    site, self[name], self[charger], ChargeReadings(),
                    by="KM", station="bay-1", at=ago(hours=began), answer="as-shown",
                )  # fmt: skip
                if ended is not None:
                    end_charge(
                        site, self[name], ChargeReadings(**readings),
                        by="KM", station="bay-1", at=ago(hours=ended),
                    )  # fmt: skip

    def staff(self) -> None:
        """A supervisor SW, a technician JT and an attendant KM."""
        with self.open() as site:
            for code, role in (("SW", "supervisor"), ("JT", "technician"), ("KM", "attendant")):
                authorise(site, code, "", role, None, None, by="SW", station="desk")

    def state(self, name: str) -> AssetState:
        with self.open() as site:
            found = site.record.state(self[name])
        assert found is not None
        return found

    def place(self, name: str) -> str | None:
        """Where it is: the name of an asset, words, or None."""
        place = self.state(name).place
        names = {tag: name for name, tag in self.tags.items()}
        return names.get(place["name"], place["name"]) if place else None

    def events(self, kind: str) -> list[Event]:
        """All events of a kind, oldest first, cancelled ones too."""
        with self.open() as site:
            found = {
                event.id: event for tag in self.tags.values() for event in site.record.timeline(tag)
            }
        return sorted(
            (event for event in found.values() if event.kind == kind), key=lambda event: event.clock
        )

    def count(self) -> int:
        """Events in the record."""
        with self.open() as site:
            return sum(head.sequence for head in site.record.heads())

    def is_sound(self) -> bool:
        return verify(self.folder) == []
