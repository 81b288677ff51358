"""What is done to an asset in the room, each as a short form: fields, caution, and the job.

The forms are data, so that all of them look and work alike; what a figure must be like is the
jobs' concern.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, TypedDict

from tagkit.assets.battery import Battery
from tagkit.assets.chemistry import WATERED
from tagkit.assets.fields import fields_of
from tagkit.assets.tag import Kind
from tagkit.errors import TagkitError, WrongInput, mistake_in
from tagkit.jobs.assets import asset, meant, others_at
from tagkit.jobs.care_facts import equalizing_of
from tagkit.jobs.charge import CHARGE_KINDS, ChargeReadings, end_charge, start_charge
from tagkit.jobs.charge_flags import flags_of
from tagkit.jobs.correct import retire
from tagkit.jobs.inspecting import WASH_CAUTION, checklist, clean, inspect, inspections_of
from tagkit.jobs.readiness import leaks
from tagkit.jobs.repairing import CAUTION as REPAIR_CAUTION
from tagkit.jobs.repairing import repair
from tagkit.jobs.site import Site
from tagkit.jobs.testing import (
    CAPACITY_CAUTION,
    LEAKAGE_CAUTION,
    UNTIL_IT_PASSES,
    capacity_test,
    leakage_test,
)
from tagkit.jobs.watering import CAUTION as WATER_CAUTION
from tagkit.jobs.watering import water
from tagkit.record.care_bodies import LEVELS, REPAIRS
from tagkit.record.state import AssetState
from tagkit.rules.flags import Flag
from tagkit.web.visitor import Role

Sort = Literal["text", "area", "choice", "tick", "date"]
Given = Mapping[str, str]


class Who(TypedDict):
    """Who enters it, where, and when it happened (None: now)."""

    by: str
    station: str
    at: datetime | None


@dataclass(frozen=True)
class Field:
    """One thing that is asked."""

    name: str
    label: str
    sort: Sort = "text"
    options: tuple[str, ...] = ()
    hint: str = ""
    example: str = ""
    required: bool = False
    lists: tuple[tuple[str, str], ...] = ()
    """What each option goes through."""
    takes: tuple[str, ...] = ()
    """What the jobs call it, where that is not its own name: an option, a field of a nameplate."""


@dataclass(frozen=True)
class Told:
    """What was recorded means."""

    flags: tuple[Flag, ...] = ()
    notes: tuple[str, ...] = ()
    held: bool = False
    """It was held by this: its card is to be printed."""
    left: bool = False
    """It has left the fleet: its receipt is to be signed."""


@dataclass(frozen=True)
class CareAct:
    """One form. ``goes`` says for which states it is offered."""

    key: str
    title: str
    press: str
    kinds: tuple[Kind, ...]
    role: Role
    caution: str
    fields: Callable[[AssetState], Sequence[Field]]
    act: Callable[[Site, str, Given, Who], Told]
    goes: Callable[[AssetState], bool] = lambda _state: True

    def role_for(self, given: Given) -> Role:
        """Who may do it as filled in: to lift a hold takes a supervisor who is proved to be one."""
        return "supervisor" if given.get("lift") == "yes" else self.role


WHEN = Field(
    "at", "When, if not now", example="14:20",
    hint="A time of day, or date and time like “2031-05-04 14:20”.",
)  # fmt: skip
"""Asked with every act."""


def acts_for(state: AssetState) -> list[CareAct]:
    """What can be done to this asset now; to one that has left, only its papers are added."""
    return [
        one
        for one in ACTS
        if Kind(state.kind) in one.kinds
        and one.goes(state)
        and (state.retired_at is None or one.key == LEAVE)
    ]


def field_named(fields: Sequence[Field], error: TagkitError) -> str:
    """The name of the field that a mistake is in; empty when it is in none of them."""
    where = "--cell" if error.where.startswith("cell ") else error.where
    return next(
        (
            one.name
            for one in fields
            if where in (one.name, f"--{one.name.replace('_', '-')}", *one.takes)
        ),
        "",
    )


def _vented(state: AssetState) -> bool:
    """Whether gravity and water may be asked: what is not known may be vented."""
    chemistry = (state.nameplate.get("chemistry") or {}).get("value")
    return chemistry is None or chemistry in WATERED


def act_named(state: AssetState, key: str) -> CareAct | None:
    """The act with this key, if it goes with the asset."""
    return next((one for one in acts_for(state) if one.key == key), None)


_CHARGE_CAUTION = (
    "Charger off before any connector moves; charger to battery, never to truck; air moving, "
    "covers open, no flame. The makers' instructions decide."
)


def _readings(state: AssetState, warm: str, gravity: str) -> Sequence[Field]:
    if not _vented(state):
        return (Field("temperature", "Temperature", example=warm),)
    return (
        Field("temperature", "Electrolyte temperature", example=warm),
        Field("gravity", "Specific gravity", example=gravity, takes=("--sg",)),
    )


def _start_fields(state: AssetState) -> Sequence[Field]:
    kinds = tuple(
        kind for kind in CHARGE_KINDS if kind != "equalize" or equalizing_of(state).allowed
    )
    return (
        Field("charger", "Number of the charger", example="C-QM-00017-B", required=True),
        Field("kind", "Kind of charge", "choice", kinds),
        *_readings(state, "31 °C", "1.150"),
        Field("gauge", "Discharge on the truck's gauge, percent", example="75"),
    )


def _start(site: Site, tag: str, given: Given, who: Who) -> Told:
    readings = ChargeReadings(_text(given, "temperature"), _text(given, "gravity"),
                              _number(given, "gauge"))  # fmt: skip
    with mistake_in("charger"):
        charger = meant(site.record, given.get("charger", ""), Kind.CHARGER)
        asset(site.record, charger.tag, Kind.CHARGER)
    event, judged = start_charge(
        site, tag, str(charger.tag), readings, **who,
        charge_kind=given.get("kind") or CHARGE_KINDS[0], answer=_text(given, "answer"),
    )  # fmt: skip
    notes = [f"“{charger.name}” was taken for {charger.tag}."] if charger.name else []
    others = others_at(site.record, event.body["charger"] or "", tag)
    notes += [f"By the record {one} is at this charger, too: record where it is." for one in others]
    return Told(flags_of(event), (*notes, *(one.sentence for one in judged.readiness.cautions)))


def _end_fields(state: AssetState) -> Sequence[Field]:
    return (
        *_readings(state, "40 °C", "1.280"),
        Field("ah", "Ampere-hours that the charger counted", example="640"),
        Field("highest", "Highest electrolyte temperature", example="42 °C"),
        Field("confirmed", "It is charged, although the charge was short", "tick"),
    )


def _end(site: Site, tag: str, given: Given, who: Who) -> Told:
    readings = ChargeReadings(_text(given, "temperature"), _text(given, "gravity"))
    event = end_charge(
        site, tag, readings, **who, answer=_text(given, "answer"), ah=_text(given, "ah"),
        highest=_text(given, "highest"), confirmed=given.get("confirmed") == "yes",
    )  # fmt: skip
    short = "It was too short to count as a charge: it is not ready."
    return Told(flags_of(event), () if event.body.get("counts", True) else (short,))


def _water_fields(_state: AssetState) -> Sequence[Field]:
    return (
        Field("litres", "Water for the whole battery", example="4.5 l"),
        Field("cells", "Or cell by cell", example="7: 0.3, 12: 0.4",
              hint="Number from the positive post, then litres.", takes=("--cell",)),
        Field("before", "Level before", "choice", ("", *LEVELS)),
        Field("after", "Level after", "choice", ("", *LEVELS)),
        Field("quality", "Which water", example="deionised water"),
    )  # fmt: skip


def _water(site: Site, tag: str, given: Given, who: Who) -> Told:
    done = water(
        site, tag, **who, litres=_text(given, "litres"), by_cell=_by_cell(given.get("cells", "")),
        before=_text(given, "before"), after=_text(given, "after"),
        quality=_text(given, "quality"),
    )  # fmt: skip
    notes = []
    if done.overcharge_ah is not None:
        notes.append(f"That is {done.overcharge_ah:.0f} Ah of overcharge since the last watering.")
    if done.sisters.ratio is not None and not done.sisters.flag:
        notes.append(f"It drinks {done.sisters.ratio:.1f} times as much as its sisters.")
    if done.due.at is not None:
        notes.append(f"Due again about {done.due.at:%Y-%m-%d}.")
    elif done.due.reason:
        notes.append(done.due.reason)
    return Told(done.flags, tuple(notes))


def _capacity_fields(_state: AssetState) -> Sequence[Field]:
    return (
        Field("current", "Discharge current", example="155 A", required=True),
        Field("minutes", "Minutes down to the cut-off voltage", example="290", required=True),
        Field("temperature", "Mean electrolyte temperature", example="29 °C"),
        Field("cut_off", "Voltage at the end", example="40.8 V"),
        Field("note", "Remarks", "area"),
    )


def _capacity(site: Site, tag: str, given: Given, who: Who) -> Told:
    done = capacity_test(
        site, tag, **who, current=given.get("current", ""), minutes=_number(given, "minutes") or 0,
        temperature=_text(given, "temperature"), cut_off=_text(given, "cut_off"),
        note=_text(given, "note"),
    )  # fmt: skip
    result = done.result
    if result.percent is None:
        return Told((), (result.reason,))
    said = f"{result.percent:.0f} percent of the rated capacity"
    if not result.life_over:
        return Told((), (f"{said}.",))
    return Told((Flag("life over", f"{said}: the end of its life", "act"),))


def _leakage_fields(_state: AssetState) -> Sequence[Field]:
    return (
        Field("resistance", "Resistance from the case to a post, the smaller one",
              example="4 kohm", required=True, takes=("--ohm",)),
        Field("note", "Remarks", "area"),
    )  # fmt: skip


def _leakage(site: Site, tag: str, given: Given, who: Who) -> Told:
    done = leakage_test(site, tag, given.get("resistance", ""), **who, note=_text(given, "note"))
    flags = (done.result.flag,) if done.result.flag else ()
    if done.held:
        return Told(flags, ("It is held for safety.",), held=True)
    notes = ["It passes."] if done.result.passes else []
    if done.result.passes is None:
        notes.append(f"Recorded, not judged: {done.result.reason}.")
    if _leaks(site, tag):
        notes.append(UNTIL_IT_PASSES)
    return Told(flags, tuple(notes))


def _leaks(site: Site, tag: str) -> Flag | None:
    """What the last leakage test says against it; one entered late may not be the last."""
    state = site.record.state(tag)
    return leaks(state, site.settings) if state is not None else None


def _repair_fields(_state: AssetState) -> Sequence[Field]:
    stated = fields_of(Battery)
    return (
        Field("sort", "What was done", "choice", REPAIRS, required=True, takes=("SORT",)),
        Field("cells", "Cells, from the positive post", example="7, 12", takes=("--cell",)),
        Field("what", "In a few words"),
        Field("weighed", "Weight on the scale, when reweighed", example="1138 kg",
              takes=("--weight", stated["weighed"].label)),
        Field("scale_error", "Error of the scale", example="5 kg",
              takes=(stated["scale_error"].label,)),
        Field("connector", "Connector that is on it now", takes=(stated["connector"].label,)),
        Field("cable_side", "Side of the cable", takes=(stated["cable_side"].label,)),
        Field("cable_length", "Length of the cable", example="900 mm",
              takes=(stated["cable_length"].label,)),
        Field("settles", "It does what was still to be done", "tick"),
    )  # fmt: skip


def _repair(site: Site, tag: str, given: Given, who: Who) -> Told:
    names = ("weighed", "scale_error", "connector", "cable_side", "cable_length")
    marks = {name: given[name].strip() for name in names if given.get(name, "").strip()}
    done = repair(
        site, tag, given.get("sort", ""), **who, cells=_cells(given.get("cells", "")),
        what=_text(given, "what"), marks=marks, settles=_settles(given),
    )  # fmt: skip
    return Told((), done.notes)


def _inspect_fields(state: AssetState) -> Sequence[Field]:
    sorts = inspections_of(state)
    gear = Field("next_due", "It passed: date of its next examination", "date",
                 hint="Empty: by the site's schedule.")  # fmt: skip
    return (
        Field("sort", "Which inspection", "choice", sorts, required=True,
              lists=tuple((sort, checklist(sort, state)) for sort in sorts)),
        Field("findings", "What was found, a line each", "area",
              hint="Empty: nothing, it passed. Each finding stays on the morning list until it is "
                   "settled.", takes=("--finding",)),
        Field("hold", "Hold it because of that", "choice", ("", "ordinary", "safety"),
              lists=(("ordinary", "hold it"),
                     ("safety", "hold it until an inspection lifts that"))),
        *((gear,) if state.kind == "L" else ()),
        Field("settles", "It does what was still to be done", "tick"),
        *((Field("lift", "It passed: lift the hold (supervisor)", "tick"),) if state.holds else ()),
    )  # fmt: skip


def _inspect(site: Site, tag: str, given: Given, who: Who) -> Told:
    found = [line.strip() for line in given.get("findings", "").splitlines() if line.strip()]
    done = inspect(
        site, tag, **who, sort=given.get("sort", ""), findings=found, hold=_text(given, "hold"),
        settles=_settles(given), lift=given.get("lift") == "yes", next_due=_text(given, "next_due"),
    )  # fmt: skip
    notes = [f"To be done: {one}" for one in done.todos]
    if done.held:
        notes.insert(0, "It is held. Print the out-of-service card and hang it on.")
    if done.lifted:
        notes.insert(0, "The hold is lifted.")
    if done.next_due:
        notes.append(f"Its next examination is due on {done.next_due}.")
    return Told((), tuple(notes) or ("Nothing was found.",), bool(done.held))


def _clean_fields(_state: AssetState) -> Sequence[Field]:
    return (
        Field("using", "Washed with", example="soda solution, then water", required=True,
              takes=("--with",)),
        Field("neutralised", "Neutralised: it no longer foams", "tick"),
        Field("resistance", "Resistance from case to post, dry", example="40 kohm", takes=("--ohm",)),
    )  # fmt: skip


def _clean(site: Site, tag: str, given: Given, who: Who) -> Told:
    clean(
        site, tag, **who, using=given.get("using", ""), resistance=_text(given, "resistance"),
        neutralised=given.get("neutralised") == "yes",
    )  # fmt: skip
    flag = _leaks(site, tag) if _text(given, "resistance") else None
    return Told((flag,), (UNTIL_IT_PASSES,)) if flag is not None else Told()


def _leave_fields(state: AssetState) -> Sequence[Field]:
    papers = (
        Field("receipt", "Number of the recycler's receipt", hint="It may be added later."),
        Field("papers", "Transport papers", example="UN 2794, waybill 118"),
    )
    if state.retired_at:
        return papers
    return (Field("reason", "Why it leaves", example="capacity 61 %", required=True), *papers)


def _leave(site: Site, tag: str, given: Given, who: Who) -> Told:
    event = retire(
        site, tag, _text(given, "reason"), _text(given, "receipt"), _text(given, "papers"), **who
    )
    notes = ["Take its labels off. Its number is never used again."]
    state = site.record.state(tag)
    chemistry = (state.nameplate.get("chemistry") or {}).get("value") if state else None
    acid = tag.startswith("B") and chemistry != "lithium"
    if acid and not (event.body["receipt"] or (state and state.receipt)):
        notes.append(
            "The recycler's receipt is still to come; until then its acid is counted here."
        )
    return Told((), tuple(notes), left=True)


_BATTERY = (Kind.BATTERY,)
LEAVE = "leave"

ACTS: tuple[CareAct, ...] = (
    CareAct("charge", "Put on charge", "Charge begins", _BATTERY, "attendant", _CHARGE_CAUTION,
            _start_fields, _start, lambda state: not state.charging),
    CareAct("charged", "End of charge", "Charge has ended", _BATTERY, "attendant", _CHARGE_CAUTION,
            _end_fields, _end),
    CareAct("water", "Water", "Watered", _BATTERY, "attendant", WATER_CAUTION,
            _water_fields, _water, _vented),
    CareAct("inspect", "Inspect", "Inspected", tuple(Kind), "technician",
            "Look, don't reach: no jewellery, eye protection. What may hurt is held at once.",
            _inspect_fields, _inspect),
    CareAct("wash", "Wash and neutralise", "Washed", _BATTERY, "attendant", WASH_CAUTION,
            _clean_fields, _clean),
    CareAct("leakage", "Case leakage test", "Measured", _BATTERY, "technician", LEAKAGE_CAUTION,
            _leakage_fields, _leakage),
    CareAct("capacity", "Capacity test", "Tested", _BATTERY, "technician", CAPACITY_CAUTION,
            _capacity_fields, _capacity),
    CareAct("repair", "Repair", "Repaired", _BATTERY, "technician", REPAIR_CAUTION,
            _repair_fields, _repair),
    CareAct(LEAVE, "Leaving the fleet", "It has left", tuple(Kind), "technician",
            "Filled batteries hold acid: to a licensed recycler alone, upright, insulated, with the "
            "transport papers that local rules ask for (UN 2794 wet, filled with acid).",
            _leave_fields, _leave),
)  # fmt: skip


def _text(given: Given, name: str) -> str | None:
    return given.get(name, "").strip() or None


def _number(given: Given, name: str) -> float | None:
    text = given.get(name, "").strip().rstrip("%").strip().replace(",", ".")
    if not text:
        return None
    try:
        figure = float(text)
    except ValueError:
        figure = math.nan
    if not math.isfinite(figure):
        raise WrongInput(f"“{text}” is not a number", "Write digits", name)
    return figure


def _cells(text: str) -> list[int]:
    parts = text.replace(",", " ").replace(";", " ").split()
    return [_cell(part) for part in parts]


def _cell(text: str) -> int:
    if not (text.isascii() and text.isdigit()):
        raise WrongInput(f"“{text}” is not the number of a cell", "Write it like 7", "cells")
    return int(text)


def _by_cell(text: str) -> dict[int, str] | None:
    if not text.strip():
        return None
    found: dict[int, str] = {}
    for part in _parts(text):
        cell, colon, litres = part.partition(":")
        if not colon:
            raise WrongInput(f"“{part}” names no cell", "Write it like 7: 0.3, 12: 0.4", "cells")
        found[_cell(cell.strip())] = litres.strip()
    return found


def _parts(text: str) -> Iterable[str]:
    return (part.strip() for part in text.replace(";", ",").split(",") if part.strip())


def _settles(given: Given) -> Sequence[str]:
    return ("all",) if given.get("settles") == "yes" else ()
