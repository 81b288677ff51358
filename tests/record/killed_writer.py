"""Writes actions into a record until it is killed; says on stdout what is confirmed.

Each line names the events of one action: a change that starts the charge of the battery taken
out (two events in one writing), or a single charge.
"""

from __future__ import annotations

import random
import sys
from pathlib import Path

from tagkit.record.record import Record


def main(folder: str, station: str) -> None:
    record = Record.open(Path(folder))
    batteries = [state.tag for state in record.states() if state.kind == "B"]
    trucks = [state.tag for state in record.states() if state.kind == "T"]
    chargers = [state.tag for state in record.states() if state.kind == "C"]
    print("ready", flush=True)
    while True:
        into, out = random.sample(batteries, 2)
        charger = random.choice(chargers)
        charge = {"battery": out, "charger": charger, "charge_kind": "conventional"}
        change = {
            "truck": random.choice(trucks),
            "battery_in": into,
            "battery_out": out,
            "out_to": {"kind": "charger", "name": charger},
        }
        with record.writing("TS", station) as writing:
            events = [
                writing.append("changed", [], change),
                writing.append("charge_started", [], charge),
            ]
        print(*(event.id for event in events), flush=True)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2])
