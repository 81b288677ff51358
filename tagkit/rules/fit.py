"""Does this battery fit this truck?

Voltage, weight and chemistry are always checked; everything else the truck's plate may require
is checked when it states it. A figure that is not known is never a fit. Whatever stands in the
nameplates, nothing here raises: what can't be read can't be confirmed.

Sources: ISO 3691-1, ANSI/ITSDF B56.1 and UL 583 for the nameplate's voltage and battery weight;
UL 583 for types E, ES, EE, EX; EN 1755 for the ATEX category; common practice of at most 13 mm
(1/2 in) of play in the compartment.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction

from tagkit.assets.battery import Battery
from tagkit.assets.truck import Truck
from tagkit.rules.capacity import truck_capacity_check
from tagkit.rules.charger_fit import check_charger
from tagkit.rules.figures import Figure, exact_setting, figure, in_unit
from tagkit.rules.lifting_fit import check_lifting
from tagkit.rules.lines import (
    at_least,
    at_most,
    compared,
    jumpered_cells,
    line,
    not_married,
    same_choice,
    same_words,
    unknown,
)
from tagkit.rules.verdict import Check, Verdict, verdict_of
from tagkit.rules.weight import scale_check, weight_check
from tagkit.settings import FitSettings
from tagkit.units import Quantity

__all__ = ["check_charger", "check_fit", "check_lifting"]


def check_fit(
    battery: Battery,
    truck: Truck,
    *,
    settings: FitSettings,
    battery_married: bool,
    truck_married: bool,
    jumpered: Sequence[int],
) -> Verdict:
    """Whether ``battery`` may go into ``truck``, with one line for each thing compared.

    ``…_married``: somebody has compared the recorded figures with the asset itself (a fleet taken
    in as stamped counts). ``jumpered``: the battery's bridged cells. There is no override for any
    line; wrong data is amended away from the station and the check runs again.
    """
    lines: list[Check | None] = [
        *not_married(battery_married, "truck", truck_married),
        *jumpered_cells(jumpered),
        _voltage(battery, truck),
        weight_check(battery, truck),
        scale_check(battery, truck, settings),
        _chemistry(battery, truck),
        truck_capacity_check(battery, truck),
        _compartment("length", battery, truck, settings),
        _compartment("width", battery, truck, settings),
        _stated(at_most, "height", "height", battery, truck, "higher than the compartment"),
        _stated(same_words, "connector", "connector", battery, truck),
        _stated(same_choice, "cable side", "cable_side", battery, truck),
        _stated(
            at_least, "cable length", "cable_length", battery, truck, "the cable does not reach"
        ),
        _stated(same_choice, "hazardous location", "hazard_type", battery, truck),
        _stated(same_words, "ATEX category", "atex_category", battery, truck),
    ]
    return verdict_of(check for check in lines if check is not None)


def _voltage(battery: Battery, truck: Truck) -> Check:
    needed, has = figure(truck, "voltage"), figure(battery, "voltage")
    if not needed.known or not has.known:
        return unknown(
            "voltage", (has, needed), required=needed.words or None, found=has.words or None
        )
    return compared(
        "voltage",
        needed.exact() == has.exact(),
        (has, needed),
        required=needed.words,
        found=has.words,
        note=f"a {has.words} battery in a {needed.words} truck",
    )


def _chemistry(battery: Battery, truck: Truck) -> Check:
    allowed, has = figure(truck, "chemistries"), figure(battery, "chemistry")
    if not allowed.stated:
        return _assumed_chemistry(has)
    if not allowed.known or not has.known:
        return unknown(
            "chemistry", (has, allowed), required=allowed.words or None, found=has.words or None
        )
    return compared(
        "chemistry",
        has.value in allowed.value,
        (has, allowed),
        required=allowed.words,
        found=has.words,
        note="not among the chemistries the truck allows",
    )


def _assumed_chemistry(has: Figure) -> Check:
    required = "vented lead-acid (assumed: the truck states none)"
    source = f"{has.said_by}, truck assumed"
    if has.known and has.value == "vented" and not has.assumed:
        note = "the truck states no chemistry; vented lead-acid is assumed"
        return Check("chemistry", "fit", required, has.words, None, source, note, "assumed")
    note = "the truck states no chemistry: only vented lead-acid is assumed, ask the truck's maker"
    if has.trouble:
        note = f"{has.trouble}; {note}"
    return Check(
        "chemistry", "not_confirmed", required, has.words or None, None, source, note, "assumed"
    )


def _compartment(side: str, battery: Battery, truck: Truck, settings: FitSettings) -> Check | None:
    room, has = figure(truck, f"compartment_{side}"), figure(battery, side)
    if not room.stated:
        return None
    spacer = figure(truck, f"spacer_{side}")
    figures = (has, room, spacer) if spacer.stated else (has, room)
    required = _room_words(room, spacer, settings)
    if not all(part.known for part in figures):
        return unknown(side, figures, required=required, found=has.words or None)
    taken = has.exact() + (spacer.exact() if spacer.stated else Fraction(0))
    play, most = room.exact() - taken, exact_setting(settings.play_mm)
    unit = has.value.unit
    if play < 0:
        over = _about(-play, unit)
        return line(
            side, "no_fit", figures, required=required, found=has.words,
            margin=in_unit(play, unit), note=f"does not go in: {over} too large", code="too_long",
        )  # fmt: skip
    loose = _about(play, unit)
    return compared(
        side,
        play <= most,
        figures,
        required=required or "",
        found=has.words,
        margin=in_unit(min(play, most - play), unit),
        note=f"{loose} of play: the battery can slide; approved spacers are needed",
    )


def _about(exact: Fraction, unit: str) -> Quantity:
    """How much is wrong, for a sentence: what is converted from inches needs no hundredths."""
    return in_unit(exact, unit, 1 if unit == "mm" else 2, up=True)


def _room_words(room: Figure, spacer: Figure, settings: FitSettings) -> str | None:
    if not room.known:
        return None
    spaced = f" less {spacer.value} of spacers" if spacer.known and spacer.exact() else ""
    return f"{room.value}{spaced}, play at most {settings.play_mm:g} mm"


def _stated(
    rule: Callable[..., Check], name: str, field: str, battery: Battery, truck: Truck, *note: str
) -> Check | None:
    """The line of a requirement that counts only when the truck's plate states it."""
    needed = figure(truck, field if field != "height" else "compartment_height")
    return rule(name, needed, figure(battery, field), *note) if needed.stated else None
