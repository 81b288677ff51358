"""The history sheet of a battery: two pages with charts and its QR code, or tables as a file."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from pathlib import Path
from typing import Any

from tagkit.assets.tag import Kind, parse_tag
from tagkit.jobs.ageing import Life, forecast_of, life_of, uses_in
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import (
    BatteryFacts,
    Round,
    battery_facts,
    judged_in_order,
    waterings_of,
    when,
)
from tagkit.jobs.judging import notices_of
from tagkit.jobs.judging_cells import cell_trends
from tagkit.jobs.site import Site
from tagkit.jobs.tables import Table, write_tables
from tagkit.jobs.telling import Telling
from tagkit.jobs.watering import beside_sisters
from tagkit.jobs.whereabouts import Whereabouts, whereabouts_of
from tagkit.record.care_bodies import figure
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.record.words import deed
from tagkit.rules.life import LifeForecast
from tagkit.rules.trend import CellTrend
from tagkit.rules.water import BesideSisters, overcharge_ah, recent_thirst
from tagkit.units import Quantity

CAUTION = (
    "A battery weighs a tonne or more and holds acid; while it charges it frees hydrogen. Only "
    "trained, authorised people change, charge, water or open it: goggles or face shield, "
    "gloves, apron, no flame, rated gear."
)
_WORK = ("capacity_tested", "leakage_tested", "repaired", "inspected", "held", "released",
         "incident", "amended", "married", "registered", "retired", "cleaned")  # fmt: skip


@dataclass(frozen=True)
class BatteryHistory:
    """Everything that the sheet says."""

    state: AssetState
    facts: BatteryFacts
    where: Whereabouts
    life: Life
    forecast: LifeForecast
    rounds: tuple[Round, ...]
    trends: tuple[CellTrend, ...]
    waterings: tuple[tuple[datetime, float | None, str | None], ...]
    sisters: BesideSisters
    overcharge_percent: float | None
    uses: tuple[tuple[datetime, float], ...]
    charges: int
    charge_kinds: dict[str, int]
    flags_of_charges: dict[str, int]
    work: tuple[tuple[datetime, str, str], ...]
    """When, what, who: tests, repairs, inspections, holds, incidents; newest first."""
    notices: tuple[Telling, ...]
    at: datetime

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit report battery --json`` prints it."""
        return {
            "battery": self.state.tag,
            "at": self.at.isoformat(),
            "where": self.where.to_json(),
            "cycles_recorded": self.life.recorded,
            "cycles_before_assumed": self.life.before,
            "life_used_percent": self.life.used_percent,
            "life_ends": _day(self.forecast.ends_at),
            "life_ends_earliest": _day(self.forecast.earliest),
            "life_ends_latest": _day(self.forecast.latest),
            "uses": len(self.uses),
            "uses_unknown": self.life.unknown_uses,
            "charges": self.charges,
            "flags_of_charges": self.flags_of_charges,
            "water_beside_sisters": self.sisters.ratio,
            "rounds": len(self.rounds),
            "now": [one.to_json() for one in self.notices],
        }


def battery_history(site: Site, battery: str) -> BatteryHistory:
    """What the record tells of a battery, judged."""
    state = asset(site.record, battery, Kind.BATTERY)
    facts, now = battery_facts(state, site.settings), site.now()
    events = [one for one in site.record.timeline(state.tag) if not one.voided and one.known]
    full = [
        event
        for event in sorted(events, key=lambda one: one.moment)
        if event.kind == "cells_read" and event.body["extent"] != "pilot"
    ]
    rounds = judged_in_order(full[-60:], state.done.get("equalize"), facts, site.settings)
    drinks = recent_thirst(waterings_of(state, facts.capacity_ah), facts.cells, facts.capacity_ah)
    notices = notices_of(site, state.tag)
    ended = [event for event in events if event.kind == "charge_ended"]
    started = [event for event in events if event.kind == "charge_started"]
    return BatteryHistory(
        state,
        facts,
        whereabouts_of(site, state),
        life_of(state, facts, now),
        forecast_of(site, state, facts, events, now),
        tuple(rounds),
        cell_trends(rounds[-12:], state, facts, site.settings) if rounds else (),
        tuple(
            (event.happened, figure(event.body["litres"]), event.body["before"])
            for event in sorted(events, key=lambda one: one.moment)
            if event.kind == "watered"
        ),
        beside_sisters(site, state.tag, drinks),
        drinks.overcharge_percent,
        tuple(uses_in(state.tag, events)),
        len(ended),
        dict(Counter(event.body["charge_kind"] for event in started)),
        dict(Counter(flag["code"] for event in (*ended, *started) for flag in event.body["flags"])),
        tuple((event.happened, deed(event), event.by) for event in events if _worth(event)),
        tuple(notices),
        now,
    )


def _worth(event: Event) -> bool:
    return event.kind in _WORK


def report_battery(site: Site, battery: str, out: Path) -> BatteryHistory:
    """Writes the sheet: PDF, or CSV, XLSX or JSON with its tables, by the name of ``out``."""
    found = battery_history(site, battery)
    if out.suffix.lower() == ".pdf":
        _paper(site, found, out)
    else:
        write_tables(out, tables_of(found), found.to_json())
    return found


def tables_of(found: BatteryHistory) -> list[Table]:
    """The rounds, waterings, uses and works as tables."""
    return [
        Table("Facts", ("what", "value"), tuple(_facts(found, None))),
        Table(
            "Rounds",
            ("at", "by", "median", "spread", "state of charge %", "balance", "compared"),
            tuple(
                (
                    _minute(one.at), one.by, _rounded(one.judgement.median, 4),
                    one.judgement.spread, _rounded(one.judgement.percent, 1), one.judgement.due,
                    "; ".join(one.judgement.not_comparable) or "yes",
                )
                for one in found.rounds
            ),
        ),
        Table(
            "Cells",
            ("at", "cell", "gravity corrected", "below or above median", "flags"),
            tuple(
                (_minute(one.at), cell.cell, _rounded(cell.corrected, 4), cell.distance,
                 "; ".join(flag.code for flag in cell.flags))
                for one in found.rounds
                for cell in one.judgement.cells
            ),
        ),
        Table("Water", ("at", "litres", "level before"),
              tuple((_minute(at), amount, level) for at, amount, level in found.waterings)),
        Table("Uses", ("at", "discharged %"),
              tuple((_minute(at), percent) for at, percent in found.uses)),
        Table("Work", ("at", "what", "by"),
              tuple((_minute(at), what, by) for at, what, by in found.work)),
    ]  # fmt: skip


def _last_charged(found: BatteryHistory, zone: tzinfo | None) -> str:
    at = found.where.last_charged_at
    return f"{when(at).astimezone(zone):%Y-%m-%d %H:%M}" if at else "never"


def _weight(state: AssetState) -> str:
    """As marked, with the other unit beside it."""
    fact = state.nameplate.get("weight")
    if not fact:
        return "not known"
    marked = Quantity.from_stored(fact)
    return f"{marked} ({marked.rounded_to('kg' if marked.unit == 'lb' else 'lb')})"


def _facts(found: BatteryHistory, zone: tzinfo | None) -> list[tuple[str, str]]:
    """What stands at the head of the sheet."""
    facts, life, forecast = found.facts, found.life, found.forecast
    rows = [
        ("maker's serial", found.state.maker_serial or "not known"),
        ("voltage, cells", f"{_g(facts.volts)} V, {_g(facts.cells)} cells"),
        ("capacity", f"{_g(facts.capacity_ah)} Ah at the {_g(facts.rate_hours)} h rate"),
        ("service weight", _weight(found.state)),
        ("chemistry", facts.chemistry or "not known"),
        ("in service", facts.in_service_on or "not known"),
        ("where", found.where.place or "not known"),
        ("state", "; ".join((found.where.state, *found.where.reasons))),
        ("last charged", _last_charged(found, zone)),
        ("charges", _counted(found.charges, found.charge_kinds)),
        ("uses", f"{len(found.uses)} known, {life.unknown_uses} not known"),
        (
            "equivalent full cycles",
            "not known"
            if life.recorded is None
            else f"{life.recorded:.0f} recorded"
            + (f", about {life.before:.0f} before (assumed)" if life.before else ""),
        ),
        (
            "life used",
            "not known"
            if life.used_percent is None
            else f"{life.used_percent:.0f}% of {_g(facts.rated_cycles)} rated cycles",
        ),
        ("rated cycles used up", _span(forecast)),
        ("water", _water_words(found)),
        ("flags of charges", _counted(None, found.flags_of_charges)),
    ]
    if found.state.capacity_test:
        test = found.state.capacity_test
        percent = "no result" if test["percent"] is None else f"{test['percent']:.0f}% of rated"
        rows.append(("capacity test", f"{percent}, {test['at'][:10]}"))
    return rows


def _water_words(found: BatteryHistory) -> str:
    drunk = [amount for _, amount, _ in found.waterings if amount is not None]
    if not drunk:
        return "nothing on record"
    last = overcharge_ah(drunk[-1], found.facts.cells)
    words = f"{sum(drunk):.1f} l in {len(drunk)} waterings"
    if last is not None:
        words += f"; the last one {last:.0f} Ah of overcharge"
    if found.sisters.ratio is not None:
        words += f"; {found.sisters.ratio:.1f} × its sisters"
    return words


def _paper(site: Site, found: BatteryHistory, out: Path) -> None:
    from tagkit.jobs.charts import bars, lines
    from tagkit.jobs.paper import GREY, MARGIN, Paper, defers

    paper = Paper(site, f"History of {found.state.tag}", defers(site))
    paper.symbol(parse_tag(found.state.tag), paper.width - MARGIN - 29, MARGIN - 3, 30)
    paper.text("Battery history", 11, colour=GREY)
    paper.text(found.state.tag, 24, bold=True)
    name = site.settings.site.name or site.settings.site.code
    zone = site.timezone()
    paper.text(f"{name} · {found.at.astimezone(zone):%Y-%m-%d %H:%M}", 9, colour=GREY)
    paper.y += 5
    rows = _facts(found, zone)
    half = (len(rows) + 1) // 2
    top = paper.y
    _pairs(paper, rows[:half], 0)
    left = paper.y
    paper.y = top
    _pairs(paper, rows[half:], paper.inner / 2)
    paper.y = max(left, paper.y) + 1
    paper.box(CAUTION)
    paper.heading("Now")
    for one in found.notices[:6]:
        paper.text(f"{one.severity}: {one.sentence}{f' ({one.state})' if one.state else ''}", 8.5)
    if not found.notices:
        paper.text("Nothing is flagged or due.", 8.5)
    width = paper.inner
    paper.y += 2
    comparable = [one for one in found.rounds if one.judgement.median is not None]
    low = [
        (one.at, min(cell.corrected for cell in one.judgement.cells if cell.corrected is not None))
        for one in comparable
    ]
    paper.drawing(
        lines(
            width, 62, "Gravity over rounds, at the reference temperature",
            [("median", [(one.at, one.judgement.median or 0.0) for one in comparable]),
             ("lowest cell", low)],
            marks=_repairs(found.state),
        )
    )  # fmt: skip
    paper.drawing(lines(width, 50, "Cells that fall behind: distance from the median",
                        _worst_cells(found.rounds, found.trends),
                        marks=_repairs(found.state)))  # fmt: skip
    paper.new_page()
    names, percents = _by_week(found.uses, found.at)
    paper.drawing(bars(width, 42, "Equivalent full cycles a week", names, percents, form="%.1f"))
    paper.drawing(
        lines(width, 40, "Water, litres at a time",
              [("litres", [(at, amount) for at, amount, _ in found.waterings if amount is not None])],
              form="%.1f", floor=0)
    )  # fmt: skip
    paper.heading("Trends")
    falling = [one for one in found.trends if one.per_month is not None and one.falling]
    for trend in falling[:6]:
        paper.text(
            f"cell {trend.cell}: {trend.per_month or 0:+.4f} a month over {trend.rounds} rounds; passes "
            f"the limit about {_day(trend.passes_at) or 'never'} ({_day(trend.earliest) or 'now'} to "
            f"{_day(trend.latest) or 'never'})",
            8.5,
        )
    if not falling:
        reason = next((one.reason for one in found.trends if one.reason), "")
        paper.text(f"No cell is falling behind.{f' ({reason})' if reason else ''}", 8.5)
    paper.heading("Work and events, newest first")
    room = max(1, int(paper.left / 4.6) - 2)
    paper.table(
        ("when", "what", "by"),
        [
            (f"{at.astimezone(zone):%Y-%m-%d %H:%M}", what[:170], by)
            for at, what, by in found.work[: min(room, 14)]
        ],
        (16, 78, 6),
        size=7.5,
    )
    if len(found.work) > 14:
        paper.text(f"and {len(found.work) - 14} more: tagkit history {found.state.tag}", 7.5)
    paper.save(out)


def _pairs(paper: Any, rows: Sequence[tuple[str, str]], x: float) -> None:
    """Names and values in two columns."""
    from tagkit.jobs.paper import GREY, MARGIN

    for name, value in rows:
        top = paper.y
        paper.at(MARGIN + x, top + 3, name, 8, colour=GREY)
        paper.text(value, 8.5, x=x + 33, width=paper.inner / 2 - 36)
        paper.y = max(paper.y, top + 4) + 0.4


def _worst_cells(
    rounds: Sequence[Round], trends: Sequence[CellTrend]
) -> list[tuple[str, list[tuple[datetime, float]]]]:
    """The three cells that lie lowest, by their distances in comparable rounds."""
    order = sorted(trends, key=lambda one: one.distance if one.distance is not None else 0.0)
    return [
        (
            f"cell {one.cell}",
            [
                (round_.at, round_.judgement.distances[one.cell])
                for round_ in rounds
                if one.cell in round_.judgement.distances
            ],
        )
        for one in order[:3]
    ]


def _repairs(state: AssetState) -> list[tuple[datetime, str]]:
    return [
        (when(at), "acid adjusted" if cell == "all" else f"cell {cell} repaired")
        for cell, at in state.new_cells.items()
    ]


def _by_week(
    uses: Sequence[tuple[datetime, float]], now: datetime, weeks: int = 52
) -> tuple[list[str], list[float]]:
    totals = [0.0] * weeks
    for at, percent in uses:
        ago = int((now - at) / timedelta(days=7))
        if 0 <= ago < weeks:
            totals[weeks - 1 - ago] += percent / 80
    names = [f"{now - timedelta(days=7 * (weeks - 1 - place)):%m-%d}" for place in range(weeks)]
    return names, totals


def _span(forecast: LifeForecast) -> str:
    if forecast.ends_at is None:
        return f"not known: {forecast.reason}" if forecast.reason else "beyond a century"
    return (
        f"about {_day(forecast.ends_at)} ({_day(forecast.earliest) or '?'} to "
        f"{_day(forecast.latest) or 'later'})"
    )


def _counted(total: int | None, parts: dict[str, int]) -> str:
    words = ", ".join(f"{name or 'not said'} {number}" for name, number in sorted(parts.items()))
    if total is None:
        return words or "none"
    return f"{total}{f' ({words})' if words else ''}"


def _day(moment: datetime | None) -> str | None:
    return moment.date().isoformat() if moment else None


def _minute(moment: datetime) -> str:
    return moment.isoformat(timespec="minutes")


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def _g(value: float | None) -> str:
    return "not known" if value is None else f"{value:g}"
