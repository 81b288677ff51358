"""What a station says beside the conversation's own words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


def _(sentence: str) -> str:
    """Marks a sentence for the catalogue; it is translated when it is shown."""
    return sentence


SAYS: Mapping[str, str] = {
    "changed": _("The screen has changed since: look again, then press"),
    "too_soon": _("That came before this screen could be read. Look, then press again"),
    "no_shift": _("Nobody has begun a shift here. Show your badge, or sign in; then press again"),
    "other_site": _("That card belongs to another site ({site})"),
    "nothing_to_log": _("There is nothing to log yet: do what the screen asks first"),
    "nothing_next": _("Show a truck and a battery first"),
    "type_it": _("Type what is asked first: the last characters, or the stamped serial"),
    "choose_one": _("Press the one that you mean"),
    "card_lies": _(
        "A card lies in view of the camera ({card}) and does nothing. Take it away; "
        "hold it up when you mean it"
    ),
    "out_of_service": _("That is the card of {number}, which is out of service"),
    "badge_refused": _("This badge opens no shift: {problem}"),
    "shift_opened": _("{person} is at this station now"),
    "shift_closed": _("The shift here has ended. Show your badge to go on"),
    "no_cards": _("Cards do nothing here: this only checks. Changes are logged at the station"),
    "nothing_to_hold": _("Show what is to be held first"),
    "held": _("{number} is held: it must not be used until it is released"),
    "not_held": _("NOT held: {problem}"),
    "forsaken": _("Put back: nothing came for twenty minutes. Nothing was logged"),
    "wrong_pin": _("Not released: {problem}"),
}


@dataclass(frozen=True)
class Said:
    """A sentence in English, with what fills its {names}."""

    sentence: str
    values: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True)
class HoldReason:
    """Why something is held, by one press. A safety hold is lifted by an inspection only."""

    words: str
    safety: bool


HOLD_REASONS = (
    HoldReason(_("Leaks, or acid on the case"), True),
    HoldReason(_("Case cracked or bulged"), True),
    HoldReason(_("Cable, plug or lug damaged"), True),
    HoldReason(_("Hot, smells or hisses"), True),
    HoldReason(_("Something else: to be looked at"), False),
)
