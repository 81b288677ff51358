"""Rounds: what was read cell by cell, and at once what it says.

A critical reading (a reversed cell, one that is low at rest) is asked for by a second press and
then taken; nothing that can be true is refused.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.errors import NeedsAnswer, WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import (
    BatteryFacts,
    Round,
    battery_facts,
    circumstances_now,
    plain,
    readings_of,
    round_of,
    rounds_of,
)
from tagkit.jobs.cell_layout import cell_rows
from tagkit.jobs.judging import catch_up
from tagkit.jobs.judging_cells import (
    cell_trends,
    failing_flags,
    is_full,
    points_of,
    standing_flags,
)
from tagkit.jobs.other_cells import odd_round, other_cells_flag, settled_at
from tagkit.jobs.people import check_authorised
from tagkit.jobs.site import Site
from tagkit.record.bodies import completed
from tagkit.record.care_bodies import EXTENTS, VOLTAGE_TAKEN
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.record.writing import Writing
from tagkit.rules.cells import CellReading, Circumstances
from tagkit.rules.flags import Flag
from tagkit.rules.freezing import FreezingOutlook, freezing_outlook
from tagkit.rules.identity import Likeness, same_cells
from tagkit.rules.readings import (
    DEGREES,
    parse_cell_volts,
    parse_celsius,
    parse_gravity,
    parse_level,
    second_press,
)
from tagkit.rules.trend import CellTrend

CAUTION = (
    "Goggles or face shield, acid-resistant gloves, apron; no jewellery, insulated tools; no "
    "flame or sparks; vent caps back on. Eyewash and shower within 10 s. The maker's "
    "instructions and local codes decide."
)


LONGEST_REST = 10_000.0
"""Hours; a battery that stood longer than a year is not rested, it is stored."""


@dataclass(frozen=True)
class CellWords:
    """What a person keyed in for one cell; empty: not read."""

    cell: int
    gravity: str = ""
    temperature: str = ""
    volts: str = ""
    level: str = ""


@dataclass(frozen=True)
class RoundTaken:
    """A round and what it says. ``event`` is None for one that was only looked at."""

    event: Event | None
    battery: str
    round: Round
    trends: tuple[CellTrend, ...]
    flags: tuple[Flag, ...]
    """Of cells, trends, freezing and identity, the gravest first."""
    freezing: FreezingOutlook
    likeness: Likeness
    rows: tuple[tuple[int, ...], ...]
    """Cell numbers as they lie in the case."""
    held: str | None = None
    """The safety hold that a reversed cell, or one without voltage at rest, opened."""
    on_charge: bool = False
    """Taken as at rest while the record has the battery on charge."""
    unread: int = 0
    """Cells that a full round has left out; how many of them there are is not always known."""
    full: bool = True
    """Whether it counts as a full round: at least half of the cells were read."""

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit round --json`` prints it."""
        judged = self.round.judgement
        return {
            "event": self.event.id if self.event else None,
            "battery": self.battery,
            "at": self.round.at.isoformat(),
            "extent": self.round.extent,
            "unread": self.unread,
            "full": self.full,
            "median": judged.median,
            "spread": judged.spread,
            "state_of_charge": _percent(judged.percent),
            "balance": judged.due,
            "corrected": judged.corrected,
            "not_comparable": list(judged.not_comparable),
            "freezes_at": _celsius(self.freezing.freezes_at),
            "freezing": self.freezing.reason or None,
            "likeness": self.likeness.odds,
            "layout": [list(row) for row in self.rows],
            "cells": [
                {
                    "cell": cell.cell,
                    "gravity": reading.gravity,
                    "temperature": _celsius(reading.celsius),
                    "voltage": None if reading.volts is None
                    else {"value": reading.volts, "unit": "V"},
                    "level": reading.level,
                    "corrected": None if cell.corrected is None else round(cell.corrected, 4),
                    "distance": cell.distance,
                    "flags": [flag.code for flag in cell.flags],
                }
                for cell, reading in zip(judged.cells, self.round.readings, strict=True)
            ],
            "trends": [_trend(trend) for trend in self.trends if trend.per_month is not None],
            "flags": [flag.to_json() for flag in self.flags],
            "held": self.held,
            "on_charge": self.on_charge,
        }  # fmt: skip


def record_round(
    site: Site,
    battery: str,
    words: Sequence[CellWords],
    *,
    extent: str = "full",
    voltage_taken: str = "at rest",
    temperature_unit: str | None = None,
    after_charge: bool | None = None,
    hours_rested: float | None = None,
    hydrometer: str | None = None,
    meter: str | None = None,
    keyed_by: str | None = None,
    note: str | None = None,
    confirmed: Collection[int] = (),
    by: str,
    station: str,
    at: datetime | None = None,
) -> RoundTaken:
    """Record a round. ``after_charge`` and ``hours_rested`` as seen; None: as the record has it.
    ``temperature_unit``: of temperatures without one; None: the site's.

    WrongInput names the cell and what is allowed. NeedsAnswer names critical cells that are not
    ``confirmed``. ``keyed_by`` is the second person, who keyed in what the first one read out.
    """
    with site.record.writing(by=by, station=station, at=at) as writing:
        check_authorised(site, by)
        state = asset(writing, battery, Kind.BATTERY)
        facts = battery_facts(state, site.settings)
        taken = _taken(site, state, at, voltage_taken, after_charge, hours_rested)
        body = _body(facts, words, extent, _degrees(site, temperature_unit), taken)
        critical = _critical(site, body, taken)
        unconfirmed = [flag for flag in critical if flag.cell not in confirmed]
        if unconfirmed:
            cells = ",".join(str(flag.cell) for flag in unconfirmed)
            raise NeedsAnswer(
                "; ".join(flag.sentence for flag in unconfirmed),
                f"Read it again. If it is so, add --confirm {cells}; nothing was logged",
            )
        event = writing.append(
            "cells_read",
            [state.tag],
            {
                **body,
                "hydrometer": hydrometer,
                "meter": meter,
                "keyed_by": keyed_by,
                "note": note,
                "confirmed": sorted({flag.cell for flag in critical if flag.cell is not None}),
            },
        )
        held = _hold_critical(writing, state, critical)
    found = site.record.event(event.id)
    told = round_told(site, state.tag, found or event)
    return replace(told, held=held, on_charge=_on_charge(state, event))


def _on_charge(state: AssetState, taken: Event) -> bool:
    """Whether voltages said to be at rest were read while the battery is on charge by the record."""
    if not state.charging or taken.body["voltage_taken"] != "at rest":
        return False
    began = datetime.fromisoformat(str(state.charging["started_at"]))
    read = any(cell.get("voltage") is not None for cell in taken.body["cells"])
    return read and began <= taken.happened


def _hold_critical(writing: Writing, state: AssetState, critical: Sequence[Flag]) -> str | None:
    """A cell that is reversed, or has no voltage left at rest, holds the battery for safety, once:
    it is neither used nor charged until somebody has inspected it."""
    if not critical:
        return None
    reason = "; ".join(flag.sentence for flag in critical)[:300]
    if any(hold["reason"] == reason for hold in state.holds):
        return None
    body = {"asset": state.tag, "reason": reason, "safety": True}
    return writing.append("held", [state.tag], body).id


def look_at_round(
    site: Site,
    battery: str,
    words: Sequence[CellWords],
    *,
    extent: str = "full",
    voltage_taken: str = "at rest",
    temperature_unit: str | None = None,
    after_charge: bool | None = None,
    hours_rested: float | None = None,
) -> tuple[Round, tuple[Flag, ...]]:
    """The same judged without recording it, while a person still keys in; and the cells that
    will want a second press."""
    state = asset(site.record, battery, Kind.BATTERY)
    facts = battery_facts(state, site.settings)
    taken = _taken(site, state, None, voltage_taken, after_charge, hours_rested)
    body = completed(
        "cells_read", _body(facts, words, extent, _degrees(site, temperature_unit), taken)
    )
    now = site.now()
    judged = _judged(site, body, facts, taken)
    looked = Round("", now, "", extent, readings_of(body), taken, judged)
    return looked, tuple(_critical(site, body, taken))


def round_told(site: Site, battery: str, event: Event) -> RoundTaken:
    """What a recorded round says, beside the rounds before it."""
    catch_up(site)
    state = asset(site.record, battery, Kind.BATTERY)
    facts = battery_facts(state, site.settings)
    rounds = rounds_of(site.record, state, facts, site.settings)
    before = [one for one in rounds if one.event != event.id and one.at <= _at(event)]
    mine = next((one for one in rounds if one.event == event.id), None)
    mine = mine or round_of(event, facts, site.settings)
    full = mine.extent != "pilot"
    trends = cell_trends([*before, mine], state, facts, site.settings) if full else ()
    likeness = Likeness(None, "a pilot round tells nothing of the other cells")
    if full:
        likeness = _likeness(before, mine)
    freezing = freezing_of(site, state, mine, facts)
    flags = list(mine.judgement.flags)
    if full:
        flags += failing_flags([*before, mine], state, facts, site.settings)
        flags += [flag for flag, _ in standing_flags([*before, mine], state, facts)]
    if freezing.flag:
        flags.append(freezing.flag)
    if full:
        flags += _other_cells(site, state, [*before, mine])
    rows = cell_rows(_layout(state), facts.cells or len(mine.readings))
    return RoundTaken(
        event, state.tag, mine, trends, by_gravity(flags), freezing, likeness,
        tuple(tuple(row) for row in rows),
        unread=max(0, (facts.in_series or 0) - len(mine.readings)) if full else 0,
        full=full and is_full(mine, facts),
    )  # fmt: skip


def _other_cells(site: Site, state: AssetState, rounds: Sequence[Round]) -> Iterator[Flag]:
    """Whether they are another battery's cells, and whose by all that is on record now."""
    odd = odd_round(points_of(rounds), settled_at(state))
    row = site.record.outlook().row(state.tag)
    kept = ((row.content.get("cells") or {}).get("odd") if row else None) or {}
    if odd is not None:
        partner = kept.get("with") if kept.get("at") == odd.now.at.isoformat() else None
        if odd.clear or partner is not None:
            yield other_cells_flag(odd.now.at, partner)


def last_round(site: Site, battery: str) -> RoundTaken | None:
    """The last full round of a battery; None when there is none."""
    state = asset(site.record, battery, Kind.BATTERY)
    if not state.rounds:
        return None
    event = site.record.event(state.rounds[-1][1])
    return round_told(site, state.tag, event) if event else None


def by_gravity(flags: Sequence[Flag]) -> tuple[Flag, ...]:
    """Flags once each, the gravest first."""
    order = ("stop", "act", "watch", "note")
    unique = dict.fromkeys(flags)
    return tuple(sorted(unique, key=lambda flag: (order.index(flag.severity), flag.cell or 0)))


def freezing_of(site: Site, state: AssetState, mine: Round, facts: BatteryFacts) -> FreezingOutlook:
    """Whether it freezes where it works, at the gravity to be expected after a shift."""
    gravities = sorted(one.gravity for one in mine.readings if one.gravity is not None)
    warmths = sorted(one.celsius for one in mine.readings if one.celsius is not None)
    told = state.last_discharge
    use = float(told["percent"]) if told else site.settings.charging.deepest_percent
    return freezing_outlook(
        gravities[len(gravities) // 2] if gravities and facts.watered else None,
        warmths[len(warmths) // 2] if warmths else None,
        works_at(site, state),
        use,
        facts.scale,
        site.settings.electrolyte,
    )


def works_at(site: Site, state: AssetState) -> float:
    """Coldest place where its truck works, °C: as the truck it is in or was in states it."""
    place = state.place or {}
    truck = place.get("name") if place.get("kind") == "truck" else None
    if truck is None and state.last_change:
        event = site.record.event(state.last_change)
        truck = event.body.get("truck") if event else None
    found = site.record.state(truck) if truck else None
    stated = plain(found.nameplate.get("works_at")) if found else None
    return site.settings.charging.working_celsius if stated is None else stated


def _taken(
    site: Site, state: AssetState, at: datetime | None, voltage_taken: str,
    after_charge: bool | None, hours_rested: float | None,
) -> Circumstances:  # fmt: skip
    if voltage_taken not in VOLTAGE_TAKEN:
        raise WrongInput(
            f"“{voltage_taken}” is no way to take a voltage", f"One of: {', '.join(VOLTAGE_TAKEN)}",
            "--voltage-taken",
        )  # fmt: skip
    taken = circumstances_now(state, at or site.now(), voltage_taken)
    if after_charge is not None:
        taken = replace(taken, after_charge=after_charge)
    if hours_rested is not None:
        if not 0 <= hours_rested <= LONGEST_REST:  # also what is no number at all
            raise WrongInput(
                f"{hours_rested:g} h is no time of rest", f"Between 0 and {LONGEST_REST:g} h",
                "--rested",
            )  # fmt: skip
        taken = replace(taken, hours_rested=hours_rested)
    return taken


def _degrees(site: Site, unit: str | None) -> str:
    """The unit of temperatures that were written without one."""
    if unit is None:
        return "°F" if site.settings.site.units == "us" else "°C"
    if unit not in DEGREES:
        raise WrongInput(
            f"“{unit}” is no unit of electrolyte temperature", f"One of: {', '.join(DEGREES)}"
        )
    return unit


def _body(
    facts: BatteryFacts, words: Sequence[CellWords], extent: str, temperature_unit: str,
    taken: Circumstances,
) -> dict[str, Any]:  # fmt: skip
    if extent not in EXTENTS:
        raise WrongInput(f"“{extent}” is no round", f"One of: {', '.join(EXTENTS)}")
    cells = [_cell(one, facts, temperature_unit) for one in words]
    cells = [cell for cell in cells if len(cell) > 1]
    if not cells:
        raise WrongInput("nothing was read", "Give at least one cell with a reading")
    numbers = [cell["cell"] for cell in cells]
    twice = {number for number in numbers if numbers.count(number) > 1}
    if twice:
        raise WrongInput(f"cell {min(twice)} is there twice", "Give each cell once")
    return {
        "extent": extent,
        "cells": sorted(cells, key=lambda cell: int(cell["cell"])),
        "after_charge": taken.after_charge,
        "hours_rested": taken.hours_rested,
        "hours_since_water": taken.hours_since_water,
        "charged_since_water": taken.charged_since_water,
        "voltage_taken": taken.voltage_taken,
        "temperature_unit": "°C",
    }


def _cell(words: CellWords, facts: BatteryFacts, temperature_unit: str) -> dict[str, Any]:
    most = facts.cells
    if words.cell < 1 or (most is not None and words.cell > most):
        raise WrongInput(
            f"{facts.tag} has no cell {words.cell}",
            f"Cells are numbered from the positive post, 1 to {most}" if most else "Count from 1",
        )
    cell: dict[str, Any] = {"cell": words.cell}
    if words.gravity and not facts.watered and facts.chemistry is not None:
        raise WrongInput(
            f"cell {words.cell}: {facts.tag} is {facts.chemistry}, its gravity can't be read",
            "Give voltages only",
        )
    try:
        if words.gravity:
            cell["sg"] = round(parse_gravity(words.gravity), 4)
        if words.temperature:
            cell["temperature"] = round(parse_celsius(words.temperature, temperature_unit), 2)
        if words.volts:
            cell["voltage"] = round(parse_cell_volts(words.volts), 3)
        if words.level:
            cell["level"] = parse_level(words.level)
    except WrongInput as error:
        error.where = f"cell {words.cell}"
        raise
    return cell


def _critical(site: Site, body: Mapping[str, Any], taken: Circumstances) -> list[Flag]:
    at_rest = taken.voltage_taken == "at rest"
    found = [
        second_press(cell["voltage"], site.settings.cells, at_rest, cell["cell"])
        for cell in body["cells"]
        if cell.get("voltage") is not None
    ]
    return [flag for flag in found if flag is not None]


def _judged(site: Site, body: Mapping[str, Any], facts: BatteryFacts, taken: Circumstances) -> Any:
    from tagkit.rules.cells import judge_round

    readings: tuple[CellReading, ...] = readings_of(dict(body))
    return judge_round(readings, facts.scale, site.settings.cells, site.settings.electrolyte, taken)


def _likeness(before: Sequence[Round], mine: Round) -> Likeness:
    point = mine.point
    if point is None:
        return Likeness(None, "this round is not comparable")
    points = [one for earlier in before if (one := earlier.point) is not None]
    return same_cells(points, point)


def _layout(state: AssetState) -> str | None:
    fact = state.nameplate.get("cell_layout")
    return str(fact["value"]) if fact else None


def _at(event: Event) -> datetime:
    return datetime.fromisoformat(event.moment)


def _trend(trend: CellTrend) -> dict[str, Any]:
    def day(moment: datetime | None) -> str | None:
        return moment.date().isoformat() if moment else None

    return {
        "cell": trend.cell,
        "per_month": None if trend.per_month is None else round(trend.per_month, 5),
        "rounds": trend.rounds,
        "falling": trend.falling,
        "passes_on": day(trend.passes_at),
        "earliest": day(trend.earliest),
        "latest": day(trend.latest),
    }


def _percent(value: float | None) -> dict[str, Any] | None:
    return None if value is None else {"value": round(value, 1), "unit": "%"}


def _celsius(value: float | None) -> dict[str, Any] | None:
    return None if value is None else {"value": round(value, 1), "unit": "°C"}
