"""What is open in a change, derived afresh from what was shown and from the facts of the moment.

The order of the questions: what is not in the fleet; which of several; the pair; fit; the numbers
that rest on a recovered read; what the record contradicts; readiness; the battery out and where it
goes; the finish.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import Literal, TypeVar

from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.assets.tag import Tag
from tagkit.assets.truck import Truck
from tagkit.rules.fit import check_charger, check_fit
from tagkit.rules.readiness import (
    DANGERS,
    Readiness,
    ReadinessFacts,
    Reason,
    against_gear,
    readiness,
)
from tagkit.rules.verdict import Verdict
from tagkit.station.facts import AssetFacts, Facts
from tagkit.station.orders import Answered, Destination
from tagkit.station.state import Change

Stage = Literal[
    "show", "choose", "recovered", "question", "stop", "out", "finish", "undo", "writing", "logged"
]
Why = Literal["unknown", "retired", "no_fit", "not_confirmed", "not_ready", "charger"]

Entry = TypeVar("Entry")


QuestionKey = Literal[
    "in_another_truck", "in_this_truck", "on_charge",
    "other_out", "out_elsewhere", "not_empty", "charger_holds",
]  # fmt: skip


@dataclass(frozen=True)
class Question:
    """The record says otherwise: ``recorded`` is what it says about ``about``."""

    key: QuestionKey
    about: Tag
    recorded: str


@dataclass(frozen=True)
class Situation:
    """Where the conversation stands. ``token`` names this very screen."""

    stage: Stage
    token: str
    why: Why | None = None
    verdict: Verdict | None = None
    readiness: Readiness | None = None
    barred: Tag | None = None  # not in the record, or not in the fleet any more
    unsure: Tag | None = None
    question: Question | None = None
    answers: tuple[Answered, ...] = ()
    out: Tag | None = None
    out_choices: tuple[Tag, ...] = ()
    out_token: str = ""
    out_dangers: tuple[Reason, ...] = ()  # what may hurt whoever takes it out
    charger: Tag | None = None
    charger_verdict: Verdict | None = None
    charger_reasons: tuple[Reason, ...] = ()
    destination: Destination | None = None
    charge_ended: bool = False

    @property
    def go(self) -> bool:
        """Fit and ready: the only case that shows green."""
        return (
            self.verdict is not None
            and self.verdict.fits
            and self.readiness is not None
            and self.readiness.ready
        )

    @property
    def can_release(self) -> bool:
        """Whether a supervisor's release would lift every reason."""
        if self.readiness is None or self.readiness.ready:
            return False
        return all(reason.lifted_by_release for reason in self.readiness.reasons)

    @property
    def about_out(self) -> bool:
        """Whether the question is about the battery that comes out."""
        return self.question is not None and self.question.key in (
            "other_out", "out_elsewhere", "not_empty",
        )  # fmt: skip


def situation(change: Change, facts: Facts) -> Situation:
    """What is open now."""
    found = _open(change, facts)
    shown = (found.stage, found.why, change.truck, change.battery, found.barred, found.unsure, found.question,
             found.out_token, found.charger, found.destination,
             change.undoing.event if change.undoing else None, change.choices)  # fmt: skip
    token = "|".join("" if part is None else _plain(part) for part in shown)
    return replace(found, token=token)


def _plain(part: object) -> str:
    if isinstance(part, Question):
        return f"{part.key} {part.about} {part.recorded}"
    if isinstance(part, Destination):
        return f"{part.kind} {part.name}"
    if isinstance(part, tuple):
        return " ".join(str(item) for item in part)
    return str(part)


def _open(change: Change, facts: Facts) -> Situation:
    if change.order is not None:
        return Situation("writing", "")
    if change.logged:
        return Situation("logged", "")
    if change.undoing is not None:
        return Situation("undo", "")
    for tag in (change.barred, change.truck, change.battery):
        if tag is not None and (why := _barred(tag, facts)) is not None:
            return Situation("stop", "", why=why, barred=tag)
    if change.choices:
        return Situation("choose", "")
    truck, battery = _asset(change.truck, facts), _asset(change.battery, facts)
    if truck is None or battery is None:
        return Situation("show", "")
    return _pair(change, facts, truck, battery)


def _barred(tag: Tag, facts: Facts) -> Why | None:
    """Why nothing is logged with it, whatever else is shown; it may have left the fleet since."""
    asset = facts.asset(tag)
    if asset is None:
        return "unknown"
    return "retired" if asset.retired else None


def _asset(tag: Tag | None, facts: Facts) -> AssetFacts | None:
    """What is known of it, unless it has left the fleet since it was shown."""
    asset = facts.asset(tag) if tag is not None else None
    return asset if asset is not None and not asset.retired else None


def _pair(change: Change, facts: Facts, truck: AssetFacts, battery: AssetFacts) -> Situation:
    """Truck and battery going in: fit, unsure reads, contradictions, readiness."""
    on_charge = _charge_question(battery)
    ended = on_charge is not None and _settled(change, on_charge)
    verdict = _fit(truck, battery, facts)
    ready = _ready(change, facts, truck, battery, charge_ended=ended)
    now = Situation("stop", "", verdict=verdict, readiness=ready, charge_ended=ended)
    if not verdict.fits:
        return replace(now, why="no_fit" if verdict.result == "no_fit" else "not_confirmed")
    for tag in (truck.tag, battery.tag):
        if tag in change.recovered:
            return replace(now, stage="recovered", unsure=tag)
    # Where the record is wrong about the place, what it says of use and charge may be too, so
    # these reasons wait for the answer; any other stops at once.
    waits = {reason.code for reason in ready.reasons} <= _FOLLOW_FROM_PLACE
    questions = _place_questions(truck, battery)
    if on_charge is not None:
        questions = [*questions, on_charge]
    for question in questions:
        if waits and not _settled(change, question):
            return replace(now, stage="question", question=question)
    if not ready.ready:
        return replace(now, why="not_ready")
    return _out(change, facts, truck, battery, replace(now, answers=_answers(questions)))


_FOLLOW_FROM_PLACE = frozenset({"on charge", "not charged", "charge unknown"})


def _fit(truck: AssetFacts, battery: AssetFacts, facts: Facts) -> Verdict:
    if not isinstance(truck.plate, Truck) or not isinstance(battery.plate, Battery):
        return Verdict("not_confirmed", ())
    return check_fit(
        battery.plate,
        truck.plate,
        settings=facts.settings.fit,
        battery_married=battery.married,
        truck_married=truck.married,
        jumpered=battery.jumpered,
    )


def _ready(
    change: Change, facts: Facts, truck: AssetFacts, battery: AssetFacts, *, charge_ended: bool
) -> Readiness:
    """The battery's readiness, with what stands against the truck added to it."""
    known = _known(battery)
    if charge_ended:
        began = known.on_charge_since
        known = replace(known, on_charge_since=None, last_charge_started_at=began)
        shortest = timedelta(minutes=facts.settings.charging.shortest_charge_minutes)
        if began is None or facts.now - began >= shortest:
            known = replace(known, last_charged_at=facts.now, charged_since_use=True)
    truck_reasons = _against(truck, "truck")
    found = _with_reasons(_readiness(known, facts), truck_reasons)
    if change.release is None:
        return found
    covered = all(
        reason.lifted_by_release and reason.sentence in change.release.lifts
        for reason in found.reasons
    )
    if not covered:
        return found  # a reason that came up since the release: it has to be given again
    lifted = (*found.lifted, *found.reasons)
    return replace(found, ready=True, reasons=(), lifted=lifted, ready_at=None)


def _known(battery: AssetFacts) -> ReadinessFacts:
    return replace(
        battery.readiness,
        retired=battery.retired or battery.readiness.retired,
        holds=_both(battery.holds, battery.readiness.holds),
        unknown_kinds=_both(battery.unknown_kinds, battery.readiness.unknown_kinds),
    )


def _both(here: tuple[Entry, ...], there: tuple[Entry, ...]) -> tuple[Entry, ...]:
    return tuple(dict.fromkeys((*here, *there)))


def _readiness(known: ReadinessFacts, facts: Facts) -> Readiness:
    return readiness(known, facts.settings.readiness, facts.now, "use")


def _with_reasons(found: Readiness, more: tuple[Reason, ...]) -> Readiness:
    if not more:
        return found
    return replace(found, ready=False, reasons=(*found.reasons, *more), ready_at=None)


def _against(asset: AssetFacts, noun: str) -> tuple[Reason, ...]:
    return against_gear(
        noun, holds=asset.holds, unknown_kinds=asset.unknown_kinds, set_apart=asset.set_apart
    )


def _charge_question(battery: AssetFacts) -> Question | None:
    since = battery.readiness.on_charge_since
    if since is None:
        return None
    recorded = battery.readiness.on_charger or "charge"
    return Question("on_charge", battery.tag, f"{recorded} since {since.isoformat()}")


def _place_questions(truck: AssetFacts, battery: AssetFacts) -> list[Question]:
    place = battery.place
    if place is None or place.kind != "truck":
        return []
    if place.name == str(truck.tag):
        return [Question("in_this_truck", battery.tag, place.name)]
    return [Question("in_another_truck", battery.tag, place.name)]


def _settled(change: Change, question: Question) -> bool:
    """Whether a person has said that what is shown is right, about exactly this."""
    return any(
        (answer.key, answer.about, answer.recorded)
        == (question.key, question.about, question.recorded)
        for answer in change.answers
    )


def _answers(questions: list[Question]) -> tuple[Answered, ...]:
    return tuple(
        Answered(question.key, question.about, question.recorded) for question in questions
    )


def _out(
    change: Change, facts: Facts, truck: AssetFacts, battery: AssetFacts, now: Situation
) -> Situation:
    """The battery coming out: as recorded unless another is shown, confirmed by a press."""
    recorded = tuple(tag for tag in truck.batteries if tag != battery.tag)
    out = change.shown_out if change.shown_out != battery.tag else None
    if out is None and not change.nothing_out and len(recorded) == 1:
        out = recorded[0]
    question = _out_question(change, facts, recorded, out)
    if question is not None:
        if not _settled(change, question):
            return replace(now, stage="question", question=question, out=out)
        now = replace(now, answers=(*now.answers, *_answers([question])))
    if out is not None and out in change.recovered:
        return replace(now, stage="recovered", unsure=out, out=out)
    now = replace(
        now, out=out, out_token=f"out {out}" if out else "nothing out",
        out_dangers=_dangers(facts.asset(out) if out is not None else None, facts),
    )  # fmt: skip
    if out is None and not change.nothing_out and len(recorded) > 1:
        return replace(now, stage="out", out_choices=recorded)
    return _destination(change, facts, now)


def _dangers(out: AssetFacts | None, facts: Facts) -> tuple[Reason, ...]:
    if out is None:
        return ()
    ready = _readiness(_known(out), facts)
    return tuple(reason for reason in ready.reasons if reason.code in DANGERS)


def _out_question(
    change: Change, facts: Facts, recorded: tuple[Tag, ...], out: Tag | None
) -> Question | None:
    if out is None:
        if change.nothing_out and recorded:
            return Question("not_empty", recorded[0], " ".join(str(tag) for tag in recorded))
        return None
    if out in recorded:
        return None
    if recorded:
        return Question("other_out", out, " ".join(str(tag) for tag in recorded))
    asset = facts.asset(out)
    place = asset.place if asset is not None else None
    if place is not None and place.kind in ("truck", "charger"):
        return Question("out_elsewhere", out, place.name)
    return None


def _destination(change: Change, facts: Facts, now: Situation) -> Situation:
    """Where the battery out goes; a charger must fit it and be free."""
    charger, out = _asset(change.charger, facts), now.out
    if out is None or charger is None:
        where = change.place or (Destination("stand", change.stand) if change.stand else None)
        return _finish(change, replace(now, destination=where if out is not None else None))
    now = replace(now, charger=charger.tag)
    leaving = facts.asset(out)
    battery = leaving.plate if leaving is not None else None
    if (
        leaving is None
        or not isinstance(battery, Battery)
        or not isinstance(charger.plate, Charger)
    ):
        verdict = Verdict("not_confirmed", ())
    else:
        verdict = check_charger(
            battery, charger.plate, battery_married=leaving.married, jumpered=leaving.jumpered
        )
    reasons = (*_against(charger, "charger"), *_against_charging(leaving, facts))
    now = replace(now, charger_verdict=verdict, charger_reasons=reasons)
    if not verdict.fits or reasons:
        return replace(now, stage="stop", why="charger")
    if charger.tag in change.recovered:
        return replace(now, stage="recovered", unsure=charger.tag)
    held = tuple(tag for tag in charger.batteries if tag not in (out, change.battery))
    if held:
        names = " ".join(str(tag) for tag in held)
        question = Question("charger_holds", charger.tag, names)
        if not _settled(change, question):
            return replace(now, stage="question", question=question)
        now = replace(now, answers=(*now.answers, *_answers([question])))
    return _finish(change, replace(now, destination=Destination("charger", str(charger.tag))))


def _against_charging(leaving: AssetFacts | None, facts: Facts) -> tuple[Reason, ...]:
    """Why the battery that comes out must not be charged now: held, too hot, frozen. A charge in
    the truck ends as it comes out."""
    if leaving is None:
        return ()
    known = replace(_known(leaving), on_charge_since=None)
    return readiness(known, facts.settings.readiness, facts.now, "charge").reasons


def _finish(change: Change, now: Situation) -> Situation:
    return replace(now, stage="finish" if change.out_confirmed == now.out_token else "out")
