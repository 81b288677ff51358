"""What a station shows: one answer, the lines that decide, the next press.

Plain data. Colour, shape and sound are roles, so that the web, a terminal and a light tower
each show the same answer their own way, never by colour alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Literal

from tagkit.assets.battery import Battery
from tagkit.assets.tag import Kind, Tag, parse_tag
from tagkit.assets.truck import Truck
from tagkit.errors import WrongInput
from tagkit.rules.balance import explain_balance
from tagkit.rules.readiness import Readiness
from tagkit.rules.times import readable
from tagkit.rules.verdict import Check, Verdict
from tagkit.station.change import CHARACTERS_NEEDED
from tagkit.station.facts import Facts
from tagkit.station.inputs import Answer, Cancel, Choose, Confirm, Input, NothingOut, PutOn, Undo
from tagkit.station.situation import Situation, situation
from tagkit.station.state import Change
from tagkit.station.words import ENGLISH, Line

Posture = Literal["go", "stop", "ask", "wait", "done"]
Shape = Literal["tick", "octagon", "question", "frame", "book"]
Sound = Literal["go", "stop", "ask", "none"]
Asks = Literal["characters", "release"]

_SHAPES: dict[Posture, Shape] = {
    "go": "tick", "stop": "octagon", "ask": "question", "wait": "frame", "done": "book",
}  # fmt: skip
_SOUNDS: dict[Posture, Sound] = {
    "go": "go", "stop": "stop", "ask": "ask", "wait": "none", "done": "none",
}  # fmt: skip


@dataclass(frozen=True)
class Offer:
    """A press that is possible now, and the input it gives. The first is the large button."""

    label: Line
    gives: Input


@dataclass(frozen=True)
class Screen:
    """``posture`` is also the colour role: green is for "go" alone, which is fit and ready."""

    stage: str
    posture: Posture
    headline: Line
    lines: tuple[Line, ...]
    todo: Line | None
    offers: tuple[Offer, ...]
    asks: Asks | None
    cautions: tuple[Line, ...]
    notice: Line | None
    token: str
    verdict: Verdict | None = None
    readiness: Readiness | None = None

    @property
    def reasons(self) -> tuple[str, ...]:
        """The sentences of the reasons that a release from this screen lifts."""
        if self.asks != "release" or self.readiness is None:
            return ()
        return tuple(reason.sentence for reason in self.readiness.reasons)

    @property
    def shape(self) -> Shape:
        """The shape that says the same as the colour."""
        return _SHAPES[self.posture]

    @property
    def sound(self) -> Sound:
        """The sound that says the same as the colour."""
        return _SOUNDS[self.posture]


def look(change: Change, facts: Facts) -> Screen:
    """What to show for ``change`` now."""
    now = situation(change, facts)
    offers, asks = _offers(change, facts, now), _asks(now)
    return Screen(
        stage=now.stage,
        posture=_posture(now),
        headline=Line(_headline(change, now)),
        lines=tuple(_lines(change, facts, now)),
        todo=_todo(now),
        offers=offers,
        asks=asks,
        cautions=tuple(Line(f"caution.{key}") for key in _cautions(change, facts, now)),
        notice=_kept_back(change, change.notice) if change.notice is not None else None,
        token=now.token,
        verdict=now.verdict,
        readiness=now.readiness,
    )


def _posture(now: Situation) -> Posture:
    if now.stage in ("out", "finish"):
        return "go" if now.go else "stop"
    postures: dict[str, Posture] = {"stop": "stop", "show": "wait", "writing": "wait",
                                    "logged": "done"}  # fmt: skip
    return postures.get(now.stage, "ask")


def _headline(change: Change, now: Situation) -> str:
    if now.stage == "show":
        if change.truck is None and change.battery is None:
            return "show.both"
        return "show.battery" if change.battery is None else "show.truck"
    if now.stage == "stop":
        return f"stop.{now.why}"
    if now.stage == "logged" and change.undoing is not None:
        return "undone"
    return "fit" if now.stage in ("out", "finish") else now.stage


def _lines(change: Change, facts: Facts, now: Situation) -> Iterator[Line]:
    if now.stage == "undo" and change.undoing is not None:
        last = change.undoing
        when = readable(last.at, facts.now.tzinfo)
        pair = {"battery": last.battery_in, "truck": last.truck}
        yield Line("line.undo", {**pair, "person": last.by, "time": when})
        return
    if now.stage == "logged" and change.undoing is not None:
        undone = {"battery": change.undoing.battery_in, "truck": change.undoing.truck}
        yield Line("line.undone", undone)
        return
    if now.stage == "logged":
        truck = _with_names(facts, str(change.truck))
        yield Line("line.logged", {"battery": change.battery, "truck": truck})
        return
    if now.barred is not None:
        yield from _barred_lines(facts, now.barred, now.why)
        return
    yield from _shown_lines(change, facts)
    match now.stage:
        case "recovered" if now.unsure is not None:
            yield Line("line.unsure", {"count": CHARACTERS_NEEDED, "noun": now.unsure.kind.noun})
        case "question" if now.question is not None:
            asked = now.question
            values = {"about": asked.about, "recorded": _with_names(facts, asked.recorded)}
            if asked.key == "on_charge":
                values = {"about": asked.about, **_charging(facts, asked.about)}
            yield _kept_back(change, Line(f"question.{asked.key}", values))
        case "stop":
            yield from _stop_lines(change, facts, now)
        case "out" | "finish":
            yield from _go_lines(change, facts, now)


def _barred_lines(facts: Facts, tag: Tag, why: str | None) -> Iterator[Line]:
    """It alone: what was shown before it is not what stands here."""
    called = _called(facts, tag)
    number = f"{tag} ({called})" if called else str(tag)
    key = "line.retired" if why == "retired" else "line.unknown"
    yield Line(key, {"number": number, "noun": tag.kind.noun})
    yield Line("line.nothing_with_it")


def _charging(facts: Facts, battery: Tag) -> dict[str, object]:
    """At which charger it is by the record, and since when, on the site's clock."""
    asset = facts.asset(battery)
    known = asset.readiness if asset is not None else None
    since = known.on_charge_since if known is not None else None
    return {
        "recorded": _with_names(
            facts, (known.on_charger if known is not None else None) or "charger"
        ),
        "time": readable(since, facts.now.tzinfo) if since else "",
    }


def _shown_lines(change: Change, facts: Facts) -> Iterator[Line]:
    if change.truck is not None:
        truck = facts.asset(change.truck)
        fleet = getattr(truck.plate, "fleet_number", None) if truck is not None else None
        yield Line(
            "line.truck",
            {"number": _number(change, change.truck), "fleet": fleet.value if fleet else ""},
        )
    if change.battery is not None:
        yield Line("line.battery", {"number": _number(change, change.battery)})
    if change.charger is not None:
        number = _number(change, change.charger)
        yield Line("line.charger", {"number": _with_names(facts, number)})


def _with_names(facts: Facts, place: str) -> str:
    """A place by the record: of each truck or charger in it, what people call it too."""
    parts = []
    for part in place.split(" "):
        called = ""
        with suppress(WrongInput):
            tag = parse_tag(part)
            called = _called(facts, tag) if tag.kind is not Kind.BATTERY else ""
        parts.append(f"{part} ({called})" if called else part)
    return " ".join(parts)


def _number(change: Change, tag: Tag) -> str:
    """The number; its end is kept back while a person is to read it off the case unseen."""
    unsure = tag in change.recovered or tag in change.choices_recovered
    return f"{tag.kind.value}-{tag.site}-…" if unsure else str(tag)


def _kept_back(change: Change, line: Line) -> Line:
    """The line, with the same kept back."""
    values = {
        name: _number(change, value) if isinstance(value, Tag) else value
        for name, value in line.values.items()
    }
    return replace(line, values=values)


def _stop_lines(change: Change, facts: Facts, now: Situation) -> Iterator[Line]:
    if now.why == "charger":
        verdict = now.charger_verdict
        if now.out is not None:
            yield Line("line.out", {"number": _number(change, now.out)})
        yield from _check_lines(verdict.deciding if verdict is not None else ())
        yield from (Line("line.reason", {"reason": item}) for item in now.charger_reasons)
        return
    if now.verdict is not None:
        yield from _check_lines(now.verdict.deciding)
    if now.why == "no_fit":
        sentence = _balance(change, facts)
        if sentence:
            yield Line("line.balance", {"sentence": sentence})
    # A hold is said even where fit alone already stops it.
    if now.readiness is not None:
        yield from (
            Line("line.reason", {"reason": reason})
            for reason in now.readiness.reasons
            if now.why == "not_ready" or reason.code in ("safety hold", "case leakage")
        )


def _check_lines(checks: tuple[Check, ...]) -> Iterator[Line]:
    for check in checks:
        yield Line(
            _check_key(check),
            {
                "name": check.name,
                "found": check.found or "not known",
                "required": check.required or "not known",
                "note": check.note,
                "code": check.code,
            },
        )


def _check_key(check: Check) -> str:
    """That nobody has compared figures is no figure itself: its note says it all."""
    if check.name == "married":
        return "line.check_note"
    return "line.check" if check.note else "line.check_inside"


def _balance(change: Change, facts: Facts) -> str | None:
    truck = facts.asset(change.truck) if change.truck else None
    battery = facts.asset(change.battery) if change.battery else None
    if truck is None or battery is None:
        return None
    if not isinstance(truck.plate, Truck) or not isinstance(battery.plate, Battery):
        return None
    return explain_balance(battery.plate, truck.plate)


_ALWAYS_SAID = ("voltage", "weight", "chemistry")
"""Always checked, so always told."""


def _go_lines(change: Change, facts: Facts, now: Situation) -> Iterator[Line]:
    checks = now.verdict.checks if now.verdict is not None else ()
    yield from _check_lines(
        tuple(check for check in checks if check.note or check.name in _ALWAYS_SAID)
    )
    if now.readiness is not None:
        for reason in now.readiness.lifted:
            if change.release is not None:
                yield Line("line.lifted", {"person": change.release.by, "reason": reason})
            else:
                yield Line("line.lifted_before", {"reason": reason})
        yield from (Line("line.caution", {"reason": item}) for item in now.readiness.cautions)
    if now.out_choices:
        yield Line("line.out_several")
        return
    if now.out is not None:
        yield Line("line.out", {"number": _number(change, now.out)})
        yield from (Line("line.danger", {"reason": item}) for item in now.out_dangers)
        if now.destination is not None:
            yield Line("line.to", {"place": _with_names(facts, now.destination.name)})
        else:
            yield Line("line.to_unknown")
    elif change.nothing_out or now.stage == "finish":
        yield Line("line.out_none")
    else:
        yield Line("line.out_not_recorded")
    if now.stage == "finish":
        yield from (_step(step) for step in change.steps)


def _step(step: str) -> Line:
    known = f"step.{step}"
    return (
        Line(known) if known in ENGLISH and step != "other" else Line("step.other", {"words": step})
    )


def _todo(now: Situation) -> Line | None:
    if now.stage == "finish":
        return Line("do.steps")
    if now.stage != "stop":
        return None
    if now.why == "not_ready":
        if now.readiness is not None and all(one.about == "truck" for one in now.readiness.reasons):
            return Line("do.truck")
        return Line("do.not_ready" if now.can_release else "do.held_for_good")
    if now.why == "charger" and any(one.about == "battery" for one in now.charger_reasons):
        return Line("do.not_charged")
    stops = now.verdict.deciding if now.verdict is not None else ()
    if now.why == "not_confirmed" and [check.name for check in stops] == ["married"]:
        return Line("do.marry")
    return Line(f"do.{now.why}")


def _asks(now: Situation) -> Asks | None:
    if now.stage == "recovered":
        return "characters"
    if now.stage == "stop" and now.why == "not_ready" and now.can_release:
        return "release"
    return None


def _offers(change: Change, facts: Facts, now: Situation) -> tuple[Offer, ...]:
    again = Offer(Line("press.again"), Cancel())
    match now.stage:
        case "choose":
            return (*_in_view(change, facts), again)
        case "question" if now.question is not None:
            shown, recorded = _ANSWER_WORDS.get(
                now.question.key, ("press.as_shown", "press.as_recorded")
            )
            return (
                Offer(Line(shown), Confirm(now.token)),
                Offer(Line(recorded), Answer(now.token, "as-recorded")),
                again,
            )
        case "out":
            return (*_out_offers(change, now), again)
        case "finish":
            return (Offer(Line("press.log"), Confirm(now.token)), *_stand(change, now), again)
        case "undo":
            return (
                Offer(Line("press.undo"), Confirm(now.token)),
                Offer(Line("press.no"), Cancel()),
            )
        case "stop" if now.why == "charger":
            return (*_stand(change, now), again)
        case "logged":
            return (
                Offer(Line("press.next_change"), Cancel()),
                Offer(Line("press.undo_last"), Undo()),
            )
        case "writing":
            return ()
        case "show" if not change.under_way:
            return ()
    return (again,)


_ANSWER_WORDS = {
    "in_this_truck": ("press.as_shown", "press.coming_out"),
    "on_charge": ("press.charge_over", "press.still_on_charge"),
}


def _in_view(change: Change, facts: Facts) -> tuple[Offer, ...]:
    """Those in view to choose from, told apart by what a person sees of them: where they stand.

    Of a damaged label the end of the number is kept back, and the serial with it, so that both
    stay unseen. Those that stand in one place are told apart by their figures too, and where
    these are alike by a count; the characters that are then typed decide.
    """
    names = [(_number(change, tag), _place(facts, tag)) for tag in change.choices]
    figures = [_figures(facts, tag) for tag in change.choices]
    offers: list[Offer] = []
    told: list[tuple[str, str]] = []
    for tag, name, known in zip(change.choices, names, figures, strict=True):
        number, place = name
        if names.count(name) > 1:
            place = ", ".join(part for part in (place, known) if part)
            told.append((number, place))
            if list(zip(names, figures, strict=True)).count((name, known)) > 1:
                place = f"{place} ({told.count((number, place))})"
        line = Line(
            "press.choose_at" if place else "press.choose", {"number": number, "place": place}
        )
        offers.append(Offer(line, Choose(tag)))
    return tuple(offers)


def _place(facts: Facts, tag: Tag) -> str:
    """What people call it, and of a battery where it stands by the record."""
    asset, called = facts.asset(tag), _called(facts, tag)
    if asset is None or tag.kind is not Kind.BATTERY:
        return called
    place = "place not known"
    if asset.place is not None:
        name = asset.place.name
        at = {"truck": "in truck", "charger": "at charger"}.get(asset.place.kind)
        place = f"{at} {_called(facts, parse_tag(name)) or name}" if at else name
    return f"{called}, {place}" if called else place


def _called(facts: Facts, tag: Tag) -> str:
    asset = facts.asset(tag)
    plate = asset.plate if asset is not None else None
    name = getattr(plate, "fleet_number", None) or getattr(plate, "bay", None)
    return str(name.value) if name is not None else ""


def _figures(facts: Facts, tag: Tag) -> str:
    """What is stamped on its case besides the serial, as marked."""
    asset = facts.asset(tag)
    plate = asset.plate if asset is not None else None
    stated = (getattr(plate, name, None) for name in ("voltage", "capacity", "weight"))
    return ", ".join(str(one.value) for one in stated if one is not None)


def _choices(change: Change, tags: tuple[Tag, ...]) -> tuple[Offer, ...]:
    return tuple(
        Offer(Line("press.choose", {"number": _number(change, tag)}), Choose(tag)) for tag in tags
    )


def _out_offers(change: Change, now: Situation) -> tuple[Offer, ...]:
    if now.out_choices:
        return _choices(change, now.out_choices)
    if now.out is None:
        return (Offer(Line("press.out_none"), Confirm(now.token)),)
    empty = Offer(Line("press.out_none"), NothingOut())
    return (Offer(Line("press.out"), Confirm(now.token)), *_stand(change, now), empty)


def _stand(change: Change, now: Situation) -> tuple[Offer, ...]:
    if now.out is None or (now.destination is not None and now.destination.kind == "stand"):
        return ()
    return (Offer(Line("press.stand"), PutOn("stand", change.stand or "stand")),)


def _cautions(change: Change, facts: Facts, now: Situation) -> Iterator[str]:
    """Which cautions go with this step (the makers' instructions come first)."""
    if now.stage in ("show", "choose"):
        yield from ("trained", "park")
    if now.stage == "stop" and now.why == "no_fit":
        yield "tip"
    if now.stage not in ("out", "finish"):
        return
    truck = facts.asset(change.truck) if change.truck else None
    leaves = getattr(truck.plate, "leaves_by", None) if truck is not None else None
    # Where the truck does not say how the battery leaves, both ways are cautioned.
    if leaves is None or leaves.value != "roll":
        yield "lift"
    if leaves is None or leaves.value != "lift":
        yield "roll"
    moved = [facts.asset(tag) for tag in (change.battery, now.out) if tag is not None]
    known = [getattr(asset.plate, "chemistry", None) for asset in moved if asset is not None]
    if any(chemistry is None or chemistry.value == "vented" for chemistry in known):
        yield from ("acid", "caps")
    yield "electric"
    if now.charger is not None:
        yield "charger"
