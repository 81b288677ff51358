"""The change of a battery as a conversation: inputs in, a new state out, no I/O.

A :class:`Change` holds only what has been shown and said. What is open follows from it and from
the facts of the moment (:mod:`tagkit.station.situation`), so a battery put on hold while somebody
stands at the truck stops the change. An order appears on the state that a confirming press made,
and nowhere else.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from tagkit.assets.kinds import AnyPlate
from tagkit.assets.payload import tag_in
from tagkit.assets.tag import Kind, Tag, parse_tag
from tagkit.errors import WrongInput
from tagkit.rules.lines import plain
from tagkit.station.facts import Facts
from tagkit.station.inputs import (
    Answer,
    Cancel,
    Certain,
    Characters,
    Choose,
    Confirm,
    Foreign,
    Gauge,
    Input,
    Logged,
    NothingOut,
    PutOn,
    Refused,
    Release,
    Seen,
    Shown,
    Typed,
    Undo,
)
from tagkit.station.orders import Answered, ChangeOrder, Destination, Released, UndoOrder
from tagkit.station.situation import Situation, situation
from tagkit.station.state import Change
from tagkit.station.words import Line

__all__ = ["Change", "advance", "begin"]

CHARACTERS_NEEDED = 4
MISSES_ALLOWED = 3


def begin(steps: tuple[str, ...] = (), stand: str = "") -> Change:
    """A station that waits for a truck and a battery.

    ``steps``: keys of the finishing steps this site lists (``tagkit.station.words`` knows
    brake, seated, retainer, cable, connected, works; others are shown as written). ``stand``:
    where a battery goes that comes out and is shown no charger; empty: not known.
    """
    return Change(steps=steps, stand=stand)


def advance(change: Change, given: Input, facts: Facts) -> Change:
    """The state after ``given``. Never raises for what a person can do."""
    if isinstance(given, Certain):
        return _certain(change, given.tags)
    if change.order is not None:
        return _after_order(change, given, facts)
    if isinstance(given, (Logged, Refused)):
        return change
    if change.logged and not isinstance(given, Undo):
        change = _fresh(change)
    change = replace(change, notice=None)
    match given:
        case Shown(labels):
            return _shown(change, labels, facts)
        case Typed(text):
            return _typed(change, text, facts)
        case Foreign(text):
            return _notice(change, "foreign", text=_brief(text))
        case Choose(tag):
            return _chosen(change, tag, facts)
        case Characters(text):
            return _characters(change, text, facts)
        case Answer(seen, answer):
            return _answered(change, seen, answer == "as-shown", facts)
        case Confirm(seen):
            return _confirmed(change, seen, facts)
        case PutOn(kind, name):
            return _put_on(change, Destination(kind, name.strip()))
        case NothingOut():
            return replace(change, nothing_out=True, shown_out=None, out_confirmed=None)
        case Gauge(discharged, hours):
            return _gauge(change, discharged, hours)
        case Release():
            return _released(change, given, facts)
        case Undo():
            return _undo(change, facts)
        case Cancel():
            return _fresh(change)


def _after_order(change: Change, given: Input, facts: Facts) -> Change:
    """The order is with the driver, who says how it went; other inputs begin anew."""
    match given:
        case Logged(event):
            return replace(change, order=None, logged=event or "logged", notice=None)
        case Refused(problem):
            return _notice(_fresh(change), "refused", problem=problem)
        case Confirm() | Answer():
            # A second press on the same button must not log a second time.
            return change
    return advance(_fresh(change), given, facts)


def _fresh(change: Change) -> Change:
    return begin(change.steps, change.stand)


def _notice(change: Change, key: str, **values: object) -> Change:
    return replace(change, notice=Line(f"notice.{key}", values))


def _brief(text: str) -> str:
    printable = "".join(character if character.isprintable() else " " for character in text)
    return printable[:40].strip()


def _typed(change: Change, text: str, facts: Facts) -> Change:
    tag = tag_in(text.strip())
    if tag is None:
        try:
            tag = parse_tag(text)
        except WrongInput as error:
            return _notice(change, "mistyped", problem=error.problem, remedy=error.remedy)
    return _shown(change, (Seen(tag),), facts)


def _shown(change: Change, labels: tuple[Seen, ...], facts: Facts) -> Change:
    """Takes in what is in view; two of a kind are never guessed between."""
    change = replace(change, undoing=None, barred=None)
    in_view = {label.tag: label for label in sorted(labels, key=lambda label: not label.recovered)}
    singles: list[Seen] = []
    several: tuple[Tag, ...] = ()
    for kind in (Kind.TRUCK, Kind.BATTERY, Kind.CHARGER, Kind.LIFTING, Kind.ROOM):
        of_kind = [label for tag, label in in_view.items() if tag.kind is kind]
        if kind is Kind.BATTERY and len(of_kind) > 1 and _is_the_pair(change, of_kind, facts):
            continue
        if len(of_kind) == 1:
            singles += of_kind
        elif of_kind and not several:
            several = tuple(sorted(label.tag for label in of_kind))
    for label in singles:
        change = _one_shown(change, label, facts)
    if several:
        maybe = {tag for tag in several if in_view[tag].recovered}
        change = replace(change, choices=several, choices_recovered=frozenset(maybe))
    return change


def _is_the_pair(change: Change, labels: list[Seen], facts: Facts) -> bool:
    """The one going in and the one coming out may both be in view once that is settled."""
    now = situation(change, facts)
    if now.stage not in ("out", "finish"):
        return False
    return {label.tag for label in labels} <= {change.battery, now.out}


def _one_shown(change: Change, label: Seen, facts: Facts) -> Change:
    tag = label.tag
    asset = facts.asset(tag)
    if tag.kind in (Kind.LIFTING, Kind.ROOM):
        return _notice(change, "wrong_kind", noun=tag.kind.noun)
    if asset is None or asset.retired:
        return replace(change, barred=tag)
    change = replace(change, choices=(), choices_recovered=frozenset())
    if tag.kind is Kind.TRUCK:
        return _read(_with_truck(change, tag), label)
    if tag.kind is Kind.CHARGER:
        if tag != change.charger:
            change = replace(_forget(change, change.charger), charger=tag, place=None)
        return _read(change, label)
    return _battery_shown(change, label, facts)


def _read(change: Change, label: Seen) -> Change:
    """Keeps in mind which numbers rest on a recovered read alone."""
    if not label.recovered:
        return replace(
            change,
            recovered=change.recovered - {label.tag},
            decoded=change.decoded | {label.tag},
        )
    if label.tag in change.confirmed_by_hand or label.tag in change.decoded:
        return change
    return replace(change, recovered=change.recovered | {label.tag})


def _certain(change: Change, tags: frozenset[Tag]) -> Change:
    """Takes back the question for what a decoder has read meanwhile; all else stays as it is."""
    sure = tags & change.unsure
    if not sure:
        return change
    return replace(
        change,
        recovered=change.recovered - sure,
        choices_recovered=change.choices_recovered - sure,
        decoded=change.decoded | sure,
        misses=0,
        notice=None,
    )


def _with_truck(change: Change, tag: Tag) -> Change:
    if tag == change.truck:
        return _notice(change, "same_truck", number=tag)
    return _ask_again(replace(_forget(change, change.truck), truck=tag))


def _with_battery(change: Change, tag: Tag) -> Change:
    return _ask_again(replace(_forget(change, change.battery), battery=tag))


def _forget(change: Change, tag: Tag | None) -> Change:
    """Another label was shown in its place: what is made out of it from now on is a new look."""
    if tag is None:
        return change
    return replace(
        change,
        recovered=change.recovered - {tag},
        decoded=change.decoded - {tag},
        confirmed_by_hand=tuple(one for one in change.confirmed_by_hand if one != tag),
    )


def _ask_again(change: Change) -> Change:
    """Nothing said about the pair before holds for another pair."""
    return replace(
        change,
        answers=(),
        release=None,
        shown_out=None,
        nothing_out=False,
        out_confirmed=None,
        misses=0,
    )


def _battery_shown(change: Change, label: Seen, facts: Facts) -> Change:
    tag, now = label.tag, situation(change, facts)
    if tag == change.battery:
        key = "going_in" if now.stage in ("out", "finish") else "same_battery"
        return _read(_notice(change, key, number=tag), label)
    if now.stage == "out" or (now.stage == "question" and now.about_out):
        if tag != change.shown_out:
            change = _forget(change, change.shown_out)
        shown = replace(change, shown_out=tag, nothing_out=False, out_confirmed=None)
        return _read(shown, label)
    if now.stage == "finish" and tag != now.out:
        other = _notice(_with_battery(change, tag), "other_battery", number=tag)
        return _read(other, label)
    if now.out == tag:
        return _read(_notice(change, "coming_out", number=tag), label)
    return _read(_with_battery(change, tag), label)


def _chosen(change: Change, tag: Tag, facts: Facts) -> Change:
    if tag in change.choices:
        recovered = tag in change.choices_recovered
        change = replace(change, choices=(), choices_recovered=frozenset())
        return _one_shown(change, Seen(tag, recovered), facts)
    if tag in situation(change, facts).out_choices:
        return replace(change, shown_out=tag, nothing_out=False)
    return _notice(change, "not_offered")


def _characters(change: Change, text: str, facts: Facts) -> Change:
    now = situation(change, facts)
    if now.stage != "recovered" or now.unsure is None:
        return _notice(change, "not_asked")
    typed = plain(text)
    asset = facts.asset(now.unsure)
    serial = getattr(asset.plate, "maker_serial", None) if asset else None
    stamped = plain(str(serial.value)) if serial is not None else ""
    number = plain(str(now.unsure))
    right = len(typed) >= CHARACTERS_NEEDED and number.endswith(typed)
    if right or (stamped and typed == stamped):
        return replace(
            change,
            recovered=change.recovered - {now.unsure},
            confirmed_by_hand=(*change.confirmed_by_hand, now.unsure),
            misses=0,
        )
    if change.misses + 1 < MISSES_ALLOWED:
        return _notice(replace(change, misses=change.misses + 1), "no_match")
    return _notice(_without(change, now.unsure), "read_again")


def _without(change: Change, tag: Tag) -> Change:
    """As if ``tag`` had not been shown."""
    change = replace(change, recovered=change.recovered - {tag}, misses=0)
    if tag == change.truck:
        return _ask_again(replace(change, truck=None))
    if tag == change.battery:
        return _ask_again(replace(change, battery=None))
    if tag == change.charger:
        return replace(change, charger=None)
    return replace(change, shown_out=None, out_confirmed=None)


def _answered(change: Change, seen: str, as_shown: bool, facts: Facts) -> Change:
    now = situation(change, facts)
    if now.question is None or now.stage != "question":
        return _notice(change, "not_asked")
    if seen != now.token:
        return _notice(change, "changed")
    question = now.question
    if as_shown:
        answered = Answered(question.key, question.about, question.recorded)
        return replace(change, answers=(*change.answers, answered))
    match question.key:
        case "in_this_truck":
            # It is the one that comes out; the next battery is still to be shown.
            without = _ask_again(replace(change, battery=None, shown_out=None))
            return _notice(without, "is_coming_out", number=question.about)
        case "in_another_truck" | "on_charge":
            without = _ask_again(replace(change, battery=None))
            return _notice(without, f"recorded_{question.key}", number=question.about)
        case "charger_holds":
            return _notice(replace(change, charger=None), "other_charger")
        case _:
            return replace(change, shown_out=None, nothing_out=False, out_confirmed=None)


def _confirmed(change: Change, seen: str, facts: Facts) -> Change:
    now = situation(change, facts)
    if seen != now.token:
        return _notice(change, "changed")
    match now.stage:
        case "question":
            return _answered(change, seen, True, facts)
        case "out" if not now.out_choices:
            return replace(change, out_confirmed=now.out_token)
        case "finish":
            return replace(change, order=_order(change, now, facts))
        case "undo" if change.undoing is not None:
            last = change.undoing
            return replace(change, order=UndoOrder(last.event, last.truck, last.battery_in))
    return _notice(change, "nothing_to_confirm")


def _order(change: Change, now: Situation, facts: Facts) -> ChangeOrder | None:
    if change.truck is None or change.battery is None:
        return None
    if now.verdict is None or now.readiness is None or not now.go:
        return None
    tags = [change.truck, change.battery, now.out, now.charger]
    assets = [facts.asset(tag) for tag in tags if tag is not None]
    plates: Mapping[Tag, AnyPlate] = {asset.tag: asset.plate for asset in assets if asset}
    return ChangeOrder(
        truck=change.truck,
        battery_in=change.battery,
        battery_out=now.out,
        out_to=now.destination,
        verdict=now.verdict,
        readiness=now.readiness,
        plates=plates,
        seen={str(asset.tag): asset.last_event for asset in assets if asset},
        answers=now.answers,
        release=change.release if now.readiness.lifted else None,
        confirmed_by_hand=tuple(tag for tag in change.confirmed_by_hand if tag in tags),
        steps=change.steps,
        charger_verdict=now.charger_verdict,
        charge_ended=now.charge_ended,
        discharged_percent=change.discharged_percent,
        hours=change.hours,
    )


def _put_on(change: Change, place: Destination) -> Change:
    if not place.name:
        return _notice(change, "no_place")
    return replace(change, place=place, charger=None)


def _gauge(change: Change, discharged: float | None, hours: float | None) -> Change:
    if discharged is not None and not 0 <= discharged <= 100:
        return _notice(change, "bad_discharge")
    if hours is not None and not (math.isfinite(hours) and 0 <= hours <= 1_000_000):
        return _notice(change, "bad_hours")
    return replace(
        change,
        discharged_percent=change.discharged_percent if discharged is None else discharged,
        hours=change.hours if hours is None else hours,
    )


def _released(change: Change, given: Release, facts: Facts) -> Change:
    now = situation(change, facts)
    if now.stage != "stop" or now.why != "not_ready" or given.battery != change.battery:
        return _notice(change, "nothing_to_release")
    if given.seen != now.token:
        return _notice(change, "changed")
    if not now.can_release:
        return _notice(change, "never_released")
    if not facts.may_release(given.by):
        return _notice(change, "no_supervisor", person=_brief(given.by))
    if not plain(given.reason):
        return _notice(change, "no_reason")
    stands = tuple(reason.sentence for reason in now.readiness.reasons) if now.readiness else ()
    unseen = [sentence for sentence in stands if sentence not in given.shown]
    if unseen:
        return _notice(change, "came_up", reason=unseen[0])
    return replace(change, release=Released(given.by, given.reason.strip(), stands))


def _undo(change: Change, facts: Facts) -> Change:
    if change.under_way:
        if change.undoing is not None:
            return _notice(_fresh(change), "not_undone")
        # Whoever meant the change logged before is told that it stands.
        before = facts.last_change()
        if before is None:
            return _notice(_fresh(change), "begun_again")
        pair = {"battery": before.battery_in, "truck": before.truck}
        return _notice(_fresh(change), "begun_again_after", **pair)
    last = facts.last_change()
    if last is None:
        return _notice(_fresh(change), "nothing_to_undo")
    return replace(_fresh(change), undoing=last)
