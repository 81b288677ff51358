"""Quillmoor's demo year as the rules see it. Its physics are the demo's own, not the bench's."""

from __future__ import annotations

from datetime import UTC, datetime

from tagkit.assets.battery import Battery
from tagkit.assets.kinds import AnyPlate
from tagkit.assets.stated import Source
from tagkit.demo.happenings import Happening
from tagkit.demo.history import year_of
from tagkit.demo.roster import first_tags, fleet_sheets
from tagkit.intake.delivery import read_delivery
from tagkit.intake.sheet import read_sheet
from tagkit.rules.cells import CellReading, Circumstances, judge_round
from tagkit.rules.electrolyte import GravityScale
from tagkit.rules.readings import parse_gravity
from tagkit.rules.trend import RoundPoint
from tagkit.rules.water import Watering
from tests.bench.care.findings import Past
from tests.bench.care.reader import CELLS, ELECTROLYTE

UNTIL = datetime(2026, 5, 20, 10, 40, tzinfo=UTC)


def quillmoor() -> dict[str, Past]:
    """Its vented batteries, by tag."""
    plates = _plates()
    tags = first_tags()
    happened = year_of(plates, tags, UNTIL)
    found = {}
    for name, plate in plates.items():
        if not isinstance(plate, Battery) or plate.chemistry is None:
            continue
        if plate.chemistry.value != "vented" or plate.cells is None or plate.capacity is None:
            continue
        tag = str(tags[name])
        capacity = plate.capacity.value.base()
        own = [event for event in happened if tag in event.tags]
        kind = f"{plate.cells.value}/{capacity:.0f}"
        found[tag] = Past(
            kind, plate.cells.value, capacity, _rounds(own), _waterings(own, tag, capacity)
        )
    return found


def _plates() -> dict[str, AnyPlate]:
    """By the same names as the tags, because tags are issued in the order of the sheets."""
    rows = [
        row.plate
        for sheet in fleet_sheets()
        for row in read_delivery(read_sheet(sheet.path), source=Source.STAMPED).rows
    ]
    return dict(zip(first_tags(), rows, strict=True))


def _rounds(own: list[Happening]) -> list[RoundPoint]:
    points = []
    for event in own:
        if event.kind != "cells_read" or event.body.get("extent") == "pilot":
            continue
        readings = [
            CellReading(
                cell["cell"], parse_gravity(cell["sg"]), float(cell["temperature"]),
                float(cell["voltage"]), cell["level"],
            )
            for cell in event.body["cells"]
        ]  # fmt: skip
        taken = Circumstances(after_charge=True, hours_rested=event.body["hours_rested"])
        judged = judge_round(readings, GravityScale(), CELLS, ELECTROLYTE, taken)
        if judged.distances:
            points.append(RoundPoint(event.at, judged.distances))
    return points


def _waterings(own: list[Happening], tag: str, capacity: float) -> list[Watering]:
    """Ah since the last watering: what gauges told, and as much for each use they didn't."""
    waterings = []
    told: list[float] = []
    uses = 0
    for event in sorted(own, key=lambda event: event.at):
        if event.kind == "changed" and event.body.get("battery_out") == tag:
            uses += 1
            if event.body.get("discharged_percent") is not None:
                told.append(event.body["discharged_percent"])
        elif event.kind == "watered":
            ampere_hours = uses * sum(told) / len(told) / 100 * capacity if told else None
            litres = float(event.body["litres"])
            waterings.append(Watering(event.at, litres, event.body["before"], ampere_hours))
            told, uses = [], 0
    return waterings
