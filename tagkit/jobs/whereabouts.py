"""Where an asset is, when it was last charged, and what state it is in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from tagkit.assets.room import EQUIPMENT
from tagkit.assets.tag import Kind, Tag
from tagkit.jobs.assets import asset, is_married
from tagkit.jobs.readiness import readiness_of
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState
from tagkit.rules.times import readable

RELEASED_ONCE = "released for one use"
"""The state of a battery that is not ready and may be used once all the same."""


@dataclass(frozen=True)
class Whereabouts:
    """The answer to “where is it?”; absent facts are None. Times are ISO 8601 with offset."""

    tag: str
    place: str | None
    in_truck: str | None
    on_charger: str | None
    state: str
    reasons: tuple[str, ...]
    since: str | None
    last_charged_at: str | None
    last_changed_at: str | None
    holds: tuple[str, ...]
    known_as: str | None = None
    """Fleet number, bay or maker's serial."""
    what: str | None = None
    """Which lifting gear or room equipment it is."""
    location: str | None = None
    """Where room equipment hangs or stands, by its plate."""

    def to_json(self) -> dict[str, Any]:
        """The contract's object."""
        return {
            "tag": self.tag,
            "place": self.place,
            "in_truck": self.in_truck,
            "on_charger": self.on_charger,
            "state": self.state,
            "reasons": list(self.reasons),
            "since": self.since,
            "last_charged_at": self.last_charged_at,
            "last_changed_at": self.last_changed_at,
            "holds": list(self.holds),
        }


def where_is(site: Site, number: str | Tag) -> Whereabouts:
    """Where the asset with this number is; NotFound when the record does not know it."""
    return whereabouts_of(site, asset(site.record, number))


def whereabouts_of(site: Site, found: AssetState) -> Whereabouts:
    """The same for a state that was looked up already."""
    kind = Kind(found.kind)
    place = found.place or {}
    name = place.get("name") if place else None
    state, reasons = _state(site, found)
    return Whereabouts(
        tag=found.tag,
        place=_place_in_words(site, place),
        in_truck=name if place.get("kind") == "truck" else None,
        on_charger=name if place.get("kind") == "charger" else None,
        state=state,
        reasons=reasons,
        since=place.get("since"),
        last_charged_at=found.last_charged_at,
        last_changed_at=found.last_changed_at,
        holds=tuple(
            held.tag
            for held in (site.record.held_by(found.tag) if kind is not Kind.BATTERY else ())
        ),
        known_as=_known_as(found),
        what=_what(found),
        location=_stated(found, "location"),
    )


def _what(found: AssetState) -> str | None:
    equipment = _stated(found, "equipment")
    return EQUIPMENT.get(equipment, equipment) if equipment else _stated(found, "gear")


def _stated(found: AssetState, field: str) -> str | None:
    fact = found.nameplate.get(field)
    return str(fact["value"]) if fact else None


def _known_as(found: AssetState) -> str | None:
    """What people call it: its number in the fleet, its bay, or the serial stamped on it."""
    for field in ("fleet_number", "bay", "maker_serial"):
        if fact := found.nameplate.get(field):
            return str(fact["value"])
    return None


def _place_in_words(site: Site, place: dict[str, Any]) -> str | None:
    if not place:
        return None
    name = str(place.get("name") or "")
    if place.get("kind") == "truck":
        return f"in truck {_named(site, name, 'fleet_number')}"
    if place.get("kind") == "charger":
        return f"at charger {_named(site, name, 'bay')}"
    return name or str(place.get("kind"))


def _named(site: Site, tag: str, field: str) -> str:
    """The tag with the words people know it by, when the nameplate has them."""
    state = site.record.state(tag)
    fact = state.nameplate.get(field) if state else None
    return f"{tag} ({fact['value']})" if fact else tag


def _state(site: Site, found: AssetState) -> tuple[str, tuple[str, ...]]:
    """One word for the state, and the reasons behind it."""
    if found.retired_at:
        return "retired", ()
    if found.holds:
        return "held", tuple(dict.fromkeys(_hold(hold) for hold in found.holds))
    if found.kind != Kind.BATTERY.value:
        return ("in service" if is_married(found) else "not married yet"), ()
    if not is_married(found):
        return "not married yet", ("label and case have not been matched",)
    place = found.place or {}
    if found.charging:
        since = readable(found.charging["started_at"], site.timezone())
        return "on charge", (f"since {since}",)
    if place.get("kind") == "truck":
        return "in use", ()
    ready = readiness_of(site, found, "use")
    if ready.ready and ready.lifted and found.release:
        given = f"by {found.release['by']}, reason: {found.release['reason']}"
        return RELEASED_ONCE, (given, *(f"although {one.sentence}" for one in ready.lifted))
    if ready.ready:
        return "ready", ()
    return "not ready", tuple(reason.sentence for reason in ready.reasons)


def _hold(hold: dict[str, Any]) -> str:
    safety = " (for safety: only an inspection lifts it)" if hold["kind"] == "safety" else ""
    return f"{hold['reason']}{safety}"
