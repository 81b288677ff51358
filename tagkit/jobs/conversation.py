"""A station in operation: the conversation, with the record behind it.

The terminal and any screen do the same: show ``look(change, facts)``, take an input, call
:func:`step`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from tagkit.assets.tag import Tag
from tagkit.errors import TagkitError
from tagkit.jobs.change import log_order, undo_change
from tagkit.jobs.facts import RecordFacts
from tagkit.jobs.site import Site
from tagkit.station.change import Change, advance
from tagkit.station.inputs import Input, Logged, Refused, Seen, Shown
from tagkit.station.orders import UndoOrder
from tagkit.station.screen import Screen, look

if TYPE_CHECKING:
    from tagkit.reader.read import Read


@dataclass(frozen=True)
class Station:
    """Who stands at which station of which site."""

    site: Site
    name: str
    by: str

    @property
    def facts(self) -> RecordFacts:
        """The record as it stands now."""
        return RecordFacts(self.site, self.site.record, self.name)


def screen_of(station: Station, change: Change) -> Screen:
    """What to show now."""
    return look(change, station.facts)


def step(station: Station, change: Change, given: Input) -> Change:
    """The state after ``given``; an order that a person confirmed is in the record then.

    What can't be logged is told on the screen; nothing is half logged.
    """
    change = advance(change, given, station.facts)
    order = change.order
    if order is None:
        return change
    outcome: Input
    try:
        if isinstance(order, UndoOrder):
            reason = "undone at the station"
            done = undo_change(
                station.site, order.event, reason, by=station.by, station=station.name
            )
            outcome = Logged(done.event.id)
        else:
            logged = log_order(station.site, order, by=station.by, station=station.name)
            outcome = Logged(logged.event.id)
    except TagkitError as error:
        outcome = Refused(str(error))
    return advance(change, outcome, station.facts)


def shown(labels: Sequence[Read]) -> Shown:
    """Labels that the reader saw, as the conversation takes them in."""
    return Shown(
        tuple(Seen(one.tag, recovered=one.method == "recovered") for one in labels if one.tag)
    )


def decoded(labels: Sequence[Read]) -> frozenset[Tag]:
    """The tags of those that a decoder read."""
    return frozenset(one.tag for one in labels if one.tag and one.method == "decoded")
