"""The rotation of the whole room: what goes next into the trucks of each plate.

Of each plate only as many batteries are judged as it takes to know the next ones; what goes into
one truck, and why each other battery is passed over, is asked of tagkit.jobs.rotation.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import inf

from tagkit.assets.tag import Kind
from tagkit.jobs.assets import is_married
from tagkit.jobs.care_facts import plain, when
from tagkit.jobs.fit import Beside
from tagkit.jobs.flagged import flagged
from tagkit.jobs.plates import PlateGroup, plate_groups
from tagkit.jobs.rotation import same_voltage
from tagkit.jobs.site import Site
from tagkit.record.search import Rested
from tagkit.record.state import AssetState
from tagkit.rules.rotation import Candidate, Place, next_battery

TAKES = 2
SOON = 2
_LOOKED_AT = 60
_MARGIN_KG = 10.0
"""Batteries so far outside the window are not even judged; the rule decides about the others."""


@dataclass(frozen=True)
class TruckGroup:
    """Trucks with one plate and what goes into them. The fleet must have been judged."""

    trucks: PlateGroup
    name: str
    """What people call such trucks, or empty."""
    takes: tuple[Place, ...]
    """May go now, the one rested longest first."""
    soon: tuple[Place, ...]
    """Fit, and ready at a known time."""
    trouble: str
    """Why nothing can be said; else empty."""


def truck_groups(site: Site) -> list[TruckGroup]:
    """All trucks in the fleet, by their groups and plates."""
    charged = _Charged(site)
    groups = [
        _group(site, trucks, charged) for trucks in plate_groups(site, Kind.TRUCK, "group", "model")
    ]
    return sorted(groups, key=lambda one: (one.name, one.trucks.tags))


class _Charged:
    """The charged batteries by voltage, read only as far as some group of trucks asks."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._standings = site.record.outlook().standings()
        self._read: dict[float, tuple[list[Rested], Iterator[Rested]]] = {}

    def of(self, volts: float) -> Iterator[Rested]:
        """Those of a nominal voltage, rested longest first."""
        if volts not in self._read:
            alike = [known for known in self._standings if same_voltage(known, volts)]
            self._read[volts] = [], self._site.record.rested(alike, "charged")
        read, more = self._read[volts]
        yield from read
        for one in more:
            read.append(one)
            yield one


def _group(site: Site, trucks: PlateGroup, charged: _Charged) -> TruckGroup:
    truck = trucks.example
    volts = plain(truck.nameplate.get("voltage"))
    trouble = _trouble(truck, volts)
    if trouble or volts is None:
        return TruckGroup(trucks, _name(truck), (), (), trouble)
    candidates = _candidates(site, truck, charged.of(volts))
    places = next_battery(candidates, site.now().astimezone(site.timezone())).places
    fits = {one.tag for one in candidates if one.verdict == "fit"}
    return TruckGroup(
        trucks,
        _name(truck),
        tuple(place for place in places if place.place and not place.released)[:TAKES],
        tuple(one for one in places if not one.place and one.ready_at and one.tag in fits)[:SOON],
        "",
    )


def _candidates(site: Site, truck: AssetState, charged: Iterable[Rested]) -> list[Candidate]:
    """Charged batteries in order of rest, until enough of them are known."""
    low, high = (plain(truck.nameplate.get(name)) for name in ("weight_min", "weight_max"))
    least = -inf if low is None else low - _MARGIN_KG
    most = inf if high is None else high + _MARGIN_KG
    beside = Beside(site, truck)
    found: list[Candidate] = []
    takes = soon = 0
    for row in charged:
        if row.kilograms is not None and not least <= row.kilograms <= most:
            continue
        if len(found) >= _LOOKED_AT:
            break
        candidate = _judged(site, row, beside)
        if candidate is None:
            continue
        found.append(candidate)
        ready = candidate.readiness.ready and not candidate.readiness.lifted
        takes += candidate.verdict == "fit" and ready
        soon += candidate.verdict == "fit" and candidate.readiness.ready_at is not None
        # They come in order of rest: where enough may go, nobody waits for those to come.
        if takes >= TAKES or soon >= SOON:
            break
    return found


def _trouble(truck: AssetState, volts: float | None) -> str:
    """Why no battery can be confirmed for such a truck, whichever it is."""
    if not is_married(truck):
        return "nobody has compared the figures with the trucks, so no battery is confirmed"
    if truck.unknown_kinds:
        return "their record has entries that this version can't read: update tagkit"
    if volts is None:
        return "the truck's voltage is not known, so no battery is confirmed for it"
    return ""


def _judged(site: Site, row: Rested, beside: Beside) -> Candidate | None:
    state = site.record.state(row.tag)
    if state is None:
        return None
    judged = beside.judge(state)
    place = state.place or {}
    return Candidate(
        row.tag,
        judged.verdict.result,
        judged.readiness,
        (),
        when(row.rested_since) if row.rested_since else None,
        f"in truck {place['name']}" if place.get("kind") == "truck" else "",
        flagged(site, state, beside.now) if judged.go else (),
    )


def _name(truck: AssetState) -> str:
    for field in ("group", "model"):
        if fact := truck.nameplate.get(field):
            return str(fact["value"])
    return ""
