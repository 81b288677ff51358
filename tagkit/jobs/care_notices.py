"""What is to be told of an asset, each from a moment on: holds, to-dos, flags, what falls due."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta

from tagkit.assets.tag import Kind
from tagkit.jobs.assets import is_married
from tagkit.jobs.care_facts import BatteryFacts, time_text, when
from tagkit.jobs.readiness import leaks, standing_release
from tagkit.jobs.telling import ACT, NOTE, RANK, RELEASED, STOP, WATCH
from tagkit.record.outlook import NO_CELL, Drinks, Notice, OutlookTables
from tagkit.record.state import AssetState
from tagkit.rules.charge import standing_flags
from tagkit.rules.due import battery_dues, due_on
from tagkit.rules.equalize import equalize_due
from tagkit.rules.flags import Flag
from tagkit.rules.water import (
    Thirst,
    Watering,
    against_sisters,
    found_bare,
    watering_due,
)
from tagkit.settings import Settings

_MOMENT = timedelta(minutes=1)


def any_notices(state: AssetState) -> Iterator[Notice]:
    """What any asset can have: holds, to-dos, entries that can't be read, a worn label."""
    for safety, rank, code in ((True, STOP, "held for safety"), (False, ACT, "held")):
        holds = [hold for hold in state.holds if (hold["kind"] == "safety") == safety]
        if holds:
            reasons = "; ".join(dict.fromkeys(hold["reason"] for hold in holds))
            yield Notice(state.tag, code, min(hold["at"] for hold in holds), rank,
                         f"{code}: {reasons}")  # fmt: skip
    if state.unknown_kinds:
        yield unread_notice(state, ", ".join(state.unknown_kinds))
    for place, todo in enumerate(state.todos, start=1):
        yield Notice(state.tag, "to do", todo["at"], WATCH, f"to do: {todo['what']}", place)
    label = state.label_condition
    if label and label["verdict"] != "good":
        rank = ACT if label["verdict"] == "reprint now" else NOTE
        yield Notice(state.tag, "label", label["at"], rank, f"label: {label['verdict']}")
    if state.unsettled:
        yield Notice(state.tag, "unsettled", state.married_at or "", ACT,
                     "what is stamped on it differs from the sheet, and nobody has settled it")  # fmt: skip
    if not (is_married(state) or state.unsettled) and state.kind in ("B", "T"):
        yield Notice(state.tag, "not married", state.registered_at or "", NOTE,
                     "label and case have not been matched: every verdict is not confirmed")  # fmt: skip


def unread_notice(state: AssetState, kinds: str) -> Notice:
    """Something is recorded of it that this program does not understand."""
    return Notice(state.tag, "not understood", state.last_event_at or "", ACT,
                  f"the record has entries that this version can't read ({kinds})")  # fmt: skip


def gear_notices(state: AssetState) -> Iterator[Notice]:
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


def released_notice(state: AssetState) -> Iterator[Notice]:
    """A pass for one use that still stands: the lead is to know of it."""
    reason = standing_release(state)
    if reason is not None and state.release:
        yield Notice(state.tag, RELEASED, state.release["at"], NOTE,
                     f"released for one use by {state.release['by']}: {reason}")  # fmt: skip


def receipt_notice(state: AssetState) -> Notice:
    return Notice(state.tag, "no receipt", state.retired_at or "", NOTE,
                  "it has left the fleet without a recycler's receipt on record")  # fmt: skip


def standing_notices(state: AssetState, settings: Settings, standing: str) -> Iterator[Notice]:
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


def charge_notices(state: AssetState) -> Iterator[Notice]:
    """The flags of the last charge, and of the one under way."""
    for entry in (state.last_charge, state.charging):
        at = (entry or {}).get("at") or (entry or {}).get("started_at") or ""
        for flag in (entry or {}).get("flags") or ():
            yield Notice(state.tag, flag["code"], at, RANK[flag["severity"]], flag["sentence"])


def test_notices(state: AssetState, settings: Settings) -> Iterator[Notice]:
    test = state.capacity_test
    if test and test["life_over"]:
        yield Notice(state.tag, "life over", test["at"], ACT,
                     f"its capacity is {test['percent']:.0f}% of rated: life is over")  # fmt: skip
    leak = leaks(state, settings)
    if leak is not None and state.leakage_test is not None:
        yield _flag(state, leak, state.leakage_test["at"])
    if state.jumpered:
        cells = ", ".join(map(str, state.jumpered))
        yield Notice(state.tag, "jumpered", state.done.get("repair", ""), ACT,
                     f"cell {cells} is jumpered, a temporary repair: it fits no truck until that is "
                     "replaced")  # fmt: skip
    found = state.inspection
    if found and found["passed"] is False and not state.holds:
        findings = "; ".join(found["findings"]) or "not passed"
        yield Notice(state.tag, "inspection failed", found["at"], ACT, f"inspection: {findings}")


def due_notices(
    state: AssetState, facts: BatteryFacts, settings: Settings, waterings: Sequence[Watering],
    balance: str | None,
) -> Iterator[Notice]:  # fmt: skip
    """What falls due on a battery."""
    done = {what: when(at) for what, at in state.done.items()}
    now = when(state.last_event_at or state.registered_at or "")
    water = watering_due(waterings, facts.in_series, facts.capacity_ah, settings.water)
    new_since = when(state.registered_at) if state.registered_at and not state.as_stamped else None
    asked = equalize_due(
        facts.chemistry, done.get("equalize", new_since), _cycles_since(state), balance,
        settings.schedule, now, facts.maker_equalizes,
    )  # fmt: skip
    for due in battery_dues(
        state.tag, facts.chemistry, done, settings.schedule, now,
        water_at=water.at if facts.watered else None, new_since=new_since,
        in_service=first_day(facts.in_service_on) or new_since,
    ):  # fmt: skip
        if due.what == "equalize" and (asked.due or facts.maker_equalizes is False):
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


def first_day(stated: str | None) -> datetime | None:
    """The first moment of a stated year, month or day (ISO 8601), UTC; None when unknown."""
    if not stated:
        return None
    try:
        return datetime.fromisoformat(
            f"{stated}{'-01-01'[3 * (len(stated) > 4) :]}"[:10] + "T00:00Z"
        )
    except ValueError:
        return None


def _cycles_since(state: AssetState) -> float | None:
    """Equivalent full cycles since the last equalize charge, of what is known."""
    percent = state.use.get("since_equalize")
    return percent / 80 if percent is not None else None


def thirst_notices(
    state: AssetState, waterings: Sequence[Watering], own: Thirst, sisters: str | None,
    settings: Settings, tables: OutlookTables,
) -> Iterator[Notice]:  # fmt: skip
    """Beside its sisters: by overcharge where their uses are known, else by litres a day."""
    bare = [flag for one in waterings[-1:] if (flag := found_bare(one))]
    yield from (_flag(state, flag, state.done.get("water", "")) for flag in bare)
    if sisters is None or own.litres_a_day is None:
        return
    beside = against_sisters(own, sisters_thirst(tables, sisters, state.tag), settings.water)
    if beside.flag:
        yield _flag(state, beside.flag, state.done.get("water", ""))


def sisters_thirst(tables: OutlookTables, sisters: str, tag: str) -> list[Drinks]:
    """What the batteries of one kind drink, without the one that is compared with them."""
    return [one for one in tables.thirsts(sisters) if one.tag != tag]


def _flag(state: AssetState, flag: Flag, at: str) -> Notice:
    return Notice(
        state.tag, flag.code, at, RANK[flag.severity], flag.sentence, flag.cell or NO_CELL
    )
