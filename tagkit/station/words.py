"""Every sentence a station shows, by message key.

English stands here; another language is another table with the same keys and the same names in
braces (a test keeps them equal). ``{name}`` is filled from the line's values.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

ENGLISH: Mapping[str, str] = {
    # The one answer
    "show.both": "SHOW TRUCK AND BATTERY",
    "show.truck": "SHOW THE TRUCK",
    "show.battery": "SHOW THE BATTERY",
    "choose": "WHICH ONE?",
    "recovered": "CHECK THE NUMBER",
    "question": "THE RECORD SAYS OTHERWISE",
    "stop.unknown": "STOP: NOT IN THE RECORD",
    "stop.retired": "STOP: LEFT THE FLEET",
    "stop.no_fit": "STOP: NO FIT",
    "stop.not_confirmed": "STOP: NOT CONFIRMED",
    "stop.not_ready": "STOP: FIT, DO NOT USE",
    "stop.charger": "STOP: NOT ON THIS CHARGER",
    "fit": "FIT",
    "undo": "UNDO THE LAST CHANGE?",
    "writing": "LOGGING",
    "logged": "LOGGED",
    "undone": "UNDONE",
    # What is shown so far
    "line.truck": "Truck {number} {fleet}",
    "line.battery": "Battery in: {number}",
    "line.charger": "Charger {number}",
    "line.unknown": "{number}: this site knows no such {noun}",
    "line.retired": "{number}: this {noun} has left the fleet",
    "line.nothing_with_it": "Nothing can be logged with it",
    "line.check": "{name}: {found}, required {required}: {note}",
    "line.check_inside": "{name}: {found}, required {required}",
    "line.check_note": "{found}: {note}",
    "line.reason": "{reason}",
    "line.lifted": "Released by {person}: {reason}",
    "line.lifted_before": "Released by a supervisor: {reason}",
    "line.caution": "{reason}",
    "line.balance": "{sentence}",
    "line.out": "Battery out: {number}",
    "line.danger": "Careful with the one coming out: {reason}",
    "line.out_none": "No battery comes out",
    "line.out_not_recorded": "The record knows no battery in this truck: show the one coming out",
    "line.out_several": "The record has several batteries in this truck: which comes out?",
    "line.to": "It goes to: {place}",
    "line.to_unknown": "Where it goes is not said: show the charger, or say the stand",
    "line.undo": "{battery} into {truck}, logged by {person} on {time}",
    "line.logged": "{battery} is in {truck}",
    "line.undone": "{battery} into {truck} no longer counts; the entry stays, marked as undone",
    "line.unsure": (
        "A damaged label was made out. Read the last {count} characters of the number off the "
        "{noun}, or its stamped serial, and type them"
    ),
    # What to do
    "do.unknown": "Leave it, and have it taken in first. Show the label of another one",
    "do.retired": "Leave it and tell the lead that it is here. Show the label of another one",
    "do.no_fit": "Leave it. Take another battery and show its label",
    "do.not_confirmed": (
        "Leave it. Take another battery, or have the missing facts settled away from the station"
    ),
    "do.waiting": "Or press the truck that waits for a battery",
    "do.marry": "Leave it until it is married: compare its stamp with the record, then show it",
    "do.not_ready": "Leave it. Take another battery, or call a supervisor to release this one",
    "do.held_for_good": "Leave it. Take another battery; a release can't lift this",
    "do.truck": "Leave the truck: another battery does not help. Call a supervisor",
    "do.charger": "Show another charger, or put the battery on the stand",
    "do.not_charged": "Not on a charger now: put the battery on the stand, and tell the lead",
    "do.steps": "Do each, then press once",
    # Questions
    "question.in_another_truck": "{about} is recorded in truck {recorded}",
    "question.in_this_truck": "{about} is recorded in this truck already",
    "question.on_charge": "{about} is recorded as still on charge: {recorded} since {time}",
    "question.other_out": "{recorded} is recorded in this truck, but {about} was shown coming out",
    "question.out_elsewhere": "{about} is recorded at {recorded}, but was shown coming out here",
    "question.not_empty": "{recorded} is recorded in this truck, but nothing comes out",
    "question.charger_holds": "{recorded} is recorded on charger {about}",
    # Buttons
    "press.out": "Yes, take it out",
    "press.out_none": "Truck is empty",
    "press.log": "Done: LOG",
    "press.undo": "Yes, undo it",
    "press.no": "No, leave it",
    "press.as_shown": "As shown here",
    "press.as_recorded": "As recorded",
    "press.coming_out": "It is coming out",
    "press.still_on_charge": "It is still on charge",
    "press.charge_over": "Charger is off, cable free",
    "press.stand": "To the stand",
    "press.choose": "{number}",
    "press.choose_at": "{number}, {place}",
    "press.again": "Start again",
    "press.next_change": "Next change",
    "press.undo_last": "Undo",
    # Finishing steps
    "step.brake": "Brake set, key off",
    "step.seated": "Battery seated",
    "step.retainer": "Retainer or gate back",
    "step.cable": "Cable free, not pinched",
    "step.connected": "Connected",
    "step.works": "Truck works",
    "step.other": "{words}",
    # Notices
    "notice.foreign": "Not one of ours: {text}",
    "notice.mistyped": "{problem}. {remedy}",
    "notice.wrong_kind": "That is {noun}: show a truck, a battery or a charger",
    "notice.same_truck": "{number} is shown already",
    "notice.same_battery": "{number} is shown already",
    "notice.going_in": "Right: {number} is the one going in",
    "notice.coming_out": "{number} is the one coming out",
    "notice.other_battery": "{number} is not the battery checked before: checked anew",
    "notice.is_coming_out": "{number} is taken as the one in the truck: show the one going in",
    "notice.recorded_in_another_truck": (
        "{number} stays recorded where it was: read the number on the case again"
    ),
    "notice.recorded_on_charge": "{number} stays on charge: end its charge first",
    "notice.other_charger": "Show a free charger, or say the stand",
    "notice.not_offered": "That one is not among the choices",
    "notice.not_asked": "Nothing was asked",
    "notice.no_match": "That is not what the number ends in: read it again",
    "notice.read_again": "Not confirmed: show the label again, or type the whole number",
    "notice.changed": "The screen has changed since: look again, then press",
    "notice.nothing_to_confirm": "Nothing to confirm here",
    "notice.no_place": "Say which stand or place",
    "notice.bad_discharge": "Discharge is between 0 and 100 %",
    "notice.bad_hours": "Hours are the figure on the meter",
    "notice.nothing_to_release": "There is nothing to release for this battery",
    "notice.never_released": "A release can't lift this: only an inspection or the lead can",
    "notice.no_supervisor": "{person} is not a supervisor with a running authorisation",
    "notice.came_up": "NOT released: this came up meanwhile: {reason}. Look, then release again",
    "notice.no_reason": "A release needs a reason in words",
    "notice.begun_again": "Started again: what was shown is not logged, and nothing was undone",
    "notice.begun_again_after": (
        "Started again, nothing was undone: {battery} into {truck} stays logged. Undo once more asks "
        "about it"
    ),
    "notice.not_undone": "Nothing was undone: what was logged stays",
    "notice.nothing_to_undo": "There is no change to undo",
    "notice.refused": "NOT logged: {problem}",
    # Cautions by step
    "caution.park": "Truck parked, brake set, key off",
    "caution.trained": "Only trained, authorised people; the maker's instructions come first",
    "caution.lift": "Rated, insulated gear only; nobody beside or under the battery",
    "caution.roll": "Lock the carriage; hands clear; gate or retainer back at the end",
    "caution.acid": "Goggles or face shield, acid-resistant gloves, apron; know the eyewash",
    "caution.caps": "Vent caps in place; nothing on top of the battery",
    "caution.electric": "No jewellery; insulated tools; a connector is no switch",
    "caution.charger": "Charger off before any connector moves; air moving; no flame",
    "caution.tip": "A battery that does not fit can make the truck tip or burn",
}


@dataclass(frozen=True)
class Line:
    """A sentence by key, with what fills it."""

    key: str
    values: Mapping[str, object] = field(default_factory=dict)

    @property
    def text(self) -> str:
        """In English."""
        return say(self.key, self.values)

    def __hash__(self) -> int:
        return hash((self.key, tuple(sorted((name, str(v)) for name, v in self.values.items()))))


def say(key: str, values: Mapping[str, object], words: Mapping[str, str] = ENGLISH) -> str:
    """The sentence for ``key`` in the language of ``words``."""
    return " ".join(words[key].format_map(values).split())
