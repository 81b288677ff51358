"""Changes of battery: the conversation of the station, driven to its end and written down."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from typing import Any

from tagkit.assets.fields import stored_plate
from tagkit.assets.tag import Kind, Tag, parse_tag
from tagkit.errors import Exit, NeedsAnswer, TagkitError, WrongInput
from tagkit.jobs.answers import check_answer
from tagkit.jobs.assets import asset, tag_of
from tagkit.jobs.charge_flags import judge_charge
from tagkit.jobs.facts import RecordFacts
from tagkit.jobs.fit import Judgement, judge_states
from tagkit.jobs.order import in_order
from tagkit.jobs.people import check_authorised
from tagkit.jobs.reason import checked_reason
from tagkit.jobs.site import Site
from tagkit.record.envelope import Event, event_id
from tagkit.record.words import describe
from tagkit.record.writing import Writing
from tagkit.rules.times import readable
from tagkit.station.change import Change, advance, begin
from tagkit.station.inputs import Answer, AnswerGiven, Confirm, Gauge, Seen, Shown
from tagkit.station.orders import ChangeOrder
from tagkit.station.situation import Question, Situation, situation


class ChangeRefused(TagkitError):
    """No fit, not confirmed or not ready: nothing was logged."""

    def __init__(self, judgement: Judgement) -> None:
        self.judgement = judgement
        super().__init__(
            f"{judgement.headline()}: the change was not logged", "Take another battery"
        )
        self.exit_code = judgement.exit_code()


@dataclass(frozen=True)
class Wanted:
    """A change as somebody asks for it: numbers as typed or read, truck and battery in either
    order. ``answer`` is what to say to every contradiction with the record."""

    truck: str
    battery_in: str
    battery_out: str | None = None
    charger: str | None = None
    discharged_percent: float | None = None
    hours: float | None = None
    answer: str | None = None


@dataclass(frozen=True)
class ChangeLogged:
    """The change that is now in the record."""

    event: Event
    warning: str | None = None
    """About whoever did it, where the site only warns."""
    zone: tzinfo | None = None
    """The clock of the site, by which its times are said; None: of this computer."""

    @property
    def notes(self) -> tuple[str, ...]:
        """The contradictions that were answered as shown, which are on the lead's list."""
        return tuple(
            f"noted for the lead: the record had {_recorded_said(answered, self.zone)} "
            f"({answered['about']})"
            for answered in self.event.body["answers"]
        )

    def to_json(self) -> dict[str, Any]:
        """What was logged."""
        body = self.event.body
        return {
            "event": self.event.id,
            "happened_at": self.event.happened_at,
            "truck": body["truck"],
            "battery_in": body["battery_in"],
            "battery_out": body["battery_out"],
            "out_to": body["out_to"],
            "answers": body["answers"],
            "warning": self.warning,
            **body["verdict"],
        }


def log_change(
    site: Site, wanted: Wanted, *, by: str, station: str, at: datetime | None = None
) -> ChangeLogged:
    """Check and log a change.

    Raises ChangeRefused (10, 11, 12) unless the battery fits and is ready, NeedsAnswer (13)
    when the record says otherwise and ``wanted.answer`` does not say which is right. One
    transaction: a change with its charge is in the record whole, or not at all.
    """
    check_answer(wanted.answer)
    warning = check_authorised(site, by)
    with site.record.writing(by=by, station=station, at=at) as writing:
        facts = RecordFacts(site, writing, station, at)
        order = _converse(_Talk(site, writing, facts, wanted, at))
        tags = (order.truck, order.battery_in, order.battery_out)
        states = [state for tag in tags if tag and (state := writing.state(tag))]
        event = _append(site, writing, order, in_order(site, at, states))
    return ChangeLogged(event, warning, site.timezone())


def log_order(
    site: Site, order: ChangeOrder, *, by: str, station: str, at: datetime | None = None
) -> ChangeLogged:
    """Log what a conversation at a station ended with.

    Overtaken (13) when anything was recorded of these assets since the person saw them, so the
    verdict that the order carries still holds.
    """
    warning = check_authorised(site, by)
    with site.record.writing(by=by, station=station, at=at) as writing:
        event = _append(site, writing, order)
    return ChangeLogged(event, warning, site.timezone())


@dataclass(frozen=True)
class _Talk:
    """A conversation that answers itself from what is wanted."""

    site: Site
    writing: Writing
    facts: RecordFacts
    wanted: Wanted
    at: datetime | None


def _converse(talk: _Talk) -> ChangeOrder:
    """Drive the station's conversation to an order, or raise where a person has to decide."""
    truck, battery, out, charger = _tags(talk)
    change = begin()
    for tag in (truck, battery, charger):
        if tag is not None:
            change = advance(change, Shown((Seen(tag),)), talk.facts)
    gauge = Gauge(talk.wanted.discharged_percent, talk.wanted.hours)
    change = advance(change, gauge, talk.facts)
    if change.notice is not None:
        raise WrongInput(change.notice.text, "Read the gauge or the meter again")
    while not isinstance(change.order, ChangeOrder):
        now = situation(change, talk.facts)
        asks_for_out = now.stage == "out" or (now.stage == "question" and now.about_out)
        if out is not None and out != change.shown_out and asks_for_out:
            change = advance(change, Shown((Seen(out),)), talk.facts)
            continue
        change = _reply(talk, change, now, truck, battery)
    return change.order


def _tags(talk: _Talk) -> tuple[Tag, Tag, Tag | None, Tag | None]:
    wanted, writing, record = talk.wanted, talk.writing, talk.site.record
    typed = [tag_of(record, number) for number in (wanted.truck, wanted.battery_in)]
    pair = [parse_tag(asset(writing, tag).tag) for tag in typed]
    if {tag.kind for tag in pair} != {Kind.TRUCK, Kind.BATTERY}:
        raise WrongInput(
            f"{pair[0]} and {pair[1]} are not a truck and a battery",
            "Give the number of a truck and of a battery",
        )
    truck, battery = pair if pair[0].kind is Kind.TRUCK else reversed(pair)
    out = charger = None
    if wanted.battery_out is not None:
        out = parse_tag(asset(writing, wanted.battery_out, Kind.BATTERY).tag)
        if out == battery:
            raise WrongInput(f"{battery} can't go in and come out at once", "Check it", "--out")
    if wanted.charger is not None:
        charger = parse_tag(asset(writing, wanted.charger, Kind.CHARGER).tag)
    for tag in (truck, battery, out, charger):
        state = writing.state(tag) if tag is not None else None
        if state and state.retired_at:
            raise WrongInput(f"{tag} is retired: it has left the fleet", "Check the number")
    return truck, battery, out, charger


def _reply(talk: _Talk, change: Change, now: Situation, truck: Tag, battery: Tag) -> Change:
    """What the person would press next."""
    if now.stage == "stop":
        raise _stopped(talk, now, truck, battery)
    if now.stage == "question" and now.question is not None:
        return _answer(talk, change, now, now.question)
    if now.stage == "out" and now.out_choices:
        raise NeedsAnswer(
            f"the record has several batteries in {truck}: {' '.join(map(str, now.out_choices))}",
            "Name the one that came out with --out; nothing was logged",
        )
    if now.stage not in ("out", "finish"):
        raise WrongInput(f"{truck} and {battery} can't be changed now", "Check both numbers")
    _check_charge(talk, now)
    return advance(change, Confirm(now.token), talk.facts)


def _stopped(talk: _Talk, now: Situation, truck: Tag, battery: Tag) -> TagkitError:
    if now.why == "charger" and now.out is not None and now.charger is not None:
        return ChangeRefused(_judged(talk, now.out, now.charger))
    judged = _judged(talk, battery, truck)
    if now.verdict is not None and now.readiness is not None:
        # What stopped it, which may rest on an answer given: off its charger, so resting now.
        judged = replace(judged, verdict=now.verdict, readiness=now.readiness)
    return ChangeRefused(judged)


def _judged(talk: _Talk, battery: Tag, other: Tag) -> Judgement:
    states = asset(talk.writing, battery), asset(talk.writing, other)
    return judge_states(talk.site, *states, at=talk.at)


_SAYS = {
    "in_another_truck": "by the record {about} is in {recorded}",
    "in_this_truck": "by the record {about} is in this truck already",
    "on_charge": "by the record {about} is still on charge: {recorded}",
    "other_out": "by the record {recorded} is in this truck, not {about}",
    "out_elsewhere": "by the record {about} is in {recorded}, not in this truck",
    "not_empty": "by the record {recorded} is in this truck",
    "charger_holds": "by the record {about} holds {recorded}",
}


def _clock_said(recorded: str, zone: tzinfo | None) -> str:
    """A charger and since when, as the clock of the site has it."""
    where, since, moment = recorded.rpartition(" since ")
    return f"{where}{since}{readable(moment, zone)}"


def _recorded_said(answered: dict[str, Any], zone: tzinfo | None) -> str:
    """What the record had, of an answer as the event keeps it."""
    recorded = str(answered["recorded"])
    return _clock_said(recorded, zone) if answered["key"] == "on_charge" else recorded


def _why_there(talk: _Talk, about: Tag) -> Event | None:
    """The entry by which the record has an asset where it is: of a battery the one that placed
    it, which may be later than its last change."""
    state = talk.site.record.state(about)
    placed = (state.place or {}).get("event") if state is not None else None
    return (talk.site.record.event(placed) if placed else None) or talk.site.record.last_change(
        about
    )


def _answer(talk: _Talk, change: Change, now: Situation, question: Question) -> Change:
    given = talk.wanted.answer
    if given is None:
        last = _why_there(talk, question.about)
        told = f" ({describe(last)})" if last else ""
        recorded = question.recorded
        if question.key == "on_charge":
            recorded = _clock_said(recorded, talk.site.timezone())
        said = _SAYS[question.key].format(about=question.about, recorded=recorded)
        raise NeedsAnswer(
            said + told,
            "Look again. Add --answer as-shown when what you see is right, or as-recorded when "
            "the record is; nothing was logged",
        )
    if given == "as-recorded" and not now.about_out:
        raise WrongInput(
            f"then {question.about} is not the one in front of you",
            "Read its number again; nothing was logged",
            "--answer",
        )
    if given == "as-recorded" and talk.wanted.battery_out is not None:
        raise WrongInput(
            "then another battery came out than --out says",
            "Leave --out away, and the one in the record is logged; nothing was logged",
            "--answer",
        )
    answer: AnswerGiven = "as-shown" if given == "as-shown" else "as-recorded"
    return advance(change, Answer(now.token, answer), talk.facts)


def _check_charge(talk: _Talk, now: Situation) -> None:
    """A battery that must not be charged now goes on no charger."""
    if now.out is None:
        if now.charger is not None or talk.wanted.charger is not None:
            raise WrongInput(
                "the record knows no battery in this truck, so none goes on the charger",
                "Name the one that came out with --out",
                "--charger",
            )
        return
    if now.charger is not None:
        judged = _judged(talk, now.out, now.charger)
        if judged.exit_code() != Exit.DONE:
            raise ChangeRefused(judged)


def _append(site: Site, writing: Writing, order: ChangeOrder, at: datetime | None = None) -> Event:
    """The order as events; the charge of the battery taken out begins with it."""
    writing.require_unchanged(dict(order.seen))
    if order.charge_ended:
        state = writing.state(order.battery_in)
        body = {"battery": str(order.battery_in), "with_change": True}
        if state is not None:
            body |= judge_charge(site, state, {}, None, None, at or site.now()).body()
        writing.append("charge_ended", [order.battery_in], body, at=at)
    out = str(order.battery_out) if order.battery_out else None
    place = order.out_to
    event = writing.append(
        "changed",
        [tag for tag in (order.truck, order.battery_in, order.battery_out) if tag],
        {
            "truck": str(order.truck),
            "battery_in": str(order.battery_in),
            "battery_out": out,
            "out_to": {"kind": place.kind, "name": place.name} if place else None,
            "verdict": order.verdict.to_json(),
            "nameplates": {str(tag): stored_plate(plate) for tag, plate in order.plates.items()},
            "discharged_percent": order.discharged_percent,
            "hours": order.hours,
            "answers": [
                {
                    "key": answered.key,
                    "about": str(answered.about),
                    "recorded": answered.recorded,
                    "given": answered.given,
                }
                for answered in order.answers
            ],
            "release": _release(order),
            "confirmed_by_hand": [str(tag) for tag in order.confirmed_by_hand],
        },
        seen=dict(order.seen),
        at=at,
    )
    if out and place and place.kind == "charger":
        verdict = order.charger_verdict
        writing.append(
            "charge_started",
            [out, place.name],
            {
                "battery": out,
                "charger": place.name,
                "charge_kind": "conventional",
                "verdict": verdict.to_json() if verdict else None,
                "with_change": True,
            },
            at=at,
        )
    return event


def _release(order: ChangeOrder) -> dict[str, Any] | None:
    """Who released the battery at the station, and from what, or that a release in the record was
    used."""
    if order.release is not None:
        given = order.release
        return {"by": given.by, "reason": given.reason, "lifts": list(given.lifts)}
    if not order.readiness.lifted:
        return None
    return {"by": None, "reason": "; ".join(reason.sentence for reason in order.readiness.lifted)}


@dataclass(frozen=True)
class Undone:
    """The event that cancels, and what it cancelled."""

    event: Event
    cancelled: Event


def undo_last(
    site: Site, reason: str, *, by: str, station: str, at: datetime | None = None
) -> Undone:
    """Cancel the last change logged at ``station``; see :func:`undo_change`."""
    change = site.record.last_change(station)
    if change is None:
        raise WrongInput(
            f"no change is left to undo at the station “{station}”"
            if site.record.changed_at(station)
            else f"no change was logged at the station “{station}”",
            "Nothing is undone",
        )
    return undo_change(site, change.id, reason, by=by, station=station, at=at)


def undo_change(
    site: Site, identity: str, reason: str, *, by: str, station: str, at: datetime | None = None
) -> Undone:
    """Cancel a change, and the charges that were logged with it. It stays in the record.

    NeedsAnswer when it is cancelled already, or when something was recorded since of its truck
    or batteries.
    """
    reason = checked_reason(reason)
    with site.record.writing(by=by, station=station, at=at) as writing:
        change = site.record.event(identity)
        if change is None or change.kind != "changed" or change.voided:
            raise NeedsAnswer("that change is cancelled already", "Look it up in the history")
        together = [*_charges_with(site, change), change]
        own = {event.id for event in together}
        for tag in (change.body["truck"], change.body["battery_in"], change.body["battery_out"]):
            state = writing.state(tag) if tag else None
            if state is None or state.last_event in own:
                continue
            later = site.record.event(str(state.last_event))
            raise NeedsAnswer(
                f"something was recorded since: {describe(later) if later else state.last_event}",
                "Record what is so now with “tagkit seen”; the change was not undone",
            )
        events = [
            writing.append("voided", list(void.tags), {"event": void.id, "reason": reason})
            for void in together
        ]
    return Undone(events[-1], change)


def _charges_with(site: Site, change: Event) -> list[Event]:
    """The end of a charge before a change and the start of one after it, logged together."""
    body = change.body
    pairs = ((-1, "charge_ended", body["battery_in"]), (1, "charge_started", body["battery_out"]))
    beside = [
        (site.record.event(event_id(change.epoch, change.sequence + offset)), kind, battery)
        for offset, kind, battery in pairs
    ]
    return [
        event
        for event, kind, battery in beside
        if event is not None
        and event.kind == kind
        and event.body["battery"] == battery
        and event.body.get("with_change")
        and not event.voided
    ]
