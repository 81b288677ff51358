"""Folding the events of battery care into an asset's state. Pure, like fold.py.

The state keeps when things were last done and the last few rounds and waterings by their
events; everything that can be asked of the events stays there. Values in a state are shared
between states: they are replaced, never changed in place.
"""

from __future__ import annotations

from bisect import insort
from collections.abc import Callable, Iterable
from typing import Any

from tagkit.record.care_bodies import Body, celsius, figure
from tagkit.record.light import Foldable
from tagkit.record.state import AssetState

ROUNDS_KEPT = 12
WATERINGS_KEPT = 6
TODOS_KEPT = 40


def done(state: AssetState, what: str, moment: str) -> None:
    """Notes that something was done, unless it has been done later already."""
    if moment > state.done.get(what, ""):
        state.done = {**state.done, what: moment}


def newer(reading: dict[str, Any] | None, moment: str) -> bool:
    """Whether what happened at ``moment`` replaces a kept reading."""
    return reading is None or bool(moment >= reading["at"])


def take_reading(state: AssetState, name: str, value: Any, unit: str, moment: str) -> None:
    """Keeps a temperature or gravity when it is the latest one."""
    if value is not None and newer(getattr(state, name), moment):
        reading = value if isinstance(value, dict) else {"value": value, "unit": unit}
        setattr(state, name, {"value": reading["value"], "unit": reading["unit"], "at": moment})
        if name == "last_temperature":
            _measured_since_release(state, "temperature")


def _measured_since_release(state: AssetState, what: str) -> None:
    """Whoever gave a release did not know of it, whatever time is given for it."""
    if state.release is not None:
        since = {*state.release.get("since", ()), what}
        state.release = {**state.release, "since": sorted(since)}


def discharge_told(state: AssetState, told: dict[str, Any] | None, moment: str) -> None:
    """What the use before a charge took, judged when the charge was recorded."""
    if told is None or told.get("percent") is None:
        return
    if state.last_discharge is None or moment >= state.last_discharge["at"]:
        source = {"gravity": "gravity", "charger": "charger"}.get(told["by"], "gauge")
        state.last_discharge = {"percent": told["percent"], "source": source, "at": moment}


def use_begins(state: AssetState, moment: str) -> None:
    """A battery goes into a truck: a use before it that no charge has counted is not known."""
    use = state.use if state.use.get("counted", True) else _counted(state.use, None)
    state.use = {**use, "counted": False, "began_at": max(moment, use.get("began_at", ""))}


def charge_over(
    state: AssetState, event: Foldable, moment: str, kind: str | None, started: str | None
) -> None:
    """The end of a charge: the use before it counts, and what was done is noted."""
    body = event.body
    if state.last_charge is None or moment >= state.last_charge["at"]:
        state.last_charge = {
            "event": event.id,
            "started_at": started,
            "at": moment,
            "kind": kind,
            "ah": figure(body["ah"]),
            "counts": body["counts"],
            "flags": list(body["flags"]),
        }
    if not body["counts"]:
        return
    done(state, "charge", moment)
    if not state.use.get("counted", True):
        discharge_told(state, body["discharge"], moment)
        told = state.last_discharge
        known = told and (state.last_used_at is None or told["at"] >= state.last_used_at)
        percent = figure(told["percent"]) if told and known else None
        state.use = _counted(state.use, percent) | {"counted": True}
    if kind == "equalize":
        done(state, "equalize", moment)
        if state.done["equalize"] == moment:
            state.use = {**state.use, "since_equalize": 0.0}


def _counted(use: dict[str, Any], percent: float | None) -> dict[str, Any]:
    """The sums with one more use."""
    more = dict(use)
    more["uses"] = use.get("uses", 0) + 1
    if percent is None:
        for name in ("unknown", "unknown_since_water"):
            more[name] = use.get(name, 0) + 1
        return more
    for name in ("percent", "since_water", "since_equalize"):
        more[name] = round(use.get(name, 0.0) + percent, 2)
    return more


def _watered(state: AssetState, event: Foldable, moment: str) -> None:
    if state.tag != event.tags[0]:
        return
    body, use = event.body, state.use
    latest = moment >= state.done.get("water", "")
    done(state, "water", moment)
    entry: dict[str, Any] = {
        "at": moment,
        "event": event.id,
        "litres": figure(body["litres"]),
        "before": body["before"],
        "percent": None,
    }
    if latest:
        if not use.get("unknown_since_water"):
            entry["percent"] = use.get("since_water", 0.0)
        state.use = {**use, "since_water": 0.0, "unknown_since_water": 0}
    state.waterings = sorted([*state.waterings, entry], key=lambda one: one["at"])[-WATERINGS_KEPT:]


def _cells_read(state: AssetState, event: Foldable, moment: str) -> None:
    if state.tag != event.tags[0]:
        return
    body = event.body
    what = "pilot" if body["extent"] == "pilot" else "round"
    done(state, what, moment)
    if what == "round":
        rounds = list(state.rounds)
        insort(rounds, [moment, event.id])
        state.rounds = rounds[-ROUNDS_KEPT:]
    gravities, warmths = figures_read(body)
    take_reading(state, "last_temperature", _middle(warmths, 1), "°C", moment)
    take_reading(state, "last_sg", _middle(gravities, 4), "SG", moment)


def figures_read(body: Body) -> tuple[list[float], list[float]]:
    """Gravities and temperatures (°C) of a round, as read."""
    unit = body["temperature_unit"]
    gravities = [figure(cell.get("sg")) for cell in body["cells"]]
    warmths = [celsius(cell.get("temperature"), unit) for cell in body["cells"]]
    return (
        [one for one in gravities if one is not None],
        [one for one in warmths if one is not None],
    )


def _middle(values: list[float], digits: int) -> str | None:
    """The median as kept digits."""
    if not values:
        return None
    ordered, half = sorted(values), len(values) // 2
    middle = ordered[half] if len(values) % 2 else (ordered[half - 1] + ordered[half]) / 2
    return f"{middle:.{digits}f}".rstrip("0").rstrip(".")


def _capacity_tested(state: AssetState, event: Foldable, moment: str) -> None:
    if state.tag != event.tags[0]:
        return
    done(state, "capacity test", moment)
    if newer(state.capacity_test, moment):
        body = event.body
        state.capacity_test = {
            "percent": figure(body["percent_of_rated"]),
            "life_over": body["life_over"],
            "at": moment,
            "event": event.id,
        }


def _leakage_tested(state: AssetState, event: Foldable, moment: str) -> None:
    if state.tag == event.tags[0]:
        _leakage(state, event, moment, figure(event.body["ohm"]), event.body["passes"])


def _leakage(
    state: AssetState, event: Foldable, moment: str, ohm: float | None, passes: bool | None
) -> None:
    done(state, "leakage", moment)
    if newer(state.leakage_test, moment):
        state.leakage_test = {"ohm": ohm, "passes": passes, "at": moment, "event": event.id}
        _measured_since_release(state, "leakage")


def _repaired(state: AssetState, event: Foldable, moment: str) -> None:
    if state.tag != event.tags[0]:
        return
    body = event.body
    sort, cells = body["sort"], list(body["cells"])
    done(state, "repair", moment)
    if sort in ("cell replaced", "cell jumpered", "acid adjusted"):
        touched = [str(cell) for cell in cells] or ["all"]
        state.new_cells = {
            **state.new_cells,
            **{one: max(moment, state.new_cells.get(one, "")) for one in touched},
        }
    if sort == "cell jumpered":
        state.jumpered = sorted({*state.jumpered, *cells})
    elif sort == "cell replaced":
        state.jumpered = [cell for cell in state.jumpered if cell not in cells]
    if body["changes"]:
        merged = {**state.nameplate, **body["changes"]}
        state.nameplate = {name: fact for name, fact in merged.items() if fact is not None}
    _settle(state, body["settles"])


def _inspected(state: AssetState, event: Foldable, moment: str) -> None:
    if state.tag not in event.tags:
        return
    body = event.body
    if body["sort"] == "serial" and body["passed"] is not False:
        done(state, "serial", moment)
    reported = body["sort"] in ("report", "serial")
    if not reported:
        done(state, "check" if state.kind != "B" else "inspection", moment)
    if not reported and newer(state.inspection, moment) and not _a_mere_look(state, body):
        state.inspection = {
            "sort": body["sort"],
            "passed": body["passed"],
            "findings": list(body["findings"]),
            "at": moment,
            "event": event.id,
        }
        if body["next_due"] is not None and state.kind == "L" and body["passed"] is not False:
            due = {"value": body["next_due"], "source": "nameplate"}
            state.nameplate = {**state.nameplate, "inspection_due": due}
    new = [
        {"id": f"{event.id}.{place}", "what": what, "by": event.by, "at": moment}
        for place, what in enumerate(body["todo"], start=1)
    ]
    state.todos = [*state.todos, *new][-TODOS_KEPT:]
    _settle(state, body["settles"])


def _a_mere_look(state: AssetState, body: Body) -> bool:
    """Lifting gear that did not pass is passed again by an examination, which gives it a date."""
    failed = state.inspection is not None and state.inspection["passed"] is False
    return state.kind == "L" and failed and body["passed"] is not False and not body["next_due"]


def _settle(state: AssetState, settled: Iterable[str]) -> None:
    ids = set(settled)
    if ids:
        state.todos = [one for one in state.todos if one["id"] not in ids]


def _cleaned(state: AssetState, event: Foldable, moment: str) -> None:
    if state.tag != event.tags[0]:
        return
    done(state, "cleaning", moment)
    ohm = figure(event.body["case_to_post_ohm"])
    if ohm is not None:
        _leakage(state, event, moment, ohm, None)


CARE_EFFECTS: dict[str, Callable[[AssetState, Foldable, str], None]] = {
    "watered": _watered,
    "cells_read": _cells_read,
    "capacity_tested": _capacity_tested,
    "leakage_tested": _leakage_tested,
    "repaired": _repaired,
    "inspected": _inspected,
    "cleaned": _cleaned,
}
