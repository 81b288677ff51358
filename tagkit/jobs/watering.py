"""Topping up with water: what it took, and what that tells."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import BatteryFacts, battery_facts, waterings_of
from tagkit.jobs.care_notices import sisters_thirst
from tagkit.jobs.figures import litres as read_litres
from tagkit.jobs.judging import catch_up
from tagkit.jobs.people import check_authorised
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState
from tagkit.rules.flags import Flag
from tagkit.rules.readings import parse_level
from tagkit.rules.water import (
    BesideSisters,
    Thirst,
    WaterDue,
    Watering,
    against_sisters,
    found_bare,
    overcharge_ah,
    recent_thirst,
    thirsty_cells,
    watering_due,
)

CAUTION = (
    "Goggles or face shield, acid-resistant gloves, apron; eyewash near. Deionised or distilled "
    "water only, after charging, to the maker's mark; before charging only to cover bare plates. "
    "The maker's instructions decide."
)


@dataclass(frozen=True)
class Watered:
    """A watering and what it tells; None where that is not known."""

    event: Event
    battery: str
    litres: float | None
    overcharge_ah: float | None
    thirst: Thirst
    sisters: BesideSisters
    due: WaterDue
    flags: tuple[Flag, ...]

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit water --json`` prints it."""
        return {
            "event": self.event.id,
            "battery": self.battery,
            "litres": None if self.litres is None else {"value": self.litres, "unit": "l"},
            "overcharge": _ah(self.overcharge_ah),
            "overcharge_percent": self.thirst.overcharge_percent,
            "beside_sisters": self.sisters.ratio,
            "next_due": self.due.at.isoformat() if self.due.at else None,
            "every_days": self.due.every_days,
            "reason": self.due.reason,
            "flags": [flag.to_json() for flag in self.flags],
        }


def water(
    site: Site,
    battery: str,
    *,
    litres: str | None = None,
    by_cell: Mapping[int, str] | None = None,
    before: str | None = None,
    after: str | None = None,
    quality: str | None = None,
    by: str,
    station: str,
    at: datetime | None = None,
) -> Watered:
    """Record that a battery was topped up; litres for the whole battery, or cell by cell.

    WrongInput for a battery that is sealed or lithium: those are never watered.
    """
    cells = {cell: read_litres(text, f"cell {cell}") for cell, text in (by_cell or {}).items()}
    amount = read_litres(litres) if litres is not None else sum(cells.values()) if cells else None
    if litres is not None and cells and sum(cells.values()) > (amount or 0.0) + _ROUNDED:
        raise WrongInput(
            f"the cells took {sum(cells.values()):g} l, more than the {amount:g} l in all",
            "Check the litres",
            "--litres",
        )
    levels = {
        name: parse_level(text) if text else None
        for name, text in (("before", before), ("after", after))
    }
    with site.record.writing(by=by, station=station, at=at) as writing:
        check_authorised(site, by)
        state = asset(writing, battery, Kind.BATTERY)
        facts = battery_facts(state, site.settings)
        _check(facts, cells)
        flags = _flags(site, state, levels["before"], cells, quality)
        event = writing.append(
            "watered",
            [state.tag],
            {
                "litres": amount,
                "cells": [{"cell": cell, "litres": took} for cell, took in sorted(cells.items())],
                **levels,
                "quality": quality,
                "after_charge": state.charged_since_use,
                "flags": [flag.to_json() for flag in flags],
            },
        )
    return _told(site, state.tag, event, amount, flags)


def _check(facts: BatteryFacts, cells: Mapping[int, float]) -> None:
    if facts.chemistry is not None and not facts.watered:
        raise WrongInput(
            f"{facts.tag} is {facts.chemistry}: it is never watered",
            "Leave it closed; if that is wrong, amend its chemistry",
        )
    for cell in cells:
        if cell < 1 or (facts.cells and cell > facts.cells):
            raise WrongInput(
                f"{facts.tag} has no cell {cell}", "Count from the positive post, from 1", "--cell"
            )


_ROUNDED = 0.05
"""How far the cells may add up to more than the whole, l."""
_PURE = ("deion", "demin", "destil", "distil", "desion", "desmin", "purif", "osmo")
"""How words for water without minerals begin, in the languages of the pages."""


def _impure(quality: str | None) -> bool:
    """Whether the words say another water than the deionised or distilled; a figure is no word."""
    words = (quality or "").casefold()
    return any(letter.isalpha() for letter in words) and not (
        any(pure in words for pure in _PURE) or any(digit.isdigit() for digit in words)
    )


def _flags(
    site: Site, state: AssetState, before: str | None, cells: Mapping[int, float],
    quality: str | None,
) -> list[Flag]:  # fmt: skip
    flags = list(thirsty_cells(cells, site.settings.water))
    if _impure(quality):
        flags.append(
            Flag("impure water", "the water was neither deionised nor distilled: minerals harm the "
                 "plates", "act")
        )  # fmt: skip
    if bare := found_bare(Watering(site.now(), before=before)):
        flags.append(bare)
    elif state.charged_since_use is False and not state.charging:
        flags.append(
            Flag("watered before charging", "it was watered before its charge: acid may spill",
                 "watch")
        )  # fmt: skip
    return flags


def _told(site: Site, tag: str, event: Event, amount: float | None, flags: list[Flag]) -> Watered:
    """What this watering tells beside those before it and beside its sisters."""
    catch_up(site)
    state = site.record.state(tag)
    assert state is not None
    facts = battery_facts(state, site.settings)
    waterings = waterings_of(state, facts.capacity_ah)
    drinks = recent_thirst(waterings, facts.in_series, facts.capacity_ah)
    beside = beside_sisters(site, tag, drinks)
    if beside.flag:
        flags = [*flags, beside.flag]
    return Watered(
        event,
        tag,
        amount,
        overcharge_ah(amount, facts.in_series),
        drinks,
        beside,
        watering_due(waterings, facts.in_series, facts.capacity_ah, site.settings.water),
        tuple(flags),
    )


def beside_sisters(site: Site, tag: str, drinks: Thirst) -> BesideSisters:
    """A battery's thirst beside that of batteries of its kind."""
    tables = site.record.outlook()
    row = tables.row(tag)
    others = sisters_thirst(tables, row.sisters, tag) if row and row.sisters else []
    return against_sisters(drinks, others, site.settings.water)


def _ah(value: float | None) -> dict[str, Any] | None:
    return None if value is None else {"value": round(value, 1), "unit": "Ah"}
