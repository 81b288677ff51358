"""What the rules of battery care ask about a battery, from its state and its events."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from tagkit.assets.chemistry import WATERED
from tagkit.record.care_bodies import Body, celsius, figure
from tagkit.record.envelope import Event
from tagkit.record.record import Record
from tagkit.record.state import AssetState
from tagkit.rules.cells import CellReading, Circumstances, RoundJudgement, judge_round
from tagkit.rules.electrolyte import GravityScale, gravity_scale
from tagkit.rules.equalize import Equalizing, may_equalize
from tagkit.rules.trend import RoundPoint
from tagkit.rules.water import Watering
from tagkit.settings import Settings
from tagkit.units import UNITS, Quantity


def plain(fact: Any) -> float | None:
    """A stored quantity in its dimension's storage unit; None when unknown or unreadable."""
    if not isinstance(fact, dict) or fact.get("value") is None:
        return None
    unit = fact.get("unit", "")
    try:
        if unit in _STORAGE:
            return float(fact["value"])
        return Quantity.from_stored(fact).base()
    except (ValueError, ArithmeticError, KeyError, TypeError):
        return None


_STORAGE = {"", *(unit.dimension.value for unit in UNITS.values())}


@dataclass(frozen=True)
class BatteryFacts:
    """Figures of one battery; None means unknown.

    ``cells``: those in the case, by which they are numbered; ``jumpered`` ones of them are bridged.
    """

    tag: str
    chemistry: str | None
    volts: float | None
    cells: int | None
    capacity_ah: float | None
    rate_hours: float | None
    kilograms: float | None
    scale: GravityScale
    rated_cycles: float | None
    stop_celsius: float | None
    in_service_on: str | None
    jumpered: tuple[int, ...] = ()
    maker_equalizes: bool | None = None
    """Whether its maker allows equalizing."""

    @property
    def in_series(self) -> int | None:
        """Cells that current flows through: those in the case without the bridged ones."""
        return None if self.cells is None else self.cells - len(self.jumpered)

    @property
    def watered(self) -> bool:
        """Whether it is topped up, hydrometer-tested and equalized."""
        return self.chemistry in WATERED


def battery_facts(state: AssetState, settings: Settings) -> BatteryFacts:
    """The figures that its nameplate has now."""
    plate = state.nameplate

    def stated(name: str) -> Any:
        fact = plate.get(name)
        return fact.get("value") if isinstance(fact, dict) else None

    volts = plain(plate.get("voltage"))
    cells = stated("cells")
    if cells is None and volts is not None and stated("chemistry") not in (None, "lithium"):
        cells = round(volts / 2)  # a lead-acid cell's nominal voltage
    cycles = stated("rated_cycles")
    return BatteryFacts(
        tag=state.tag,
        chemistry=stated("chemistry"),
        volts=volts,
        # What stands in the record after a repair is the number of cells still in the row.
        cells=int(cells) + len(state.jumpered) if cells is not None else None,
        capacity_ah=plain(plate.get("capacity")),
        rate_hours=_number(stated("capacity_rate")),
        kilograms=plain(plate.get("weight")),
        scale=gravity_scale(
            settings.electrolyte,
            plain(plate.get("full_gravity")),
            plain(plate.get("discharged_gravity")),
            plain(plate.get("empty_gravity")),
            plain(plate.get("gravity_temperature")),
        ),
        rated_cycles=_number(cycles) or settings.life.rated_cycles,
        stop_celsius=plain(plate.get("highest_temperature")),
        in_service_on=stated("in_service_on") or stated("made_on"),
        jumpered=tuple(state.jumpered),
        maker_equalizes=stated("equalizing") if isinstance(stated("equalizing"), bool) else None,
    )


def equalizing_of(state: AssetState) -> Equalizing:
    """Whether it may be equalized, by its nameplate."""
    chemistry, allowed = (
        (state.nameplate.get(name) or {}).get("value") for name in ("chemistry", "equalizing")
    )
    return may_equalize(chemistry, allowed if isinstance(allowed, bool) else None)


def waterings_of(state: AssetState, capacity_ah: float | None) -> list[Watering]:
    """The waterings that the state keeps, oldest first."""
    return [
        Watering(
            when(one["at"]),
            one["litres"],
            one["before"],
            one["percent"] * capacity_ah / 100
            if one["percent"] is not None and capacity_ah
            else None,
        )
        for one in state.waterings
    ]


@dataclass(frozen=True)
class Round:
    """A round as it was read, with what the rules say of it."""

    event: str
    at: datetime
    by: str
    extent: str
    readings: tuple[CellReading, ...]
    circumstances: Circumstances
    judgement: RoundJudgement
    confirmed: tuple[int, ...] = ()

    @property
    def point(self) -> RoundPoint | None:
        """For trends; None when it is not comparable."""
        distances = self.judgement.distances
        return RoundPoint(self.at, distances) if distances else None

    @property
    def low_cells(self) -> tuple[int, ...]:
        """Cells that were low or suspect in it."""
        return tuple(
            flag.cell
            for flag in self.judgement.flags
            if flag.cell is not None and flag.code in ("low cell", "suspect cell")
        )


def readings_of(body: Body) -> tuple[CellReading, ...]:
    """The cells of a ``cells_read`` body."""
    unit = body["temperature_unit"]
    return tuple(
        CellReading(
            cell["cell"],
            figure(cell.get("sg")),
            celsius(cell.get("temperature"), unit),
            figure(cell.get("voltage")),
            cell.get("level"),
        )
        for cell in body["cells"]
    )


def circumstances_of(body: Body) -> Circumstances:
    """How a round was taken, also as it was written before there were fields for it."""
    after = body["after_charge"]
    if after is None and body["circumstances"] == "charged and rested":
        after = True
    return Circumstances(
        after_charge=after,
        hours_rested=figure(body["hours_rested"]),
        hours_since_water=figure(body["hours_since_water"]),
        charged_since_water=body["charged_since_water"],
        voltage_taken=body["voltage_taken"],
    )


def round_of(
    event: Event, facts: BatteryFacts, settings: Settings, low_before: Sequence[int] = ()
) -> Round:
    """A ``cells_read`` event, judged."""
    body = event.body
    readings, taken = readings_of(body), circumstances_of(body)
    judged = judge_round(
        readings, facts.scale, settings.cells, settings.electrolyte, taken, low_before
    )
    return Round(
        event.id, when(event.moment), event.by, body["extent"] or "full", readings, taken, judged,
        tuple(body["confirmed"]),
    )  # fmt: skip


def rounds_of(
    record: Record, state: AssetState, facts: BatteryFacts, settings: Settings, most: int = 12
) -> list[Round]:
    """The last full rounds, oldest first, each judged; an equalize charge between two makes a
    cell that stays low suspect."""
    events = [record.event(one) for _, one in state.rounds[-most:]]
    known = [event for event in events if event is not None and event.known and not event.voided]
    return judged_in_order(known, state.done.get("equalize"), facts, settings)


def judged_in_order(
    events: Iterable[Event], equalized: str | None, facts: BatteryFacts, settings: Settings
) -> list[Round]:
    """Rounds oldest first; cells low before the last equalize charge are known to those after."""
    rounds: list[Round] = []
    low_before: tuple[int, ...] = ()
    for event in events:
        passed = equalized is not None and event.moment > equalized
        rounds.append(round_of(event, facts, settings, low_before if passed else ()))
        if not passed:
            low_before = rounds[-1].low_cells
    return rounds


def baselines(state: AssetState, cells: int | None) -> dict[int, datetime]:
    """Cell -> its last repair; acid adjusted in the whole battery counts for every cell."""
    everywhere = state.new_cells.get("all")
    found = {
        cell: when(everywhere) for cell in range(1, (cells or 0) + 1) if everywhere is not None
    }
    for cell, moment in state.new_cells.items():
        if cell != "all":
            found[int(cell)] = max(when(moment), found.get(int(cell), when(moment)))
    return found


def circumstances_now(
    state: AssetState, at: datetime, voltage_taken: str = "at rest"
) -> Circumstances:
    """How a round that is taken at ``at`` is taken, as far as the record tells."""
    after = state.charged_since_use
    place = state.place or {}
    if state.charging or place.get("kind") == "truck":
        after = False
    rested = _hours(state.last_charged_at, at) if after else None
    watered = state.done.get("water")
    mixed = None
    if watered is not None:
        mixed = bool(state.last_charged_at and state.last_charged_at > watered)
    taken = Circumstances(after, rested, _hours(watered, at), mixed)
    return replace(taken, voltage_taken=voltage_taken)  # type: ignore[arg-type]


def when(text: str) -> datetime:
    """A stored moment."""
    return datetime.fromisoformat(text)


def time_text(moment: datetime) -> str:
    """A moment as the states keep it, so that texts sort as times do."""
    from tagkit.record.clock import milliseconds, utc_text

    return utc_text(milliseconds(moment))


def _hours(since: str | None, at: datetime) -> float | None:
    if since is None:
        return None
    return round(max(0.0, (at - when(since)) / timedelta(hours=1)), 1)


def _number(value: Any) -> float | None:
    return float(value) if isinstance(value, (int, float)) else None
