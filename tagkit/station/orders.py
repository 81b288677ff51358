"""What the conversation asks to be logged, with everything it was judged by."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tagkit.assets.kinds import AnyPlate
from tagkit.assets.tag import Tag
from tagkit.rules.readiness import Readiness
from tagkit.rules.verdict import Verdict
from tagkit.station.facts import PlaceKind
from tagkit.station.inputs import AnswerGiven


@dataclass(frozen=True)
class Answered:
    """A contradiction and what the person said: ``key`` names it, ``about`` the battery."""

    key: str
    about: Tag
    recorded: str
    given: AnswerGiven = "as-shown"


@dataclass(frozen=True)
class Destination:
    """Where the battery out goes; the name of a charger is its tag."""

    kind: PlaceKind
    name: str


@dataclass(frozen=True)
class Released:
    """Who released an unready battery here, and why; ``lifts``: the reasons that it lifts, each by
    its sentence, so that a second hold, or a hotter battery, is another reason."""

    by: str
    reason: str
    lifts: tuple[str, ...] = ()


@dataclass(frozen=True)
class ChangeOrder:
    """A change to be logged; made only by a person's confirming press.

    ``seen`` names the last event of each asset that this was judged by, so that the record can
    refuse it if somebody was faster. ``charge_ended``: the battery in was recorded as still on
    charge and shown to be off it.
    """

    truck: Tag
    battery_in: Tag
    battery_out: Tag | None
    out_to: Destination | None
    verdict: Verdict
    readiness: Readiness
    plates: Mapping[Tag, AnyPlate]
    seen: Mapping[str, str]
    answers: tuple[Answered, ...] = ()
    release: Released | None = None
    confirmed_by_hand: tuple[Tag, ...] = ()
    steps: tuple[str, ...] = ()
    charger_verdict: Verdict | None = None
    charge_ended: bool = False
    discharged_percent: float | None = None
    hours: float | None = None


@dataclass(frozen=True)
class UndoOrder:
    """The last change is to be voided."""

    event: str
    truck: Tag
    battery_in: Tag
