"""A year of Quillmoor's battery room, written into a record.

The same seed and the same last moment give the same year, event for event (ids and signatures
apart, which belong to the record).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import groupby
from random import Random
from typing import Any

from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.assets.kinds import AnyPlate, plate_of
from tagkit.assets.lifting import Lifting
from tagkit.assets.room import Room
from tagkit.assets.stated import Source, Stated
from tagkit.assets.tag import Kind, Tag, parse_tag
from tagkit.assets.truck import Truck
from tagkit.demo.care import Care, Equipment
from tagkit.demo.cells import cells_of
from tagkit.demo.happenings import Happening, Named
from tagkit.demo.pool import Pool, PoolBattery, PoolCharger, PoolTruck
from tagkit.demo.roster import ROLLER_STAND, STATION, TROUBLES, people
from tagkit.demo.troubles import Story
from tagkit.errors import WrongInput
from tagkit.record.record import Record
from tagkit.rules.fit import check_fit
from tagkit.settings import FitSettings

SEED = 417
DAYS = 365
# Mean share of the capacity a truck uses in a shift, by its voltage: two shifts on a battery. With
# more, the batteries at hand would not be charged and rested again in time (8 h + 8 h).
_NEEDS = {24: 0.33, 36: 0.30, 48: 0.32, 80: 0.29}
_NEED_OF_LIGHT_ONES = 0.07  # small pallet trucks, used now and then
_LIGHT_KG = 300.0


class DemoClock:
    """A clock that is set by hand: give it to the record, then to :func:`write_history`."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now


@dataclass(frozen=True)
class History:
    """What was written."""

    events: int
    first: datetime
    last: datetime


def history_start(until: datetime, days: int = DAYS) -> datetime:
    """The midnight at which the year that ends at ``until`` begins. Take the fleet in before."""
    midnight = until.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
    return midnight - timedelta(days=days)


def write_history(
    record: Record,
    tags: Mapping[str, Tag],
    until: datetime,
    *,
    clock: DemoClock | None = None,
    seed: int = SEED,
    days: int = DAYS,
    progress: Callable[[int, int], None] | None = None,
) -> History:
    """Writes the year that ends at ``until`` (aware) into ``record``, one week a transaction.

    ``tags`` maps each maker's serial (trucks: fleet number) of the fleet in use to its tag;
    names it does not have are an error. ``clock`` is the one the record was opened with: it is
    moved along, so that everything is recorded shortly after it happened, and stands at
    ``until`` in the end. ``days`` shortens the year, with all of its troubles. ``progress`` is
    told events written and events in all.
    """
    happenings = year_of(plates_in(record, tags), tags, until, seed=seed, days=days)
    ids: dict[str, str] = {}
    written = 0
    for _, week in groupby(happenings, key=lambda event: _entered(event).isocalendar()[:2]):
        with record.writing("SW", STATION) as writing:
            for happening in week:
                if clock is not None:
                    clock.now = _entered(happening)
                event = writing.append(
                    happening.kind,
                    happening.tags,
                    _resolved(happening.body, ids),
                    at=happening.at,
                    by=happening.by,
                )
                if happening.key:
                    ids[happening.key] = event.id
                written += 1
        if progress is not None:
            progress(written, len(happenings))
    if clock is not None:
        clock.now = until
    return History(written, happenings[0].at, happenings[-1].at)


def plates_in(record: Record, tags: Mapping[str, Tag]) -> dict[str, AnyPlate]:
    """The nameplates that the record has of the fleet, by the same names as ``tags``."""
    plates = {}
    for name, tag in tags.items():
        state = record.state(tag)
        if state is None or state.registered_at is None:
            raise WrongInput(f"{tag} ({name}) is not in the record", "Take the fleet in first")
        plates[name] = plate_of(tag.kind, state.nameplate)
    return plates


def year_of(
    plates: Mapping[str, AnyPlate],
    tags: Mapping[str, Tag],
    until: datetime,
    *,
    seed: int = SEED,
    days: int = DAYS,
) -> list[Happening]:
    """The year as a list, in the order in which it was entered; nothing is written."""
    start = history_start(until, days)
    random = Random(seed)
    pool = _pool(plates, tags, random, start)
    room = [Equipment(str(tags[name]), plate) for name, plate in plates.items()
            if isinstance(plate, Room)]  # fmt: skip
    care = Care(pool, room)
    Story(pool, _names(plates, tags), until).prepare()
    _authorise(pool, until)
    _certify(pool, plates, tags, until)
    pool.at(start + timedelta(hours=5), pool.settle)
    for day in range(days + 1):
        midnight = start + timedelta(days=day)
        pool.at(midnight, care.day_begins)
        pool.at(midnight, pool.day_begins)
    pool.run(until)
    return sorted((event for event in pool.log if _entered(event) <= until), key=_entered)


def _entered(happening: Happening) -> datetime:
    return happening.at + timedelta(seconds=happening.entered_after)


def _resolved(body: dict[str, Any], ids: Mapping[str, str]) -> dict[str, Any]:
    return {
        name: ids[value.key] if isinstance(value, Named) else value for name, value in body.items()
    }


def _names(plates: Mapping[str, AnyPlate], tags: Mapping[str, Tag]) -> dict[str, str]:
    names = {name: str(tag) for name, tag in tags.items()}
    roles = {TROUBLES.charger_out_of_place: "charger out of place",
             TROUBLES.charger_beside_it: "charger beside it"}  # fmt: skip
    for name, plate in plates.items():
        if isinstance(plate, Charger) and plate.bay and plate.bay.value in roles:
            names[roles[plate.bay.value]] = str(tags[name])
    return names


def _pool(
    plates: Mapping[str, AnyPlate], tags: Mapping[str, Tag], random: Random, start: datetime
) -> Pool:
    batteries = [
        PoolBattery(str(tags[name]), plate, cells_of(plate, random), age_years=_age(plate, start))
        for name, plate in plates.items()
        if isinstance(plate, Battery)
    ]
    chargers = [
        PoolCharger(str(tags[name]), plate, shows_ah=_highest_voltage(plate) >= 48)
        for name, plate in plates.items()
        if isinstance(plate, Charger)
    ]
    trucks: list[PoolTruck] = []
    for name, plate in plates.items():
        if isinstance(plate, Truck):
            in_trucks = [truck.battery for truck in trucks]
            trucks.append(_truck(str(tags[name]), plate, batteries, in_trucks, random))
    return Pool(batteries, trucks, chargers, ROLLER_STAND, random, start)


def _truck(
    tag: str, plate: Truck, batteries: Sequence[PoolBattery], taken: Sequence[PoolBattery],
    random: Random,
) -> PoolTruck:  # fmt: skip
    verdicts = {}
    fits = []
    for battery in batteries:
        if _volts(battery.plate) != _volts(plate):
            continue  # spares two thirds of the checks
        verdict = check_fit(
            battery.plate, plate, settings=FitSettings(), battery_married=True, truck_married=True,
            jumpered=(),
        )  # fmt: skip
        if verdict.fits:
            fits.append(battery)
            verdicts[battery.tag] = verdict.to_json()
    free = [battery for battery in fits if not any(battery is other for other in taken)]
    if not free:
        raise WrongInput(f"no battery of the fleet is left for truck {tag}", "Check the sheets")
    light = plate.weight_max is not None and plate.weight_max.value.base() < _LIGHT_KG
    need = _NEED_OF_LIGHT_ONES if light else _NEEDS.get(round(_volts(plate)), 0.35)
    need += random.uniform(-0.03, 0.03)
    return PoolTruck(
        tag, plate, fits, free[0], need, random.uniform(3000, 14000),
        in_the_cold=round(_volts(plate)) == 36, verdicts=verdicts,
    )  # fmt: skip


def _volts(plate: Battery | Truck) -> float:
    return plate.voltage.value.base() if plate.voltage else 0.0


def _highest_voltage(plate: Charger) -> float:
    return max(voltage.base() for voltage in plate.voltages.value) if plate.voltages else 0.0


def _age(plate: Battery, start: datetime) -> float:
    if plate.in_service_on is None:
        return 3.0
    return max(0.0, start.year - int(plate.in_service_on.value[:4]) + 0.5)


def _authorise(pool: Pool, until: datetime) -> None:
    """Everyone is authorised on day one; who was trained since is authorised again then."""
    for person in people():
        trained = until - timedelta(days=30.4 * person.trained_months_ago)
        ends = trained + timedelta(days=30.4 * person.valid_months)
        body = {"person": person.code, "initials": person.initials, "role": person.role}
        renewed = trained > pool.start
        first = {"until": (trained + timedelta(days=20)).date().isoformat(), "reference": None}
        last = {"until": ends.date().isoformat(), "reference": person.reference}
        pool.say(pool.start + timedelta(hours=4), "SW", "authorised", (),
                 body | (first if renewed else last))  # fmt: skip
        if renewed:
            pool.say(trained, "DC" if person.code == "SW" else "SW", "authorised", (), body | last)


def _certify(
    pool: Pool, plates: Mapping[str, AnyPlate], tags: Mapping[str, Tag], until: datetime
) -> None:
    """Hoist and beam were examined in the year, and are in date at its end."""
    due = (until + timedelta(days=140)).date().isoformat()
    for name, plate in plates.items():
        if isinstance(plate, Lifting):
            fact = Stated(due, Source.NAMEPLATE).stored()
            examined = max(until - timedelta(days=225), pool.start + timedelta(hours=10))
            pool.say(examined, "SW", "amended", (str(tags[name]),), {
                "changes": {"inspection_due": fact},
                "reason": "thorough examination passed, new plate",
                "second": "DC",
            })  # fmt: skip


def fleet_tags(record: Record) -> dict[str, Tag]:
    """The names that :func:`write_history` wants, from a record that has the fleet."""
    tags: dict[str, Tag] = {}
    for state in record.states():
        tag = parse_tag(state.tag)
        name = state.fleet_number if tag.kind is Kind.TRUCK else state.maker_serial
        if name:
            tags[name] = tag
    return tags
