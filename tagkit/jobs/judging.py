"""What the state of an asset means for today: where it stands in the rotation, and everything
that is to be told of it, each from a moment on.

Judged by the rules under the site's settings and kept in the record's outlook, so that the
morning list and the rotation ask an index instead of ten thousand states. Whatever has changed
since is judged again before an answer is given.
"""

from __future__ import annotations

import dataclasses
import hashlib
import logging
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.jobs.assets import is_married
from tagkit.jobs.care_facts import battery_facts, time_text, waterings_of, when
from tagkit.jobs.care_notices import (
    any_notices,
    charge_notices,
    due_notices,
    gear_notices,
    receipt_notice,
    released_notice,
    standing_notices,
    test_notices,
    thirst_notices,
    unread_notice,
)
from tagkit.jobs.judging_cells import cells_judged
from tagkit.jobs.other_cells import (
    OTHER_CELLS,
    other_cells_flag,
    partner_of,
    tell_partner,
)
from tagkit.jobs.readiness import readiness_facts
from tagkit.jobs.site import Site
from tagkit.jobs.telling import ACT, DUES, RANK, STOP, Telling, telling
from tagkit.record.outlook import NO_CELL, Notice, Outlook, OutlookTables
from tagkit.record.record import LONGEST_HOLD
from tagkit.record.state import AssetState
from tagkit.rules.readiness import Readiness, readiness
from tagkit.rules.water import recent_thirst
from tagkit.settings import Settings

__all__ = [
    "ACT", "DUES", "STOP", "Telling", "catch_up", "judge_asset", "notices_of", "standing_of",
    "telling",
]  # fmt: skip

log = logging.getLogger(__name__)

JUDGING = "14"
"""Raised when the judging gives other results from the same states."""


def catch_up(site: Site, progress: Callable[[int, int], None] | None = None) -> int:
    """Judges again every asset whose state or settings have changed since; how many."""
    under = settings_mark(site.settings)
    outlook = site.record.outlook()
    anew = outlook.judged_under() != under
    if anew:
        with site.record.judging() as tables:
            tables.judge_all(under)
    judged = _judge_waiting(site, under, 0, progress)
    if anew:
        # The first ones had no sisters to be compared with yet.
        with site.record.judging() as tables:
            tables.judge_beside()
        _judge_waiting(site, under, judged, progress)
    return judged


def _judge_waiting(
    site: Site, under: str, judged: int, progress: Callable[[int, int], None] | None
) -> int:
    outlook = site.record.outlook()
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


Beside = Callable[[OutlookTables], tuple[Outlook, list[Notice]]]
"""The rest of judging an asset, where it is compared with others: its row and its notices."""


def _a_few(site: Site, waiting: list[str], under: str) -> int:
    """Judges some of ``waiting``. What takes time is worked out before others are kept from
    writing; an asset that changed meanwhile goes on waiting."""
    worked = [_work_out(site, waiting.pop(), under) for _ in range(min(len(waiting), _AT_ONCE))]
    judged = len(worked)
    worked.reverse()
    while worked:
        with site.record.judging() as tables:
            end = time.monotonic() + LONGEST_HOLD
            while worked:
                tag, text, beside = worked.pop()
                if tables.state_text(tag) == text:
                    tables.keep(tag, *(beside(tables) if beside else (None, ())))
                if time.monotonic() > end:
                    break
    return judged


_AT_ONCE = 40


def _work_out(site: Site, tag: str, under: str) -> tuple[str, str | None, Beside | None]:
    """An asset's number, its state as it is kept, and how the judging ends; None: there is
    nothing to judge."""
    kept = site.record.kept_state(tag)
    if kept is None:
        return tag, None, None
    text, state = kept
    if state.registered_at is None:
        return tag, text, None
    before = site.record.outlook().row(tag)
    try:
        beside = judge_asset(site, state, before.content if before else {}, under)
    except UNREADABLE as error:
        broken = _unreadable(state, error)
        return tag, text, lambda _: broken

    def all_of_it(tables: OutlookTables) -> tuple[Outlook, list[Notice]]:
        try:
            return beside(tables)
        except UNREADABLE as error:
            return _unreadable(state, error)

    return tag, text, all_of_it


UNREADABLE = (KeyError, TypeError, ValueError, ArithmeticError, AttributeError, IndexError)
"""What comes of a state into which somebody else's events put what no station writes."""


def _unreadable(state: AssetState, error: Exception) -> tuple[Outlook, list[Notice]]:
    """One asset that can't be judged must not keep all the others from being shown."""
    log.error("judging", exc_info=error, extra={"where": state.tag})
    notice = unread_notice(state, type(error).__name__)
    return Outlook(state.tag, state.kind, "not confirmed"), [notice]


def judge_asset(site: Site, state: AssetState, kept: dict[str, Any], under: str) -> Beside:
    """Judges an asset by its own state. ``kept`` is what an earlier judging kept of it, ``under``
    the mark of the settings."""
    if state.kind == Kind.BATTERY.value:
        return _battery(site, state, kept, under)
    standing = "retired" if state.retired_at else "held" if state.holds else "in service"
    notices = [*any_notices(state)] if state.retired_at is None else []
    if state.retired_at is None:
        notices += gear_notices(state)
    return lambda _: (Outlook(state.tag, state.kind, standing), notices)


def _battery(site: Site, state: AssetState, kept: dict[str, Any], under: str) -> Beside:
    settings = site.settings
    facts = battery_facts(state, settings)
    standing, ready_at = standing_of(state, settings)
    if state.retired_at is not None:
        notices = [] if state.receipt else [receipt_notice(state)]
        return lambda _: (Outlook(state.tag, state.kind, standing), notices)
    cells = cells_judged(site, state, facts, kept, under)
    waterings = waterings_of(state, facts.capacity_ah)
    drinks = recent_thirst(waterings, facts.in_series, facts.capacity_ah)
    sisters = f"{facts.chemistry} {facts.volts} {facts.capacity_ah}" if facts.watered else None
    own = [
        *any_notices(state),
        *released_notice(state),
        *standing_notices(state, settings, standing),
        *charge_notices(state),
        *test_notices(state, settings),
    ]
    dues = [*due_notices(_full_rounds(state, cells), facts, settings, waterings, cells["balance"])]

    def beside(tables: OutlookTables) -> tuple[Outlook, list[Notice]]:
        whose = cells
        if cells.get("odd") is not None:
            # What is kept of it may just have been told by the other one of a swap.
            told = before.content if (before := tables.row(state.tag)) else {}
            whose = cells if told == kept else cells_judged(site, state, facts, told, under)
            whose = _whose_cells(site, state, whose, told, sisters, tables)
        row = Outlook(
            state.tag, state.kind, standing, ready_at, ready_at, facts.volts, facts.kilograms,
            sisters, drinks.litres_a_day, _rounded(drinks.overcharge_percent), {"cells": whose},
        )  # fmt: skip
        cell_notices = [Notice(state.tag, *one) for one in whose["notices"]]
        thirsts = thirst_notices(state, waterings, drinks, sisters, settings, tables)
        return row, [*own, *cell_notices, *dues, *thirsts]

    return beside


def _full_rounds(state: AssetState, cells: dict[str, Any]) -> AssetState:
    """The state in which a round that read less than half of the cells counts as one of pilot
    cells."""
    last, full = state.done.get("round"), cells.get("full")
    if last is None or "full" not in cells or full == last:
        return state
    done = {what: at for what, at in state.done.items() if what != "round"}
    done |= {"round": full} if full else {}
    return replace(state, done={**done, "pilot": max(last, done.get("pilot", last))})


def _rounded(share: float | None) -> float | None:
    return None if share is None else round(share, 2)


def _whose_cells(
    site: Site, state: AssetState, cells: dict[str, Any], kept: dict[str, Any],
    sisters: str | None, tables: OutlookTables,
) -> dict[str, Any]:  # fmt: skip
    """Where the cells are another battery's: whose. The other one is told and judged again, so
    that both name each other whichever of them was read first."""
    odd = cells.get("odd")
    if odd is None:
        return cells
    if "with" in odd:  # looked for when the round was judged; a later one finds this one itself
        partner = odd["with"]
    else:
        before = (kept.get("cells") or {}).get("odd") or {}
        partner = before.get("with") if before.get("at") == odd["at"] else None
        if partner is None and sisters is not None:
            partner = partner_of(site, state.tag, odd, sisters, tables)
            if partner is not None:
                tell_partner(state.tag, partner, tables)
    notices = [one for one in cells["notices"] if one[0] != OTHER_CELLS]
    if partner is not None or odd["clear"]:
        flag = other_cells_flag(datetime.fromisoformat(odd["at"]), partner)
        at = time_text(when(state.rounds[-1][0]))
        notices.append([flag.code, at, RANK[flag.severity], flag.sentence, NO_CELL])
    return {**cells, "odd": {**odd, "with": partner}, "notices": notices}


def standing_of(state: AssetState, settings: Settings) -> tuple[str, str | None]:
    """Where a battery stands in the rotation, in a word; charged ones with when they are ready.

    A release for one use changes nothing about that: it makes no battery charged or rested.
    """
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
    ready = _unreleased(state, settings, now)
    if ready.ready:
        return "charged", time_text(_rested(state, settings, now))
    if ready.ready_at is not None:
        return "charged", time_text(ready.ready_at)
    return ready.reasons[0].code, None


def _rested(state: AssetState, settings: Settings, now: datetime) -> datetime:
    """When its rest was over: the readiness rule asked at the end of its charge."""
    ended = when(state.last_charged_at) if state.last_charged_at else now
    return min(now, _unreleased(state, settings, ended).ready_at or ended)


def _unreleased(state: AssetState, settings: Settings, now: datetime) -> Readiness:
    """Readiness for use at ``now``, whatever a supervisor has released it from."""
    facts = replace(readiness_facts(state, settings, None, now), released=None)
    return readiness(facts, settings.readiness, now, "use")


def notices_of(site: Site, tag: str) -> list[Telling]:
    """Everything that is to be told of one asset now or soon, the gravest first."""
    catch_up(site)
    now = site.now()
    soon = now + timedelta(days=site.settings.schedule.soon_days)
    found = [telling(one, now) for one in site.record.outlook().notices_of(tag)]
    return [one for one in found if one.at <= soon]
