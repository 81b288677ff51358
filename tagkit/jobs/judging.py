"""What the state of an asset means for today: where it stands in the rotation, and everything
that is to be told of it, each from a moment on.

Judged by the rules under the site's settings and kept in the record's outlook, so that the
morning list and the rotation ask an index instead of ten thousand states. Whatever has changed
since is judged again before an answer is given.
"""

from __future__ import annotations

import dataclasses
import hashlib
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.jobs.assets import is_married
from tagkit.jobs.care_facts import (
    BatteryFacts,
    Round,
    baselines,
    battery_facts,
    rounds_of,
    time_text,
    waterings_of,
    when,
)
from tagkit.jobs.readiness import readiness_facts
from tagkit.jobs.site import Site
from tagkit.record.outlook import NO_CELL, Notice, Outlook, OutlookTables
from tagkit.record.record import LONGEST_HOLD
from tagkit.record.state import AssetState
from tagkit.rules.charge import standing_flags
from tagkit.rules.due import battery_dues, due_on
from tagkit.rules.equalize import equalize_due
from tagkit.rules.failing import failing_cells
from tagkit.rules.flags import SEVERITIES, Flag, Severity
from tagkit.rules.identity import same_cells
from tagkit.rules.readiness import readiness
from tagkit.rules.trend import CellTrend, battery_trends
from tagkit.rules.water import (
    Thirst,
    Watering,
    against_sisters,
    found_bare,
    recent_thirst,
    watering_due,
)
from tagkit.settings import Settings

JUDGING = "4"
"""Raised when the judging gives other results from the same states."""

RANK: dict[Severity, int] = {severity: rank for rank, severity in enumerate(reversed(SEVERITIES))}
STOP, ACT, WATCH, NOTE = (RANK[one] for one in ("stop", "act", "watch", "note"))
SEVERITY = {rank: severity for severity, rank in RANK.items()}

DUES = (
    "water", "equalize", "round", "pilot", "inspection", "cleaning", "leakage", "capacity test",
    "check", "gear inspection",
)  # fmt: skip
"""Codes of what falls due, apart from flags."""

_MOMENT = timedelta(minutes=1)


def catch_up(site: Site, progress: Callable[[int, int], None] | None = None) -> int:
    """Judges again every asset whose state or settings have changed since; how many."""
    under = settings_mark(site.settings)
    outlook = site.record.outlook()
    if outlook.judged_under() != under:
        with site.record.judging() as tables:
            tables.judge_all(under)
    judged = 0
    while waiting := outlook.unjudged(2000):
        while waiting:
            judged += _a_few(site, waiting, under)
            if progress:
                progress(judged, judged + len(waiting))
    return judged


def settings_mark(settings: Settings) -> str:
    """What tells one set of settings from another, for what is judged by them."""
    parts = [repr(getattr(settings, entry.name)) for entry in dataclasses.fields(settings)
             if entry.name in _USED]  # fmt: skip
    return hashlib.sha256("\n".join([JUDGING, *parts]).encode()).hexdigest()[:16]


_USED = (
    "electrolyte", "cells", "water", "charging", "life", "schedule", "readiness", "condition",
)  # fmt: skip


def _a_few(site: Site, waiting: list[str], under: str) -> int:
    """Judges some of ``waiting``, for as long as others may be kept from writing."""
    judged = 0
    with site.record.judging() as tables:
        end = time.monotonic() + LONGEST_HOLD
        while waiting and (judged == 0 or time.monotonic() < end):
            tag = waiting.pop()
            state = site.record.state(tag)
            if state is None or state.registered_at is None:
                tables.keep(tag, None, ())
            else:
                before = tables.row(tag)
                kept = before.content if before else {}
                tables.keep(tag, *judge_asset(site, state, kept, tables, under))
            judged += 1
    return judged


def judge_asset(
    site: Site, state: AssetState, kept: dict[str, Any], tables: OutlookTables, under: str
) -> tuple[Outlook, list[Notice]]:
    """The row of an asset and its notices. ``kept`` is what an earlier judging kept of it,
    ``under`` the mark of the settings."""
    if state.kind == Kind.BATTERY.value:
        return _battery(site, state, kept, tables, under)
    standing = "retired" if state.retired_at else "held" if state.holds else "in service"
    notices = [*_always(state)] if state.retired_at is None else []
    if state.retired_at is None:
        notices += _gear(state)
    return Outlook(state.tag, state.kind, standing), notices


def _battery(
    site: Site, state: AssetState, kept: dict[str, Any], tables: OutlookTables, under: str
) -> tuple[Outlook, list[Notice]]:
    settings = site.settings
    facts = battery_facts(state, settings)
    standing, ready_at = standing_of(state, settings)
    if state.retired_at is not None:
        notices = [] if state.receipt else [_receipt(state)]
        return Outlook(state.tag, state.kind, standing), notices
    cells = _cells_judged(site, state, facts, kept, under)
    waterings = waterings_of(state, facts.capacity_ah)
    drinks = recent_thirst(waterings, facts.cells, facts.capacity_ah)
    sisters = f"{facts.chemistry} {facts.volts} {facts.capacity_ah}" if facts.watered else None
    notices = [
        *_always(state),
        *_standing(state, settings, standing),
        *_charge(state),
        *_tests(state),
        *(Notice(state.tag, *one) for one in cells["notices"]),
        *_dues(state, facts, settings, cells["balance"]),
        *_thirsty(state, waterings, drinks, sisters, settings, tables),
    ]
    row = Outlook(
        state.tag, state.kind, standing, ready_at, ready_at, facts.volts, facts.kilograms,
        sisters, drinks.litres_a_day, {"cells": cells},
    )  # fmt: skip
    return row, notices


def standing_of(state: AssetState, settings: Settings) -> tuple[str, str | None]:
    """Where a battery stands in the rotation, in a word; charged ones with when they are ready."""
    if state.retired_at:
        return "retired", None
    if state.holds:
        return "held", None
    if state.unknown_kinds or not is_married(state):
        return "not confirmed", None
    if state.charging:
        return "on charge", None
    if (state.place or {}).get("kind") == "truck":
        return "in use", None
    ended = state.last_charged_at
    now = when(max(filter(None, (ended, state.last_event_at, state.registered_at))))
    ready = readiness(readiness_facts(state, None, now), settings.readiness, now, "use")
    if ready.ready:
        return "charged", time_text(_rested(state, settings, now))
    if ready.ready_at is not None:
        return "charged", time_text(ready.ready_at)
    return ready.reasons[0].code, None


def _rested(state: AssetState, settings: Settings, now: datetime) -> datetime:
    """When its rest was over: the readiness rule asked at the end of its charge."""
    ended = when(state.last_charged_at) if state.last_charged_at else now
    then = readiness(readiness_facts(state, None, ended), settings.readiness, ended, "use")
    return min(now, then.ready_at or ended)


def _always(state: AssetState) -> Iterator[Notice]:
    """What any asset can have: holds, to-dos, entries that can't be read, a worn label."""
    for safety, rank, code in ((True, STOP, "held for safety"), (False, ACT, "held")):
        holds = [hold for hold in state.holds if (hold["kind"] == "safety") == safety]
        if holds:
            reasons = "; ".join(hold["reason"] for hold in holds)
            yield Notice(state.tag, code, min(hold["at"] for hold in holds), rank,
                         f"{code}: {reasons}")  # fmt: skip
    if state.unknown_kinds:
        kinds = ", ".join(state.unknown_kinds)
        yield Notice(state.tag, "not understood", state.last_event_at or "", ACT,
                     f"the record has entries that this version can't read ({kinds})")  # fmt: skip
    for place, todo in enumerate(state.todos, start=1):
        yield Notice(state.tag, "to do", todo["at"], WATCH, f"to do: {todo['what']}", place)
    label = state.label_condition
    if label and label["verdict"] != "good":
        rank = ACT if label["verdict"] == "reprint now" else NOTE
        yield Notice(state.tag, "label", label["at"], rank, f"label: {label['verdict']}")
    if state.unsettled:
        yield Notice(state.tag, "unsettled", state.married_at or "", ACT,
                     "what is stamped on it differs from the sheet, and nobody has settled it")  # fmt: skip
    if not is_married(state) and state.kind in ("B", "T"):
        yield Notice(state.tag, "not married", state.registered_at or "", NOTE,
                     "label and case have not been matched: every verdict is not confirmed")  # fmt: skip


def _gear(state: AssetState) -> Iterator[Notice]:
    """Trucks, chargers, lifting gear and room equipment."""
    plate = state.nameplate
    if state.kind == Kind.LIFTING.value and (due := plate.get("inspection_due")):
        day = (f"{due['value']}-01-01")[:10] if len(due["value"]) == 4 else due["value"]
        day = f"{day}-01" if len(day) == 7 else day
        yield Notice(state.tag, "gear inspection", f"{day}T00:00:00.000+00:00", ACT,
                     f"its inspection is due on {due['value']}: no lifting after that")  # fmt: skip
    every = plate.get("check_every")
    if state.kind == Kind.ROOM.value and every:
        what = plate["check"]["value"] if plate.get("check") else "check"
        yield from _due(state, "check", float(every["value"]), what)
    found = state.inspection
    if found and found["passed"] is False:
        findings = "; ".join(found["findings"]) or "not passed"
        yield Notice(state.tag, "check failed", found["at"], ACT, f"did not pass: {findings}")


def _due(state: AssetState, what: str, days: float, words: str) -> Iterator[Notice]:
    last = state.done.get(what)
    now = when(state.registered_at or state.last_event_at or "")
    due = due_on(what, state.tag, when(last) if last else None, days, now, 0)
    if due is None:
        return
    if due.at is None:
        yield Notice(state.tag, what, state.registered_at or "", NOTE,
                     f"{words}: none is on record yet")  # fmt: skip
    else:
        yield Notice(state.tag, what, time_text(due.at), WATCH, f"{words}, each {days:g} days")


def _receipt(state: AssetState) -> Notice:
    return Notice(state.tag, "no receipt", state.retired_at or "", NOTE,
                  "it has left the fleet without a recycler's receipt on record")  # fmt: skip


def _standing(state: AssetState, settings: Settings, standing: str) -> Iterator[Notice]:
    """A battery that stands: discharged, or without a charge for long."""
    if standing in ("in use", "on charge"):
        return
    since_text = max(
        (one for one in (state.last_used_at, state.last_charged_at) if one),
        default=state.registered_at,
    )
    if since_text is None:
        return
    since = when(since_text)
    told = state.last_discharge
    after_use = state.charged_since_use is False
    percent = 100.0 - float(told["percent"]) if after_use and told else None
    # The rule is asked for the first moment at which each flag can stand.
    stored = 24 * settings.charging.stored_days
    for code, hours in (
        ("standing discharged", settings.charging.standing_hours),
        ("freshening due", stored),
    ):
        at = since + timedelta(hours=hours) + _MOMENT
        flags = standing_flags(
            at,
            settings.charging,
            state_percent=percent,
            standing_since=since,
            last_charged_at=when(state.last_charged_at) if state.last_charged_at else None,
        )
        yield from (_flag(state, flag, time_text(at)) for flag in flags if flag.code == code)


def _charge(state: AssetState) -> Iterator[Notice]:
    """The flags of the last charge, and of the one under way."""
    for entry in (state.last_charge, state.charging):
        at = (entry or {}).get("at") or (entry or {}).get("started_at") or ""
        for flag in (entry or {}).get("flags") or ():
            yield Notice(state.tag, flag["code"], at, RANK[flag["severity"]], flag["sentence"])


def _tests(state: AssetState) -> Iterator[Notice]:
    test = state.capacity_test
    if test and test["life_over"]:
        yield Notice(state.tag, "life over", test["at"], ACT,
                     f"its capacity is {test['percent']:.0f}% of rated: life is over")  # fmt: skip
    leak = state.leakage_test
    if leak and leak["passes"] is False:
        yield Notice(state.tag, "case leakage", leak["at"], ACT,
                     f"{leak['ohm']:,.0f} ohm from case to post is too little: wash and dry it, "
                     "then measure again")  # fmt: skip
    if state.jumpered:
        cells = ", ".join(map(str, state.jumpered))
        yield Notice(state.tag, "jumpered", state.done.get("repair", ""), ACT,
                     f"cell {cells} is jumpered: fewer volts, so it fits no truck as it was")  # fmt: skip
    found = state.inspection
    if found and found["passed"] is False and not state.holds:
        findings = "; ".join(found["findings"]) or "not passed"
        yield Notice(state.tag, "inspection failed", found["at"], ACT, f"inspection: {findings}")


def _dues(
    state: AssetState, facts: BatteryFacts, settings: Settings, balance: str | None
) -> Iterator[Notice]:
    """What falls due on a battery."""
    done = {what: when(at) for what, at in state.done.items()}
    now = when(state.last_event_at or state.registered_at or "")
    water = watering_due(
        waterings_of(state, facts.capacity_ah), facts.cells, facts.capacity_ah, settings.water
    )
    asked = equalize_due(
        facts.chemistry, done.get("equalize"), _cycles_since(state), balance, settings.schedule, now
    )
    for due in battery_dues(
        state.tag, facts.chemistry, done, settings.schedule, now,
        water_at=water.at if facts.watered else None,
    ):  # fmt: skip
        if due.what == "equalize" and asked.due:
            continue
        if due.at is None:
            yield Notice(state.tag, due.what, state.registered_at or "", NOTE,
                         f"{_WORDS[due.what]}: none is on record yet")  # fmt: skip
        else:
            yield Notice(state.tag, due.what, time_text(due.at), WATCH, _WORDS[due.what])
    if asked.due and (state.done.get("equalize") or balance == "equalize"):
        at = min(now, asked.at) if asked.at else now
        yield Notice(state.tag, "equalize", time_text(at), WATCH,
                     f"equalize charge: {'; '.join(asked.reasons)}")  # fmt: skip
    elif asked.due:
        yield Notice(state.tag, "equalize", state.registered_at or "", NOTE,
                     "equalize charge: none is on record yet")  # fmt: skip


_WORDS = {
    "water": "water it after its next charge",
    "equalize": "equalize charge",
    "round": "full round, every cell",
    "pilot": "pilot cell",
    "inspection": "inspection",
    "cleaning": "wash and neutralise",
    "leakage": "case leakage test",
    "capacity test": "capacity test",
}


def _cycles_since(state: AssetState) -> float | None:
    """Equivalent full cycles since the last equalize charge, of what is known."""
    percent = state.use.get("since_equalize")
    return percent / 80 if percent is not None else None


def _cells_judged(
    site: Site, state: AssetState, facts: BatteryFacts, kept: dict[str, Any], under: str
) -> dict[str, Any]:
    """What the last rounds say; worked out once for each newest round."""
    key = f"{state.rounds[-1][1] if state.rounds else ''} {state.done.get('equalize', '')} " \
          f"{state.new_cells} {state.rounds[:1]} {facts.scale} {under}"  # fmt: skip
    key = hashlib.sha256(key.encode()).hexdigest()[:16]
    before = kept.get("cells")
    if before and before["key"] == key:
        return dict(before)
    found: dict[str, Any] = {
        "key": key, "balance": None, "spread": None, "percent": None, "suspect": None, "notices": [],
    }  # fmt: skip
    rounds = rounds_of(site.record, state, facts, site.settings)
    if not rounds:
        return found
    last = rounds[-1]
    judgement = last.judgement
    flags = [
        *judgement.flags,
        *other_cells(rounds),
        *failing_flags(rounds, state, facts, site.settings),
    ]
    worst: dict[tuple[str, int], Flag] = {}
    for flag in flags:
        worst.setdefault((flag.code, flag.cell or NO_CELL), flag)
    if not judgement.not_comparable:
        found |= {"balance": judgement.due, "spread": judgement.spread}
    found["percent"] = judgement.percent
    found["suspect"] = len({flag.cell for flag in flags if flag.code in _SUSPECT})
    found["notices"] = [
        [code, time_text(last.at), RANK[flag.severity], flag.sentence, cell]
        for (code, cell), flag in worst.items()
    ]
    return found


_CLEAR = 4.6  # odds of 100 : 1, as a natural logarithm
_LOOKED_AT = 3


def other_cells(rounds: Sequence[Round]) -> Iterator[Flag]:
    """Whether one of the last rounds does not go with those before it: labels may be swapped.

    It stays told for some rounds, because those after it look like their new neighbours.
    """
    points = [point for one in rounds if (point := one.point) is not None]
    for place in range(max(1, len(points) - _LOOKED_AT), len(points)):
        odds = same_cells(points[:place], points[place]).odds
        if odds is not None and odds < -_CLEAR:
            yield Flag(
                "cells of another battery",
                f"the cells read on {points[place].at:%Y-%m-%d} do not go with the rounds before: "
                "is it the battery whose number it carries? Compare the stamped serial",
                "act",
            )
            return


_SUSPECT = ("suspect cell", "failing cell", "reversed cell", "low voltage")


def cell_trends(
    rounds: list[Round], state: AssetState, facts: BatteryFacts, settings: Settings
) -> tuple[CellTrend, ...]:
    """The trend of each cell over the comparable rounds since its last repair."""
    points = [point for one in rounds if (point := one.point) is not None]
    return battery_trends(points, settings.cells, baselines(state, facts.cells))


def failing_flags(
    rounds: Sequence[Round], state: AssetState, facts: BatteryFacts, settings: Settings
) -> tuple[Flag, ...]:
    """Cells on their way out, over the comparable rounds since their last repair."""
    points = [point for one in rounds if (point := one.point) is not None]
    return failing_cells(points, settings.cells, baselines(state, facts.cells))


def _thirsty(
    state: AssetState, waterings: Sequence[Watering], own: Thirst, sisters: str | None,
    settings: Settings, tables: OutlookTables,
) -> Iterator[Notice]:  # fmt: skip
    """Beside its sisters by litres a day: what all of them know, also where uses are unknown."""
    bare = [flag for one in waterings[-1:] if (flag := found_bare(one))]
    yield from (_flag(state, flag, state.done.get("water", "")) for flag in bare)
    if sisters is None or own.litres_a_day is None:
        return
    others = [
        Thirst(1, litres_a_day=drinks)
        for tag, drinks in tables.thirsts(sisters).items()
        if tag != state.tag
    ]
    beside = against_sisters(
        Thirst(own.waterings, litres_a_day=own.litres_a_day), others, settings.water
    )
    if beside.flag:
        yield _flag(state, beside.flag, state.done.get("water", ""))


def _flag(state: AssetState, flag: Flag, at: str) -> Notice:
    return Notice(
        state.tag, flag.code, at, RANK[flag.severity], flag.sentence, flag.cell or NO_CELL
    )


@dataclass(frozen=True)
class Telling:
    """A notice as people and programs see it."""

    tag: str
    code: str
    severity: str
    sentence: str
    at: datetime
    state: str | None
    """Of what falls due: overdue, due, soon, never done; None for a flag."""
    cell: int | None

    def to_json(self) -> dict[str, Any]:
        """As commands print it."""
        return {
            "asset": self.tag,
            "code": self.code,
            "severity": self.severity,
            "sentence": self.sentence,
            "at": self.at.isoformat(),
            "state": self.state,
            "cell": self.cell,
        }


def telling(notice: Notice, now: datetime) -> Telling:
    """The notice at ``now``."""
    at = when(notice.at)
    state = None
    if notice.code in DUES:
        if notice.rank == NOTE:
            state = "never done"
        elif at > now:
            state = "soon"
        else:
            state = "overdue" if now > at + timedelta(days=1) else "due"
    cell = notice.cell if notice.cell != NO_CELL and notice.code != "to do" else None
    return Telling(notice.tag, notice.code, SEVERITY[notice.rank], notice.sentence, at, state, cell)


def notices_of(site: Site, tag: str) -> list[Telling]:
    """Everything that is to be told of one asset now or soon, the gravest first."""
    catch_up(site)
    now = site.now()
    soon = now + timedelta(days=site.settings.schedule.soon_days)
    found = [telling(one, now) for one in site.record.outlook().notices_of(tag)]
    return [one for one in found if one.at <= soon]
