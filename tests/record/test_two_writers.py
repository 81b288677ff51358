"""Two stations log a change of the same battery at the same moment: one of them is told."""

from __future__ import annotations

import subprocess
import sys
from typing import Any

from tagkit.record.verify import verify

PROGRAM = """
import sys
from pathlib import Path
from tagkit.errors import TagkitError
from tagkit.record.record import Record

folder, truck, battery, by, station, last = sys.argv[1:]
record = Record.open(Path(folder))
print("ready", flush=True)
sys.stdin.readline()
try:
    with record.writing(by, station) as writing:
        body = {"truck": truck, "battery_in": battery}
        writing.append("changed", [], body, {battery: last})
except TagkitError as error:
    print(error)
    sys.exit(int(error.exit_code))
"""


def test_one_wins_and_the_other_is_told_who_did_what(depot: Any) -> None:
    battery = str(depot.batteries[0])
    for _ in range(5):
        last = depot.record.state(battery).last_event
        stations = [("TS", "bay 1", depot.trucks[0]), ("KM", "bay 2", depot.trucks[1])]
        racers = [
            subprocess.Popen(
                [sys.executable, "-c", PROGRAM, str(depot.folder), str(truck), battery, by,
                 station, last],
                stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
            )
            for by, station, truck in stations
        ]  # fmt: skip
        for racer in racers:
            assert racer.stdout and racer.stdout.readline() == "ready\n"
        for racer in racers:
            assert racer.stdin
            racer.stdin.write("go\n")
            racer.stdin.flush()
        said = [racer.communicate()[0] for racer in racers]
        codes = [racer.returncode for racer in racers]
        assert sorted(codes) == [0, 13], said
        by, station, truck = stations[codes.index(0)]
        loser = said[codes.index(13)]
        assert f"{by} put {battery} into {truck}" in loser
        assert f"station {station}" in loser
        assert depot.place(depot.batteries[0]) == str(truck)
    assert verify(depot.folder) == []
