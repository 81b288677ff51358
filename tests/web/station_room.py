"""A battery room with a truck and a battery for every test of the station's page."""

from __future__ import annotations

import sys
from pathlib import Path

for folder in ("jobs", "reader/recovery"):  # what the tests of other rooms have made
    sys.path.insert(0, str(Path(__file__).resolve().parents[1] / folder))

from battery_room import CHARGERS, BatteryRoom  # noqa: E402
from tagkit.jobs.people import authorise  # noqa: E402

FIT = [f"F{number}" for number in range(1, 21)]
TRUCKS = [f"T{number}" for number in range(1, 16)]


def station_room(folder: Path) -> BatteryRoom:
    """Trucks T1 to T15 (48 V, 1000 to 1200 kg); batteries F1 … that fit and are ready, LIGHT that
    does not, RESTS … that were charged just now, NEW that nobody has married. TS is at work."""
    room = BatteryRoom(folder)
    room.take_in(
        "Fleet number,Maker's serial,Voltage (V),Battery weight min,Battery weight max,"
        "Allowed chemistries\n"
        + "".join(f"{name},S-{name},48,1000 kg,1200 kg,vented lead-acid\n" for name in TRUCKS)
    )
    head = "Maker's serial,Voltage (V),Service weight,Chemistry,Capacity C5 (Ah)\n"
    fleet = {**dict.fromkeys([*FIT, "RESTS", "RESTS2", "RESTS3"], 1100), "LIGHT": 880}
    room.take_in(
        head + "".join(f"{name},48,{kg} kg,vented lead-acid,775\n" for name, kg in fleet.items())
    )
    room.take_in(f"{head}NEW,48,1100 kg,vented lead-acid,775\n", as_stamped=False)
    room.take_in(CHARGERS)
    with room.open() as site:
        for code, role in (("TS", "supervisor"), ("SW", "supervisor"), ("KM", "attendant")):
            authorise(site, code, "", role, None, None, by="TS", station="desk")
    room.charge(*FIT, "LIGHT")
    room.charge("RESTS", "RESTS2", "RESTS3", began=4, ended=1)
    return room
