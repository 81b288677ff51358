"""What the history sheet says of a battery, in the reader's words: its facts and its tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, tzinfo

from tagkit.assets.chemistry import CHEMISTRIES
from tagkit.jobs.history import BatteryHistory
from tagkit.jobs.tables import Table
from tagkit.language.words import Words
from tagkit.rules.life import LifeForecast
from tagkit.rules.trend import CellTrend
from tagkit.rules.water import overcharge_ah


def fact_lines(found: BatteryHistory, words: Words) -> list[tuple[str, str]]:
    """Names and values at the head of the sheet."""
    facts, life = found.facts, found.life
    unknown = words("not known")
    weight = found.state.nameplate.get("weight")
    chemistry = CHEMISTRIES.get(facts.chemistry or "", facts.chemistry)
    recorded = unknown
    if life.recorded is not None:
        parts = [words("{recorded} recorded", recorded=f"{life.recorded - life.guessed:.0f}")]
        if life.guessed >= 0.5:
            parts.append(words("about {cycles} in uses not known", cycles=f"{life.guessed:.0f}"))
        if life.before:
            parts.append(words("about {before} before (assumed)", before=f"{life.before:.0f}"))
        recorded = ", ".join(parts)
    used = unknown
    if life.used_percent is not None:
        used = words(
            "{percent}% of {cycles} rated cycles",
            percent=f"{life.used_percent:.0f}", cycles=figure(facts.rated_cycles, words),
        )  # fmt: skip
    rows = [
        (words("maker's serial"), found.state.maker_serial or unknown),
        (words("voltage"), figure(facts.volts, words, "V")),
        (words("number of cells"), figure(facts.cells, words)),
        (words("capacity"), _capacity(found, words)),
        (words("service weight"), words.figure(weight) if weight else unknown),
        (words("chemistry"), words(chemistry) if chemistry else unknown),
        (words("in service since"), words.day(facts.in_service_on) if facts.in_service_on
         else unknown),
        (words("where"), words(found.where.place) if found.where.place else unknown),
        (words("state"), "; ".join(words(one) for one in (found.where.state, *found.where.reasons))),
        (words("last charged"), words.minute(found.where.last_charged_at)
         if found.where.last_charged_at else words("no charge on record")),
        (words("charges"), counted(found.charges, found.charge_kinds, words)),
        (words("uses"), words("{known} known, {unknown} not known",
                              known=len(found.uses), unknown=life.unknown_uses)),
        (words("equivalent full cycles"), recorded),
        (words("life used"), used),
        (words("rated cycles used up"), _span(found.forecast, words)),
        (words("water"), _water(found, words)),
        (words("flags of charges"), counted(None, found.flags_of_charges, words)),
    ]  # fmt: skip
    if test := found.state.capacity_test:
        result = words("no result")
        if test["percent"] is not None:
            result = words("{percent}% of rated", percent=f"{test['percent']:.0f}")
        rows.append((words("capacity test"), f"{result}, {words.day(test['at'])}"))
    return rows


def history_tables(found: BatteryHistory, words: Words) -> list[Table]:
    """The facts, rounds, waterings, uses and works as tables. Water is in litres throughout."""
    at, zone = words("at"), words.zone
    return [
        Table(words("Facts"), (words("what"), words("value")), tuple(fact_lines(found, words))),
        Table(
            words("Now"), (words("grade"), words("what"), words("since"), words("state")),
            tuple((words(one.severity), words(one.sentence), _local(one.at, zone),
                   words(one.state) if one.state else None) for one in found.notices),
        ),
        Table(
            words("Rounds"),
            (at, words("by"), words("median"), words("spread"), words("state of charge %"),
             words("balance"), words("comparable")),
            tuple(
                (
                    _local(one.at, zone), one.by, _rounded(one.judgement.median, 4),
                    _rounded(one.judgement.spread, 4), _rounded(one.judgement.percent, 1),
                    words(one.judgement.due) if one.judgement.due else None,
                    "; ".join(map(words, one.judgement.not_comparable)) or words("yes"),
                )
                for one in found.rounds
            ),
        ),
        Table(
            words("Cells"),
            (at, words("cell"), words("gravity corrected"), words("below or above median"),
             words("flags")),
            tuple(
                (_local(one.at, zone), cell.cell, _rounded(cell.corrected, 4),
                 _rounded(cell.distance, 4), "; ".join(words(flag.code) for flag in cell.flags))
                for one in found.rounds
                for cell in one.judgement.cells
            ),
        ),
        Table(
            words("Water"), (at, words("litres"), words("level before")),
            tuple((_local(moment, zone), amount, words(level) if level else None)
                  for moment, amount, level in found.waterings),
        ),
        Table(words("Uses"), (at, words("discharged %")),
              tuple((_local(moment, zone), percent) for moment, percent in found.uses)),
        Table(words("Work"), (at, words("what"), words("by")),
              tuple((_local(moment, zone), words(what), by) for moment, what, by in found.work)),
    ]  # fmt: skip


def trend_line(trend: CellTrend, limit: float, words: Words) -> str:
    """Where a falling cell is going."""
    fall = words(
        "cell {number}: {change} a month over {rounds} rounds",
        number=trend.cell, change=f"{trend.per_month or 0:+.4f}", rounds=trend.rounds,
    )  # fmt: skip
    if trend.distance is not None and trend.distance <= -limit:
        return f"{fall}; " + words("it is past the limit of {limit}", limit=f"{limit:.3f}")
    if trend.passes_at is None:
        return f"{fall}; " + words(
            "at this pace it stays within the limit of {limit} for ten years", limit=f"{limit:.3f}"
        )
    return f"{fall}; " + words(
        "it passes the limit of {limit} about {day} ({earliest} to {latest})",
        limit=f"{limit:.3f}",
        day=words.day(trend.passes_at),
        earliest=words.day(trend.earliest) if trend.earliest else words("now"),
        latest=words.day(trend.latest) if trend.latest else words("never"),
    )


def counted(total: int | None, parts: Mapping[str, int], words: Words) -> str:
    """A count with its parts; without a total the parts alone, or that there are none."""
    said = ", ".join(
        f"{words(name) if name else words('not said')} {number}"
        for name, number in sorted(parts.items())
    )
    if total is None:
        return said or words("none")
    return f"{total}{f' ({said})' if said else ''}"


def figure(value: float | None, words: Words, unit: str = "") -> str:
    """A figure with its unit, or that it is not known."""
    return words("not known") if value is None else f"{value:g} {unit}".rstrip()


def _capacity(found: BatteryHistory, words: Words) -> str:
    facts = found.facts
    if facts.capacity_ah is None:
        return words("not known")
    if facts.rate_hours is None:
        return words("{capacity} Ah, rate not known", capacity=f"{facts.capacity_ah:g}")
    return words(
        "{capacity} Ah at the {hours} h rate",
        capacity=f"{facts.capacity_ah:g}", hours=f"{facts.rate_hours:g}",
    )  # fmt: skip


def _span(forecast: LifeForecast, words: Words) -> str:
    if forecast.ends_at is None:
        if forecast.reason:
            return f"{words('not known')}: {words(forecast.reason)}"
        return words("beyond a century")
    return words(
        "about {day} ({earliest} to {latest})",
        day=words.month(forecast.ends_at),
        earliest=words.month(forecast.earliest) if forecast.earliest else "?",
        latest=words.month(forecast.latest) if forecast.latest else words("later"),
    )


def _water(found: BatteryHistory, words: Words) -> str:
    drunk: Sequence[float] = [one for _, one, _ in found.waterings if one is not None]
    if not drunk:
        return words("nothing on record")
    parts = [words("{litres} in {count} waterings", litres=words.litres(sum(drunk)),
                   count=len(drunk))]  # fmt: skip
    last = overcharge_ah(drunk[-1], found.facts.cells)
    if last is not None:
        parts.append(words("the last one {ah} Ah of overcharge", ah=f"{last:.0f}"))
    if found.sisters.ratio is not None:
        parts.append(words("{share} × its sisters", share=f"{found.sisters.ratio:.1f}"))
    return "; ".join(parts)


def _local(moment: datetime, zone: tzinfo | None) -> datetime:
    return moment.astimezone(zone)


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
