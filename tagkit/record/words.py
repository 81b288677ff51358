"""Events in words, for messages and lists."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tagkit.record.bodies import Body
from tagkit.record.care_bodies import figure
from tagkit.record.envelope import Event
from tagkit.record.plate_words import changed_words, label_of, value_words
from tagkit.rules.times import readable_anywhere


def describe(event: Event) -> str:
    """Who did what, when and where: "TS put B-… into T-… at 14:03 on 2026-03-02 (UTC), bay 1"."""
    return f"{event.by} {deed(event)} at {when(event)}, station {event.station}"


def deed(event: Event) -> str:
    """What was done, as a clause that follows a name."""
    write = _DEEDS.get(event.kind)
    if write is None or not event.known:
        return f"recorded “{event.kind.replace('_', ' ')}” of {', '.join(event.tags) or 'nothing'}"
    try:
        return write(event.body, ", ".join(event.tags))
    except (KeyError, TypeError, ValueError, AttributeError):
        return f"recorded “{event.kind.replace('_', ' ')}” of {', '.join(event.tags)}"


def when(event: Event) -> str:
    """The time it happened, with its offset from UTC."""
    return readable_anywhere(event.happened)


def place_words(place: dict[str, Any] | None) -> str:
    """A place as words: "truck T-QM-00001-H", "stand", "an unknown place"."""
    if not place:
        return "an unknown place"
    if place["kind"] in ("truck", "charger"):
        return f"{place['kind']} {place['name']}"
    return str(place["name"] or place["kind"])


def _changed(body: Body, _: str) -> str:
    out = body["battery_out"]
    taken = f" and took out {out} to {place_words(body['out_to'])}" if out else ""
    return f"put {body['battery_in']} into {body['truck']}{taken}"


def _married(body: Body, tags: str) -> str:
    read = [
        f"{label_of(tags, name)}: {value_words(tags, name, fact)}"
        for name, fact in body["facts"].items()
    ]
    if not read:
        return f"married the label to {tags}"
    return f"married the label to {tags}, read there: {'; '.join(read)}"


def _amended(body: Body, tags: str) -> str:
    figures = changed_words(tags, body["changes"], body["before"])
    return f"amended {tags}, {'; '.join(figures)}"


def _charge_ended(body: Body, _: str) -> str:
    ah = figure(body["ah"])
    if ah is None:
        return f"ended the charge of {body['battery']}"
    return f"ended the charge of {body['battery']}, {_plain(ah)} Ah returned"


def _charge_started(body: Body, _: str) -> str:
    if body["charger"]:
        return f"started charging {body['battery']} on {body['charger']}"
    return f"started charging {body['battery']}"


def _watered(body: Body, tags: str) -> str:
    litres = f" with {_plain(body['litres'])} l" if body["litres"] is not None else ""
    found = f", found {body['before']}" if body["before"] else ""
    return f"watered {tags}{litres}{found}"


def _cells_read(body: Body, tags: str) -> str:
    extent = "the pilot cell" if body["extent"] == "pilot" else "the cells"
    return f"read {extent} of {tags} ({len(body['cells'])})"


def _capacity_tested(body: Body, tags: str) -> str:
    percent = body["percent_of_rated"]
    result = f": {_plain(percent)} % of rated" if percent is not None else ""
    return f"tested the capacity of {tags}{result}"


def _repaired(body: Body, tags: str) -> str:
    cells = ", ".join(map(str, body["cells"]))
    what = body["sort"] if body["sort"] != "other" else body["what"]
    said = f" ({body['what']})" if body["what"] and body["sort"] != "other" else ""
    return f"repaired {tags}: {what}{f', cell {cells}' if cells else ''}{said}"


def _inspected(body: Body, tags: str) -> str:
    findings = "; ".join(body["findings"]) or "nothing found"
    return f"inspected {tags}{_passed(body['passed'])}: {findings}"


def _ohms(ohm: Any) -> str:
    return "unknown" if ohm is None else f"{float(ohm):.0f}"


def _passed(passed: bool | None) -> str:
    return {True: ", passed", False: ", not passed", None: ""}[passed]


def _plain(given: Any) -> str:
    value = given["value"] if isinstance(given, dict) else given
    return f"{float(value):g}"


_DEEDS: dict[str, Callable[[Body, str], str]] = {
    "epoch_started": lambda body, _: f"began to record ({body['reason']})",
    "registered": lambda _, tags: f"registered {tags}",
    "married": _married,
    "amended": _amended,
    "retired": lambda _, tags: f"retired {tags}",
    "label_printed": lambda _, tags: f"printed labels of {tags}",
    "label_inspected": lambda body, _: f"looked at the label of {body['asset']}: {body['verdict']}",
    "changed": _changed,
    "seen_at": lambda body, _: f"saw {body['battery']} at {place_words(body['place'])}",
    "moved": lambda body, _: f"moved {body['battery']} to {place_words(body['place'])}",
    "charge_started": _charge_started,
    "charge_ended": _charge_ended,
    "held": lambda body, _: f"put a hold on {body['asset']} ({body['reason']})",
    "released": lambda body, _: (
        f"released {body['asset']} ({body['reason']})"
        if body.get("hold")
        else f"released {body['asset']} for one use ({body['reason']})"
    ),
    "watered": _watered,
    "cells_read": _cells_read,
    "capacity_tested": _capacity_tested,
    "leakage_tested": lambda body, tags: (
        f"measured {_ohms(body['ohm'])} ohm from case to post of {tags}{_passed(body['passes'])}"
    ),
    "repaired": _repaired,
    "inspected": _inspected,
    "cleaned": lambda _, tags: f"cleaned {tags}",
    "steps_confirmed": lambda body, tags: (
        f"confirmed the steps of {body['procedure']}{f' at {tags}' if tags else ''}"
    ),
    "incident": lambda body, tags: (
        f"reported an incident ({body['sort']}: {body['what']}){f' with {tags}' if tags else ''}"
    ),
    "voided": lambda body, tags: f"cancelled an entry about {tags} ({body['reason']})",
    "authorised": lambda body, _: f"authorised {body['person']} as {body['role']}",
}
