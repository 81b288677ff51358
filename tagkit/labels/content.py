"""What a label says about its asset, before anything has a place or a size.

A figure nobody knows is said to be unknown, never left blank; one that only stands in a
supplier's sheet is marked as to be confirmed. How numbers are written: amounts.py.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from tagkit.assets.battery import Battery
from tagkit.assets.card import Card, CardKind
from tagkit.assets.charger import Charger
from tagkit.assets.kinds import PLATES, AnyPlate
from tagkit.assets.lifting import Lifting
from tagkit.assets.room import Room
from tagkit.assets.stated import Source, Stated
from tagkit.assets.tag import Kind, Tag
from tagkit.assets.truck import Truck
from tagkit.errors import WrongInput
from tagkit.labels.amounts import amount, in_two_units, several, span, together, window
from tagkit.labels.fonts import face
from tagkit.labels.words import cautions, kind_word, languages_of, word
from tagkit.units import Quantity

State = Literal["known", "to be confirmed", "unknown", "not noted"]


@dataclass(frozen=True)
class Figure:
    """One thing a person checks by eye."""

    name: str  # voltage | weight | capacity | chemistry | connector | …
    caption: str
    parts: tuple[str, ...]  # one below the other
    side_by_side: str  # the same on one line
    state: State


@dataclass(frozen=True)
class LabelContent:
    """Everything a label can show; a template picks from it."""

    kind: Kind | CardKind
    tag: Tag | Card
    payload: str
    language: str
    title: str  # the kind of asset, with the truck's fleet number or the charger's bay
    figures: tuple[Figure, ...]
    signs: tuple[str, ...]
    cautions: tuple[str, ...]
    site_name: str
    revision: int
    revision_words: str
    sorting: str  # maker's serial and order of unloading
    headline: tuple[str, ...] = ()  # cards only: the word that is read from afar


def content_for(
    kind: Kind,
    tag: Tag,
    plate: AnyPlate,
    payload: str,
    language: str,
    site_name: str,
    revision: int = 1,
    unloading: int | None = None,
) -> LabelContent:
    """What the label of this asset says. ``language`` is "en", "es" or "en+es"."""
    languages_of(language)
    if not isinstance(plate, PLATES[kind]) or tag.kind is not kind:
        raise WrongInput(
            f"{tag} is not the number of a {kind.noun} with such a nameplate",
            "Give the nameplate that belongs to the number",
        )
    if revision < 1:
        raise WrongInput(f"revision {revision} is not possible", "Count revisions from 1")
    figures, caution, signs = _BY_KIND[kind](plate, language)
    return LabelContent(
        kind=kind,
        tag=tag,
        payload=payload,
        language=language,
        title=_title(kind, plate, language),
        figures=figures,
        signs=signs,
        cautions=cautions(caution, language),
        site_name=face("regular").printable(site_name.strip()),
        revision=revision,
        revision_words=f"{word('revision', language)} {revision}",
        sorting=_sorting(plate, language, unloading),
    )


def _battery(plate: Battery, language: str) -> tuple[tuple[Figure, ...], str, tuple[str, ...]]:
    weight = _figure(
        "weight",
        "weight",
        plate.weight,
        language,
        "enter stamped",
        lambda value: in_two_units(value, language),
        _bracketed,
    )
    if plate.ballast is not None and plate.weight is not None and plate.ballast.value.value > 0:
        weight = _with_ballast(weight, plate.weight, plate.ballast, language)
    figures = (
        _figure(
            "voltage",
            "voltage",
            plate.voltage,
            language,
            "enter stamped",
            lambda value: (amount(value, language),),
        ),
        weight,
        _capacity(plate, language),
        _choice("chemistry", "chemistry", plate.chemistry, language, "enter stamped"),
        _noted("connector", "connector", plate.connector, language, _written),
    )
    chemistry = plate.chemistry.value if plate.chemistry else "vented"
    caution = {"vented": "acid", "lithium": "lithium"}.get(chemistry, "sealed")
    signs = ("W023", "W021", "W026", "P003", "M004", "M009")
    return figures, caution, signs


def _truck(plate: Truck, language: str) -> tuple[tuple[Figure, ...], str, tuple[str, ...]]:
    figures = (
        _figure(
            "voltage",
            "battery voltage",
            plate.voltage,
            language,
            "enter nameplate",
            lambda value: (amount(value, language),),
        ),
        _window("weight", "battery weight", plate.weight_min, plate.weight_max, language),
    )
    return figures, "truck", ("W023", "P003")


def _charger(plate: Charger, language: str) -> tuple[tuple[Figure, ...], str, tuple[str, ...]]:
    figures = (
        _figure(
            "voltage",
            "output voltage",
            plate.voltages,
            language,
            "enter nameplate",
            lambda values: (several(values, language),),
        ),
        _capacity_range(plate, language),
    )
    return figures, "charger", ("W026", "W021", "P003", "M004")


def _lifting(plate: Lifting, language: str) -> tuple[tuple[Figure, ...], str, tuple[str, ...]]:
    figures = (
        _choice("gear", "gear", plate.gear, language, "enter nameplate"),
        _figure("rated load", "rated load", plate.rated_load, language, "enter nameplate",
                lambda value: in_two_units(value, language, math.floor), _bracketed),
        _figure("weight", "own weight", plate.own_weight, language, "enter nameplate",
                lambda value: in_two_units(value, language, math.ceil), _bracketed),
    )  # fmt: skip
    return figures, "lifting", ()


def _room(plate: Room, language: str) -> tuple[tuple[Figure, ...], str, tuple[str, ...]]:
    days = word("days", language)
    figures = (
        _choice("equipment", "equipment", plate.equipment, language, "enter nameplate"),
        _noted("check", "check", plate.check, language, _written),
        _noted("check every", "check every", plate.check_every, language,
               lambda value: (f"{value} {days}",)),
    )  # fmt: skip
    return figures, "room", ()


_BY_KIND: dict[Kind, Callable[[Any, str], tuple[tuple[Figure, ...], str, tuple[str, ...]]]] = {
    Kind.BATTERY: _battery,
    Kind.TRUCK: _truck,
    Kind.CHARGER: _charger,
    Kind.LIFTING: _lifting,
    Kind.ROOM: _room,
}


def _side_by_side(parts: tuple[str, ...]) -> str:
    return " / ".join(parts)


def _bracketed(parts: tuple[str, ...]) -> str:
    """The converted figure in brackets after the one that is marked."""
    return f"{parts[0]} ({parts[1]})"


def _figure(
    name: str,
    caption: str,
    fact: Stated[Any] | None,
    language: str,
    remedy: str,
    parts: Callable[[Any], tuple[str, ...]],
    joined: Callable[[tuple[str, ...]], str] = _side_by_side,
) -> Figure:
    if fact is None:
        return _unknown(name, caption, language, remedy)
    found = parts(fact.value)
    return _found(name, word(caption, language), found, joined(found), [fact.source], language)


def _noted(
    name: str,
    caption: str,
    fact: Stated[Any] | None,
    language: str,
    parts: Callable[[Any], tuple[str, ...]],
) -> Figure:
    """A fact that is good to have and forbids nothing when it is missing."""
    if fact is None:
        missing = word("not noted", language)
        return Figure(name, word(caption, language), (missing,), missing, "not noted")
    found = parts(fact.value)
    return Figure(name, word(caption, language), found, _side_by_side(found), "known")


def _found(
    name: str,
    caption: str,
    parts: tuple[str, ...],
    joined: str,
    sources: list[Source],
    language: str,
) -> Figure:
    unsure = _is_unsure(sources)
    if unsure:
        caption = f"{caption} · {word('to be confirmed', language)}"
    return Figure(name, caption, parts, joined, "to be confirmed" if unsure else "known")


def _is_unsure(sources: list[Source]) -> bool:
    """Whether something rests on a sheet or a guess, and on no stamp or nameplate."""
    return any(source in (Source.CATALOGUE, Source.ASSUMED) for source in sources)


def _unknown(name: str, caption: str, language: str, remedy: str) -> Figure:
    both = tuple(word("unknown", part) for part in languages_of(language))
    said = f"{word(caption, language)} · {word(remedy, language)}"
    return Figure(name, said, both, _side_by_side(both), "unknown")


def _choice(
    name: str, caption: str, fact: Stated[str] | None, language: str, remedy: str
) -> Figure:
    return _figure(
        name, caption, fact, language, remedy,
        lambda value: tuple(dict.fromkeys(word(value, part) for part in languages_of(language))),
    )  # fmt: skip


def _capacity(plate: Battery, language: str) -> Figure:
    if plate.capacity is None:
        return _unknown("capacity", "capacity", language, "enter stamped")
    sources = [plate.capacity.source]
    if plate.capacity_rate is not None:
        rate = f"{plate.capacity_rate.value} h"
        sources.append(plate.capacity_rate.source)
    else:
        rate = word("rate unknown", language)
    parts = (amount(plate.capacity.value, language), f"({rate})")
    return _found("capacity", word("capacity", language), parts, " ".join(parts), sources, language)


def _capacity_range(plate: Charger, language: str) -> Figure:
    low, high = plate.capacity_min, plate.capacity_max
    if low is None or high is None:
        return _unknown("capacity", "battery capacity", language, "enter nameplate")
    rate = word("rate unknown", language)
    sources = [low.source, high.source]
    if plate.capacity_rate is not None:
        rate = f"{plate.capacity_rate.value} h"
        sources.append(plate.capacity_rate.source)
    parts = (span(low.value, high.value, language), f"({rate})")
    return _found("capacity", word("battery capacity", language), parts, " ".join(parts),
                  sources, language)  # fmt: skip


def _window(
    name: str,
    caption: str,
    low: Stated[Quantity] | None,
    high: Stated[Quantity] | None,
    language: str,
) -> Figure:
    if low is None or high is None:
        return _unknown(name, caption, language, "enter nameplate")
    parts = window(low.value, high.value, language)
    return _found(name, word(caption, language), parts, _bracketed(parts),
                  [low.source, high.source], language)  # fmt: skip


def _with_ballast(
    weight: Figure, stated: Stated[Quantity], ballast: Stated[Quantity], language: str
) -> Figure:
    both = amount(together(stated.value, ballast.value), language)
    said = f"{weight.caption} · {word('with ballast', language)} {both}"
    if _is_unsure([ballast.source]) and not _is_unsure([stated.source]):
        said = f"{said} {word('to be confirmed', language)}"
    return Figure(weight.name, said, weight.parts, weight.side_by_side, weight.state)


def _written(value: str) -> tuple[str, ...]:
    return (face("bold").printable(value),)


def _title(kind: Kind, plate: AnyPlate, language: str) -> str:
    name = plate.fleet_number if isinstance(plate, Truck) else None
    if isinstance(plate, Charger):
        name = plate.bay
    kind_of_asset = kind_word(kind, language)
    return kind_of_asset if name is None else (
        f"{kind_of_asset}  {face('bold').printable(name.value)}")  # fmt: skip


def _sorting(plate: AnyPlate, language: str, unloading: int | None) -> str:
    serial = plate.maker_serial
    said = (
        f"{word('serial', language)} {face('regular').printable(serial.value)}"
        if serial is not None
        else word("no serial", language)
    )
    return said if unloading is None else f"{word('unloading', language)} {unloading} · {said}"
