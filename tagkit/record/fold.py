"""Folding: one asset's events, in order, become its present state. Pure.

A placement that happened before the present one began does not move the battery; nor does a
charge or a temperature from before the last one replace it. Events that this program does not
understand are counted and named in the state.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime
from typing import Any

from tagkit.assets.on_label import behind
from tagkit.record.fold_care import (
    CARE_EFFECTS,
    charge_over,
    discharge_told,
    newer,
    take_reading,
    use_begins,
)
from tagkit.record.light import Foldable
from tagkit.record.state import AssetState


def fold(tag: str, events: Iterable[Foldable], start: AssetState | None = None) -> AssetState:
    """The state after ``events``, which are in order and begin where ``start`` ended."""
    state = start or empty(tag)
    for event in events:
        state = after(state, event, event.moment)
    return state


def empty(tag: str) -> AssetState:
    """The state of an asset of which nothing is known."""
    return AssetState(tag, tag[:1])


def after(state: AssetState, event: Foldable, moment: str) -> AssetState:
    """The state after one more event; ``moment`` is the event's."""
    result = _counted(state, event, moment)
    if event.voided:
        return result
    if not event.known:
        return _not_understood(result, f"{event.kind} v{event.version}")
    apply = _EFFECTS.get(event.kind)
    if apply is None:
        return result
    try:
        apply(result, event, moment)
        if _too_much(state, result, event.kind):
            raise ValueError("no asset has so much of this")
        if result.label_revision and result.nameplate is not state.nameplate:
            result.label_behind = _label_behind(state, result)
    except (KeyError, TypeError, ValueError, AttributeError, IndexError, OverflowError):
        # A body from elsewhere that has the right name and the wrong content.
        result = _counted(state, event, moment)
        return _not_understood(result, f"{event.kind} v{event.version} (malformed)")
    return result


MOST_UNKNOWN = 20
LARGEST_STATE = 100_000
"""Letters of a state as it is kept, beyond which nothing is added to it."""
LARGEST_FACT = 20_000
"""Letters of what an event puts in the place of another."""

_ADDING = frozenset(
    ("registered", "married", "amended", "held", "label_printed", "repaired", "inspected")
)
_REPLACED = ("hours", "place", "charging", "last_charge", "last_discharge", "last_temperature",
             "last_sg", "release", "label_condition", "capacity_test", "leakage_test",
             "inspection")  # fmt: skip


def _too_much(before: AssetState, now: AssetState, kind: str) -> bool:
    """Whether an event makes the state so large that recording anything of the asset would take
    long for everybody: nobody but who wants that writes so. Then it is not understood, so that
    nothing is confirmed."""
    if kind in _ADDING:
        return len(now.to_json()) > LARGEST_STATE
    was, is_so = vars(before), vars(now)
    return any(
        is_so[name] is not was[name] and len(str(is_so[name])) > LARGEST_FACT for name in _REPLACED
    )


def _counted(state: AssetState, event: Foldable, moment: str) -> AssetState:
    result = AssetState.__new__(AssetState)
    result.__dict__.update(state.__dict__)
    result.events += 1
    result.last_event = event.id
    if result.last_event_at is None or moment > result.last_event_at:
        result.last_event_at = moment
    return result


def _not_understood(state: AssetState, what: str) -> AssetState:
    if what not in state.unknown_kinds and len(state.unknown_kinds) < MOST_UNKNOWN:
        state.unknown_kinds = [*state.unknown_kinds, what]
    return state


def _registered(state: AssetState, event: Foldable, moment: str) -> None:
    if state.registered_at is not None:
        return
    body = event.body
    state.registered_at = moment
    state.nameplate = {**dict(body["nameplate"]), **state.nameplate}
    state.as_stamped = bool(body["as_stamped"])
    state.unloading = body["unloading"]
    state.delivery = body["delivery"]


def _married(state: AssetState, event: Foldable, moment: str) -> None:
    state.married_at = moment
    facts = dict(event.body["facts"])
    if state.jumpered:
        # The stamp tells of the case; a bridged cell's two volts are missing all the same.
        facts = {name: fact for name, fact in facts.items() if name not in ("voltage", "cells")}
    state.nameplate = {**state.nameplate, **facts}
    state.unsettled = [] if event.body["settled"] else list(event.body["differences"])


def _amended(state: AssetState, event: Foldable, _: str) -> None:
    merged = {**state.nameplate, **dict(event.body["changes"])}
    state.nameplate = {name: fact for name, fact in merged.items() if fact is not None}
    state.unsettled = []


def _retired(state: AssetState, event: Foldable, moment: str) -> None:
    body = event.body
    state.receipt = body["receipt"] or state.receipt
    state.papers = body["papers"] or state.papers
    if state.retired_at is not None:
        return  # its receipt came later
    state.retired_at = moment
    if state.place_since is None or moment >= state.place_since:
        _put(state, None, moment, event, "moved")


def _label_printed(state: AssetState, event: Foldable, _: str) -> None:
    mine = [
        {name: value for name, value in label.items() if name != "tag"}
        for label in event.body["labels"]
        if label.get("tag", state.tag) == state.tag
    ]
    replaced = {(label["template"], label["revision"]) for label in mine}
    kept = [one for one in state.labels if (one["template"], one["revision"]) not in replaced]
    state.labels = kept + mine
    if mine:
        state.label_behind = {}
    state.label_revision = max([state.label_revision, *(label["revision"] for label in mine)])


def _label_behind(before: AssetState, now: AssetState) -> dict[str, Any]:
    printed = {**before.nameplate, **before.label_behind}
    return behind(now.kind, printed, now.nameplate)


def _label_inspected(state: AssetState, event: Foldable, moment: str) -> None:
    body = event.body
    if state.tag == body["asset"] and newer(state.label_condition, moment):
        state.label_condition = {
            "verdict": body["verdict"],
            "unused_error_correction": body["unused_error_correction"],
            "contrast": body["contrast"],
            "frame": body["frame"],
            "reasons": list(body["reasons"]),
            "label": body["label"],
            "method": body["method"],
            "by": event.by,
            "at": moment,
            "event": event.id,
        }


def _put(
    state: AssetState, place: dict[str, Any] | None, moment: str, event: Foldable, how: str
) -> bool:
    """Places a battery unless it has been placed since; says whether it did."""
    if state.place_since is not None and moment < state.place_since:
        return False
    before, state.place_since = state.place, moment
    state.place = place and {
        "kind": place["kind"],
        "name": place["name"],
        "since": moment,
        "event": event.id,
        "how": how,
    }
    charging = state.charging
    if charging and moment >= charging["started_at"]:
        # It stays on charge only where it is charged: at the charger, or unmoved in its truck.
        at = charging["charger"] or (before and before["name"])
        if not place or place["name"] != at:
            state.charging, state.broken_off_at = None, moment
    return True


def _changed(state: AssetState, event: Foldable, moment: str) -> None:
    body = event.body
    if state.tag == body["truck"]:
        if body["hours"] is not None and newer(state.hours, moment):
            state.hours = {"value": body["hours"], "at": moment}
    elif state.tag == body["battery_in"]:
        _put(state, {"kind": "truck", "name": body["truck"]}, moment, event, "changed")
        state.last_used_at = _later(state.last_used_at, moment)
        state.release = None
    elif state.tag == body["battery_out"]:
        if _put(state, body["out_to"], moment, event, "changed"):
            percent = body["discharged_percent"]
            state.last_discharge = (
                None if percent is None else {"percent": percent, "source": "gauge", "at": moment}
            )
        state.last_used_at = _later(state.last_used_at, moment)
        state.release = None
    else:
        return
    if state.tag == body["battery_in"]:
        use_begins(state, moment)
    if state.last_changed_at is None or moment >= state.last_changed_at:
        state.last_changed_at = moment
        state.last_change = event.id


def _seen_at(state: AssetState, event: Foldable, moment: str) -> None:
    if state.tag == event.body["battery"]:
        place = event.body["place"]
        if place["kind"] == "truck":
            # Whoever gave a release did not know of this use, whatever time is given for it; and
            # it was used, also where it has been placed elsewhere since.
            state.release = None
            state.last_used_at = _later(state.last_used_at, moment)
        _put_where_found(state, event, moment, "seen")


def _moved(state: AssetState, event: Foldable, moment: str) -> None:
    if state.tag == event.body["battery"]:
        _put_where_found(state, event, moment, "moved")


def _put_where_found(state: AssetState, event: Foldable, moment: str, how: str) -> None:
    """What came out of a truck was used until then, as with a change: it may have been charged in
    the truck and have worked since."""
    before, place = state.place, event.body["place"]
    out = before is not None and before["kind"] == "truck" and before["name"] != place["name"]
    if _put(state, place, moment, event, how) and out:
        state.last_used_at = _later(state.last_used_at, moment)


def _charge_started(state: AssetState, event: Foldable, moment: str) -> None:
    body = event.body
    if state.tag != body["battery"]:
        return
    if state.last_charge_started_at is None or moment >= state.last_charge_started_at:
        since, kind = _charged_since(state, moment), body["charge_kind"]
        goes_on = since != moment and state.rest_kind != "opportunity"
        state.rest_from, state.rest_kind = since, state.rest_kind if goes_on else kind
        state.last_charge_started_at = moment
        state.release = None
        charger = body["charger"]
        here = True
        if charger is not None:
            here = _put(state, {"kind": "charger", "name": charger}, moment, event, "charging")
        if here and (state.last_charged_at is None or moment >= state.last_charged_at):
            state.charging = {
                "charger": charger,
                "kind": body["charge_kind"],
                "started_at": moment,
                "event": event.id,
                "temperature": body["temperature"],
                "sg": body["sg"],
            }
            if body["flags"]:
                state.charging["flags"] = list(body["flags"])
        discharge_told(state, body["discharge"], moment)
    _readings(state, body, moment)


def _charged_since(state: AssetState, moment: str) -> str:
    """When the charges began that make one with the charge that begins now.

    They do when the battery was not used in between, and did not rest as long as they took.
    """
    began, last = state.rest_from, state.last_charge
    ended = max(filter(None, (state.last_charged_at, state.broken_off_at)), default=None)
    if began is None or (state.last_used_at is not None and state.last_used_at >= began):
        return moment
    if state.charging:
        return began
    if ended is None or ended < began:
        counted_for_nothing = last is not None and last["at"] >= began and not last["counts"]
        return moment if counted_for_nothing else began
    start, end, now = (datetime.fromisoformat(one) for one in (began, ended, moment))
    return began if now - end < end - start else moment


def _charge_ended(state: AssetState, event: Foldable, moment: str) -> None:
    body = event.body
    if state.tag != body["battery"]:
        return
    kind = body["charge_kind"]
    started = body["started_at"]
    if state.charging and moment >= state.charging["started_at"]:
        kind, started = state.charging["kind"], state.charging["started_at"]
        state.charging = None
    if body["counts"] and (state.last_charged_at is None or moment >= state.last_charged_at):
        state.last_charged_at = moment
        state.last_charge_kind = _kind_to_rest_from(state, kind, started)
        state.release = None
    charge_over(state, event, moment, kind, started)
    _readings(state, body, moment)


def _kind_to_rest_from(state: AssetState, kind: str | None, started: str | None) -> str | None:
    """An opportunity charge right behind another charge does not spare that one's rest."""
    one_with_it = state.rest_from and started and state.rest_from < started
    return state.rest_kind if kind == "opportunity" and one_with_it else kind


def _readings(state: AssetState, body: dict[str, Any], moment: str) -> None:
    take_reading(state, "last_temperature", body["temperature"], "°C", moment)
    take_reading(state, "last_sg", body["sg"], "SG", moment)


def _held(state: AssetState, event: Foldable, moment: str) -> None:
    if state.tag != event.body["asset"]:
        return
    hold = {
        "id": event.id,
        "kind": "safety" if event.body["safety"] else "ordinary",
        "reason": event.body["reason"],
        "by": event.by,
        "at": moment,
    }
    state.holds = [*state.holds, hold]


def _released(state: AssetState, event: Foldable, moment: str) -> None:
    body = event.body
    if state.tag != body["asset"]:
        return
    if body["hold"] is None:
        state.release = {
            "reason": body["reason"],
            "by": event.by,
            "at": moment,
            "event": event.id,
        }
    else:
        state.holds = [hold for hold in state.holds if hold["id"] != body["hold"]]


def _later(one: str | None, other: str) -> str:
    return other if one is None else max(one, other)


_EFFECTS: dict[str, Callable[[AssetState, Foldable, str], None]] = {
    "registered": _registered,
    "married": _married,
    "amended": _amended,
    "retired": _retired,
    "label_printed": _label_printed,
    "label_inspected": _label_inspected,
    "changed": _changed,
    "seen_at": _seen_at,
    "moved": _moved,
    "charge_started": _charge_started,
    "charge_ended": _charge_ended,
    "held": _held,
    "released": _released,
    **CARE_EFFECTS,
}
