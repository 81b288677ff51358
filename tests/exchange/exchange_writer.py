"""Records at one site until its stdin ends; says on stdout which events are confirmed.

Batteries are changed, charged and moved, those of the other site too, which thereby are followed
here; some are sent there and back.
"""

from __future__ import annotations

import random
import sys
import threading
from pathlib import Path

from tagkit.record.record import Record


def main(folder: str, station: str, other: str, pause: float) -> None:
    ended = threading.Event()
    threading.Thread(target=lambda: (sys.stdin.read(), ended.set()), daemon=True).start()
    chance = random.Random(station)
    with Record.open(Path(folder)) as record:
        trucks = [s.tag for s in record.states() if s.kind == "T" and f"-{record.site}-" in s.tag]
        while not ended.wait(chance.uniform(0, 2 * pause)):
            batteries = [state.tag for state in record.states() if state.kind == "B"]
            into, out = chance.sample(batteries, 2)
            change = {"truck": chance.choice(trucks), "battery_in": into, "battery_out": out}
            stand = {"kind": "stand", "name": f"stand {chance.randrange(9)}"}
            away = {"kind": "elsewhere", "name": f"site {other}"}
            with record.writing("TS", station) as writing:
                events = [
                    writing.append("changed", [], change),
                    writing.append("moved", [], {"battery": out, "place": stand}),
                ]
                if chance.random() < 0.2:
                    events.append(writing.append("moved", [], {"battery": out, "place": away}))
            print(*(event.id for event in events), flush=True)


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], sys.argv[3], float(sys.argv[4]))
