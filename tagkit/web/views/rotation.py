"""The rotation: which battery goes next into which trucks and why, and where every other stands."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import islice

from tagkit.assets.tag import Kind
from tagkit.jobs.care_facts import time_text
from tagkit.jobs.fleet import PAGE
from tagkit.jobs.judging import DUES, Telling, telling
from tagkit.jobs.rotation import NextBattery, next_for
from tagkit.jobs.site import Site
from tagkit.jobs.telling import NOTE, RELEASED
from tagkit.jobs.truck_groups import TruckGroup, truck_groups
from tagkit.jobs.whereabouts import RELEASED_ONCE, Whereabouts, where_is, whereabouts_of
from tagkit.record.state import AssetState
from tagkit.rules.rotation import Place
from tagkit.web.judged import up_to_date
from tagkit.web.views.number import Linked
from tagkit.web.views.plates import in_one_line
from tagkit.web.views.states import role_of

TRUCKS_NAMED = 8
RELEASED_NAMED = 50


@dataclass(frozen=True)
class Next:
    """A battery in the order of a truck, and where it is."""

    place: Place
    where: Whereabouts


@dataclass(frozen=True)
class Group:
    """Trucks with one plate, and what goes into them next."""

    name: str
    what: tuple[str, ...]
    trucks: tuple[Linked, ...]
    """The first of them; of many only a few are named."""
    count: int
    takes: tuple[Next, ...]
    soon: tuple[Next, ...]
    trouble: str
    held: frozenset[str]
    """Trucks of the group that are held."""

    @property
    def all_held(self) -> bool:
        """Whether none of its trucks may be used."""
        return len(self.held) == self.count


@dataclass(frozen=True)
class Row:
    """A battery in the list of all."""

    where: Whereabouts
    role: str
    ready_at: datetime | None
    overdue: tuple[Telling, ...]


@dataclass(frozen=True)
class Released:
    """A battery that is not ready and may be used once all the same: who said so, and what it is
    released from."""

    where: Whereabouts
    given: str
    although: tuple[str, ...]


@dataclass(frozen=True)
class RotationPage:
    """Everything on the page."""

    groups: tuple[Group, ...]
    released: tuple[Released, ...]
    """Not ready, and let through for one use by a supervisor."""
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
    """What goes into one truck, and why every other battery is passed over."""

    answer: NextBattery
    called: str
    takes: tuple[Next, ...]
    released: tuple[Next, ...]
    """May go by a pass for one use alone."""
    passed: tuple[Next, ...]


def rotation_page(site: Site, units: str, number: int) -> RotationPage:
    """The rotation of the whole room."""
    current, now = up_to_date(site), site.now()
    listed = site.record.rotation((number - 1) * PAGE, PAGE)
    return RotationPage(
        tuple(_group(site, group, units) for group in truck_groups(site)),
        tuple(_released(site, now)),
        site.record.outlook().counts(time_text(now)),
        tuple(_row(site, state, ready_at, now) for state, ready_at in listed.rows),
        listed.total,
        number,
        max(1, -(-listed.total // PAGE)),
        now,
        current,
    )


def truck_rotation(site: Site, truck: str) -> TruckRotation:
    """The rotation as one truck sees it."""
    answer = next_for(site, truck)
    listed = [_next(site, place) for place in answer.places]
    may_go = [one for one in listed if one.place.place and not answer.truck_against]
    return TruckRotation(
        answer,
        answer.known_as or answer.truck,
        tuple(one for one in may_go if not one.place.released),
        tuple(one for one in may_go if one.place.released),
        tuple(one for one in listed if not one.place.place or answer.truck_against),
    )


def _group(site: Site, group: TruckGroup, units: str) -> Group:
    trucks = group.trucks
    return Group(
        group.name,
        tuple(in_one_line(Kind.TRUCK, trucks.example.nameplate, units)),
        tuple(
            Linked(tag, name if name != tag else None)
            for tag, name in islice(zip(trucks.tags, trucks.names, strict=True), TRUCKS_NAMED)
        ),
        len(trucks.tags),
        tuple(_next(site, place) for place in group.takes),
        tuple(_next(site, place) for place in group.soon),
        group.trouble,
        trucks.held,
    )


def _released(site: Site, now: datetime) -> Iterator[Released]:
    """Those whose pass still stands and that are not ready without it."""
    passes = site.record.outlook().notices_with(NOTE, RELEASED, time_text(now), RELEASED_NAMED)
    for one in passes:
        where = where_is(site, one.tag)
        if where.state == RELEASED_ONCE:
            given, *although = where.reasons
            yield Released(where, given, tuple(although))


def _next(site: Site, place: Place) -> Next:
    return Next(place, where_is(site, place.tag))


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
