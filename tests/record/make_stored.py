"""Writes a record with the code at hand, to be kept as test data of that code's schema.

    python tests/record/make_stored.py NAME

Run it with the code of a release on the path, just before its schema or its way of folding is
changed; it writes NAME.db and NAME.json (what must be found in it) into tests/record/stored/.
"""

from __future__ import annotations

import json
import sqlite3
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tagkit.assets.tag import Kind
from tagkit.record.record import Record

STORED = Path(__file__).with_name("stored")


def main(name: str) -> None:
    now = [datetime(2026, 3, 2, 6, 0, tzinfo=UTC)]

    def clock() -> datetime:
        now[0] += timedelta(minutes=7)
        return now[0]

    with tempfile.TemporaryDirectory() as top:
        with Record.create(Path(top) / "site", "QM", clock=clock) as record:
            found = life(record, now)
            found["heads"] = [str(head) for head in record.heads()]
            path = record.path
        with sqlite3.connect(path) as raw:
            raw.execute("PRAGMA journal_mode = DELETE")
            raw.execute("VACUUM")
            found["schema"] = raw.execute("PRAGMA user_version").fetchone()[0]
            found["fold"] = raw.execute(
                "SELECT value FROM meta WHERE name = 'fold_version'"
            ).fetchone()[0]
        raw.close()
        STORED.mkdir(exist_ok=True)
        (STORED / f"{name}.db").write_bytes(path.read_bytes())
        text = json.dumps(found, indent=1, sort_keys=True) + "\n"
        (STORED / f"{name}.json").write_text(text, encoding="utf-8")


def life(record: Record, now: list[datetime]) -> dict[str, object]:
    def log(kind: str, tags: list[str], body: dict[str, object], station: str = "desk") -> str:
        with record.writing("TS", station) as writing:
            return writing.append(kind, tags, body).id

    with record.writing("TS", "desk") as writing:
        trucks = [str(writing.issue(Kind.TRUCK)) for _ in range(2)]
        batteries = [str(writing.issue(Kind.BATTERY)) for _ in range(3)]
        chargers = [str(writing.issue(Kind.CHARGER)) for _ in range(1)]
        for number, tag in enumerate((*trucks, *batteries, *chargers)):
            serial = {"value": f"SN {number}", "source": "catalogue"}
            writing.append("registered", [tag], {"nameplate": {"maker_serial": serial}})
    first, second, third = batteries
    log("authorised", [], {"person": "KM", "initials": "KM", "role": "technician"})
    log("changed", [], {"truck": trucks[0], "battery_in": first}, "bay 1")
    log("charge_started", [], {"battery": second, "charger": chargers[0],
                               "charge_kind": "conventional"})  # fmt: skip
    log("charge_ended", [], {"battery": second, "temperature": {"value": "31", "unit": "°C"}})
    log("watered", [third], {"litres": 4})
    right, now[0] = now[0], now[0] + timedelta(days=3000)
    out = {"truck": trucks[0], "battery_in": second, "battery_out": first,
           "out_to": {"kind": "charger", "name": chargers[0]}}  # fmt: skip
    log("changed", [], out, "bay 1")
    now[0] = right
    wrong = log("seen_at", [], {"battery": third, "place": {"kind": "truck", "name": trucks[1]}})
    with record.writing("TS", "desk") as writing:
        writing.append("voided", [third, trucks[1]], {"event": wrong, "reason": "misread"})
    log("held", [], {"asset": third, "reason": "leak", "safety": True})
    log("retired", [first], {"reason": "old"})
    assets = {}
    for state in record.states():
        assets[state.tag] = {
            "place": state.place["name"] if state.place else None,
            "serial": state.maker_serial,
            "holds": [hold["reason"] for hold in state.holds],
            "retired": state.retired_at is not None,
            "charged_at": state.last_charged_at,
            "changed_at": state.last_changed_at,
            "timeline": [event.id for event in record.timeline(state.tag)],
        }
    return {"assets": assets, "people": sorted(record.people())}


if __name__ == "__main__":
    main(sys.argv[1])
