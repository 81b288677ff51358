"""What a station needs to know, asked of whoever drives it.

The conversation itself reads no record and no clock: the command line and the web hand in an
object that answers these few questions, freshly for each input.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal, Protocol

from tagkit.assets.kinds import AnyPlate
from tagkit.assets.tag import Tag
from tagkit.rules.readiness import HoldFact, ReadinessFacts
from tagkit.settings import Settings

PlaceKind = Literal["truck", "charger", "stand", "elsewhere"]


@dataclass(frozen=True)
class Placement:
    """Where the record says a battery is; ``name`` is a tag or words."""

    kind: PlaceKind
    name: str
    since: datetime | None = None


@dataclass(frozen=True)
class AssetFacts:
    """One asset as the record knows it now."""

    tag: Tag
    plate: AnyPlate
    married: bool = False
    retired: bool = False
    holds: tuple[HoldFact, ...] = ()
    unknown_kinds: tuple[str, ...] = ()
    set_apart: tuple[HoldFact, ...] = ()  # of a truck or charger; a battery's with its readiness
    place: Placement | None = None  # of a battery
    batteries: tuple[Tag, ...] = ()  # what a truck or charger holds by the record
    readiness: ReadinessFacts = field(default_factory=ReadinessFacts)  # of a battery
    last_event: str = ""
    jumpered: tuple[int, ...] = ()  # bridged cells of a battery


@dataclass(frozen=True)
class LoggedChange:
    """The last change logged at this station that can still be undone."""

    event: str
    truck: Tag
    battery_in: Tag
    battery_out: Tag | None
    by: str
    at: datetime


class Facts(Protocol):
    """The record as it stands at this moment."""

    @property
    def now(self) -> datetime:
        """The time, aware, in the site's zone."""

    @property
    def settings(self) -> Settings:
        """The site's settings."""

    def asset(self, tag: Tag) -> AssetFacts | None:
        """What is known of ``tag``; None when it is not in the record."""

    def may_release(self, person: str) -> bool:
        """Whether this person is a supervisor whose authorisation runs."""

    def last_change(self) -> LoggedChange | None:
        """The change that an undo at this station would void."""
