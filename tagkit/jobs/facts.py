"""What the record knows, in the form the station asks for it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from tagkit.assets.tag import Kind, Tag, parse_tag
from tagkit.jobs.assets import Looks, is_married, plate
from tagkit.jobs.flagged import flagged
from tagkit.jobs.people import is_supervisor
from tagkit.jobs.readiness import hold_facts, readiness_facts, set_apart
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState
from tagkit.settings import Settings
from tagkit.station.facts import AssetFacts, LoggedChange, Placement


@dataclass(frozen=True)
class RecordFacts:
    """The station's questions, answered from ``records``: a record, or the transaction writing.

    ``at`` is the moment the change happened, if not now.
    """

    site: Site
    records: Looks
    station: str
    at: datetime | None = None

    @property
    def now(self) -> datetime:
        """The time, in the site's zone."""
        return (self.at or self.site.now()).astimezone(self.site.timezone())

    @property
    def settings(self) -> Settings:
        """The site's settings."""
        return self.site.settings

    def asset(self, tag: Tag) -> AssetFacts | None:
        """What is known of ``tag``; None when it was never taken in here."""
        state = self.records.state(tag)
        return None if state is None or state.registered_at is None else self._facts(tag, state)

    def _facts(self, tag: Tag, state: AssetState) -> AssetFacts:
        place = state.place
        holder = tag.kind in (Kind.TRUCK, Kind.CHARGER)
        held = self.site.record.held_by(tag) if holder else []
        apart = set_apart(self.site, tag)
        return AssetFacts(
            tag=tag,
            plate=plate(state),
            married=is_married(state),
            retired=state.retired_at is not None,
            holds=hold_facts(state),
            unknown_kinds=tuple(state.unknown_kinds),
            set_apart=apart,
            place=Placement(place["kind"], place["name"], datetime.fromisoformat(place["since"]))
            if place
            else None,
            batteries=tuple(parse_tag(other.tag) for other in held),
            readiness=readiness_facts(
                state,
                self.settings,
                None,
                self.now,
                flagged=self._flagged(state),
                apart=apart,
            ),
            last_event=state.last_event or "",
            jumpered=tuple(state.jumpered),
        )

    def _flagged(self, state: AssetState) -> tuple[str, ...]:
        """What is flagged on it, for people to read; a transaction that writes asks for none."""
        shown = self.records is self.site.record
        return flagged(self.site, state, self.now) if shown else ()

    def may_release(self, person: str) -> bool:
        """Whether this person is a supervisor whose authorisation runs."""
        return is_supervisor(self.site, person)

    def last_change(self) -> LoggedChange | None:
        """The last change logged at this station."""
        event = self.site.record.last_change(self.station)
        if event is None:
            return None
        body = event.body
        return LoggedChange(
            event.id,
            parse_tag(body["truck"]),
            parse_tag(body["battery_in"]),
            parse_tag(body["battery_out"]) if body["battery_out"] else None,
            event.by,
            event.happened,
        )
