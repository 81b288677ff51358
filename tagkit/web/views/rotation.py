"""The rotation: which battery goes next into which trucks and why, and where every other stands."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tagkit.assets.tag import Kind
from tagkit.jobs.care_facts import time_text
from tagkit.jobs.fit import Judgement, judge_states
from tagkit.jobs.fleet import PAGE
from tagkit.jobs.judging import DUES, Telling, telling
from tagkit.jobs.site import Site
from tagkit.jobs.whereabouts import Whereabouts, whereabouts_of
from tagkit.record.state import AssetState
from tagkit.rules.rotation import Candidate, Place, next_battery
from tagkit.units import Quantity
from tagkit.web.judged import up_to_date
from tagkit.web.views.number import Linked, check_words
from tagkit.web.views.plates import in_one_line
from tagkit.web.views.states import role_of

LOOKED_AT = 60
TO_TAKE = 3
SOON = 2
ALL = 200
_WEIGHT_MARGIN = 10.0
"""Kilograms by which the record is asked more widely than the plate allows; the rule decides."""

_NAMES = ("maker_serial", "fleet_number", "made_on", "in_service_on", "warranty_until")


@dataclass(frozen=True)
class Next:
    """A battery in the order of one group of trucks."""

    place: Place
    where: Whereabouts
    ready: bool


@dataclass(frozen=True)
class Group:
    """Trucks with one plate, and what goes into them next."""

    name: str
    what: tuple[str, ...]
    trucks: tuple[Linked, ...]
    takes: tuple[Next, ...]
    """May go now, the first one first."""
    soon: tuple[Next, ...]
    """Fit, and will be ready at a known time."""
    trouble: str
    """Why nothing can be said, when that is so."""


@dataclass(frozen=True)
class Row:
    """A battery in the list of all."""

    where: Whereabouts
    role: str
    ready_at: datetime | None
    overdue: tuple[Telling, ...]


@dataclass(frozen=True)
class RotationPage:
    """Everything on the page."""

    groups: tuple[Group, ...]
    counts: Mapping[str, int]
    rows: tuple[Row, ...]
    total: int
    number: int
    pages: int
    at: datetime
    current: bool
    """False while a large fleet is still being judged for the first time."""


@dataclass(frozen=True)
class TruckRotation:
    """One truck, every battery of its voltage, and why each goes or is passed over."""

    truck: AssetState
    called: str
    holds: tuple[str, ...]
    trouble: str
    takes: tuple[Next, ...]
    passed: tuple[Next, ...]


def rotation_page(site: Site, units: str, number: int) -> RotationPage:
    """The rotation of the whole room."""
    current, now = up_to_date(site), site.now()
    outlook = site.record.outlook()
    listed = site.record.rotation(now, (number - 1) * PAGE, PAGE)
    rows = tuple(_row(site, state, ready_at, now) for state, ready_at in listed.rows)
    return RotationPage(
        tuple(_group(site, trucks, units) for trucks in _by_plate(site)),
        outlook.counts(time_text(now)),
        rows,
        listed.total,
        number,
        max(1, -(-listed.total // PAGE)),
        now,
        current,
    )


def truck_rotation(site: Site, truck: AssetState) -> TruckRotation:
    """The rotation as one truck sees it."""
    up_to_date(site)
    trouble, judged = _candidates(site, truck, everything=True)
    places = next_battery((candidate for candidate, _ in judged), site.now()).places
    known = {candidate.tag: one for candidate, one in judged}
    listed = [Next(place, whereabouts_of(site, known[place.tag].battery), place.place > 0)
              for place in places]  # fmt: skip
    return TruckRotation(
        truck,
        _called(truck.nameplate, truck.tag),
        tuple(str(hold["reason"]) for hold in truck.holds),
        trouble,
        tuple(one for one in listed if one.ready),
        tuple(one for one in listed if not one.ready),
    )


def _by_plate(site: Site) -> list[list[dict[str, Any]]]:
    """Trucks in the fleet, those with one plate together, in the order of their groups."""
    groups: dict[str, list[dict[str, Any]]] = {}
    for state in site.record.kept_states(Kind.TRUCK):
        if state.get("retired_at") is not None or state.get("registered_at") is None:
            continue
        plate = {name: fact for name, fact in (state.get("nameplate") or {}).items()
                 if name not in _NAMES}  # fmt: skip
        married = state.get("married_at") is not None or bool(state.get("as_stamped"))
        key = json.dumps([plate, married, state.get("unknown_kinds")], sort_keys=True)
        groups.setdefault(key, []).append(state)
    return sorted(groups.values(), key=lambda one: (_group_name(one[0]), one[0]["tag"]))


def _group(site: Site, trucks: list[dict[str, Any]], units: str) -> Group:
    # A held truck takes none; the others of its plate do.
    example = next((one for one in trucks if not one.get("holds")), trucks[0])
    truck = AssetState(**example)
    trouble, judged = _candidates(site, truck)
    known = {candidate.tag: one for candidate, one in judged}
    places = next_battery((candidate for candidate, _ in judged), site.now()).places
    takes = [place for place in places if place.place][:TO_TAKE]
    soon = [
        place
        for place in places
        if not place.place and place.ready_at and known[place.tag].verdict.fits
    ][:SOON]
    return Group(
        _group_name(example),
        tuple(in_one_line(Kind.TRUCK, truck.nameplate, units)),
        tuple(Linked(one["tag"], _called(one.get("nameplate") or {}, "")) for one in trucks),
        tuple(_next(site, place, known) for place in takes),
        tuple(_next(site, place, known) for place in soon),
        trouble,
    )


def _next(site: Site, place: Place, known: Mapping[str, Judgement]) -> Next:
    return Next(place, whereabouts_of(site, known[place.tag].battery), place.place > 0)


def _candidates(
    site: Site, truck: AssetState, everything: bool = False
) -> tuple[str, list[tuple[Candidate, Judgement]]]:
    """Batteries of the truck's voltage, judged; trouble when that is not known.

    Without ``everything`` only as many as it takes to know the next ones, in order of rest.
    """
    volts, window = _asked(truck.nameplate)
    if volts is None:
        return "the truck's voltage is not known, so no battery is confirmed for it", []
    outlook = site.record.outlook()
    near = (volts - 0.01, volts + 0.01)
    if everything:
        tags = [
            row.tag
            for standings in (("charged",), _LATER)
            for row in outlook.batteries(near, standings, None, ALL)
        ]
    else:
        tags = [row.tag for row in outlook.batteries(near, ("charged",), window, LOOKED_AT)]
    found = []
    takes = soon = 0
    for tag in tags:
        state = site.record.state(tag)
        if state is None:
            continue
        judged = judge_states(site, state, truck)
        found.append((_candidate(state, judged), judged))
        takes += judged.go
        soon += judged.verdict.fits and not judged.readiness.ready
        if not everything and takes >= TO_TAKE and soon >= SOON:
            break
    return "", found


_LATER = ("on charge", "in use", "held", "not confirmed", "not charged", "charge unknown", "hot",
          "clock")  # fmt: skip


def _candidate(state: AssetState, judged: Judgement) -> Candidate:
    place = state.place or {}
    rested = judged.readiness.ready_at or state.last_charged_at
    return Candidate(
        state.tag,
        judged.verdict.result,
        judged.readiness,
        tuple(check_words(check) for check in judged.verdict.deciding[:2]),
        datetime.fromisoformat(rested) if isinstance(rested, str) else rested,
        f"in truck {place['name']}" if place.get("kind") == "truck" else "",
    )


def _asked(plate: Mapping[str, Any]) -> tuple[float | None, tuple[float, float] | None]:
    """Volts and the window of weight (kg) that the plate states."""
    volts, low, high = (_base(plate.get(name)) for name in ("voltage", "weight_min", "weight_max"))
    window = (low - _WEIGHT_MARGIN, high + _WEIGHT_MARGIN) if low and high else None
    return volts, window


def _base(fact: Mapping[str, Any] | None) -> float | None:
    return Quantity.from_stored(dict(fact)).base() if fact else None


def _row(site: Site, state: AssetState, ready_at: str | None, now: datetime) -> Row:
    where = whereabouts_of(site, state)
    at = datetime.fromisoformat(ready_at) if ready_at else None
    told = (telling(one, now) for one in site.record.outlook().notices_of(state.tag))
    return Row(
        where,
        role_of(where.state),
        at if at and at > now else None,
        tuple(one for one in told if one.code in DUES and one.state in ("overdue", "due")),
    )


def _group_name(truck: Mapping[str, Any]) -> str:
    plate = truck.get("nameplate") or {}
    for field in ("group", "model"):
        if fact := plate.get(field):
            return str(fact["value"])
    return ""


def _called(plate: Mapping[str, Any], otherwise: str) -> str:
    fact = plate.get("fleet_number")
    return str(fact["value"]) if fact else otherwise
