"""From a played depot to what the rules take: judged rounds, waterings."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta

from tagkit.rules.cells import CellReading, Circumstances, RoundJudgement, judge_round
from tagkit.rules.electrolyte import GravityScale
from tagkit.rules.trend import RoundPoint
from tagkit.rules.water import Watering
from tagkit.settings import CellSettings, ElectrolyteSettings
from tests.bench.care.depot import Label
from tests.bench.care.reading import Taken

START = datetime(2030, 1, 1, tzinfo=UTC)
CELLS, ELECTROLYTE = CellSettings(), ElectrolyteSettings()


def moment(day: float) -> datetime:
    """The moment of a day of the record."""
    return START + timedelta(days=day)


def judged(taken: Taken) -> RoundJudgement:
    """A round as the rules judge it."""
    readings = [
        CellReading(cell, None if math.isnan(gravity) else gravity, celsius)
        for cell, (gravity, celsius) in enumerate(
            zip(taken.gravities.tolist(), taken.celsius.tolist(), strict=True), start=1
        )
    ]
    taken_so = Circumstances(
        after_charge=taken.charged_fully,
        hours_rested=8.0,
        hours_since_water=taken.hours_since_water,
        charged_since_water=None if taken.hours_since_water is None else False,
    )
    return judge_round(readings, GravityScale(), CELLS, ELECTROLYTE, taken_so)


def points(label: Label) -> list[RoundPoint]:
    """The comparable rounds of a number, oldest first."""
    found = []
    for day, taken in label.rounds:
        distances = judged(taken).distances
        if distances:
            found.append(RoundPoint(moment(day), distances))
    return found


def waterings(label: Label) -> list[Watering]:
    """The waterings of a number, oldest first."""
    return [
        Watering(moment(topped.day), topped.litres, topped.before, topped.discharged_ah)
        for topped in label.waterings
    ]
