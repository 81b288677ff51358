"""May this battery be lifted with this beam and hoist?

Beam rated load >= battery; hoist rated load >= battery + beam + hooks; the beam insulated; lugs
inside the beam's range; inspection in date (ASME B30.16, B30.20; EN 13155). The heavier of the
stamp (with ballast) and the scale (with its error) counts, without any tolerance.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from fractions import Fraction

from tagkit.assets.battery import Battery
from tagkit.assets.lifting import Lifting
from tagkit.rules.figures import Figure, due_days, figure, in_unit, said_weight
from tagkit.rules.lines import compared, line, not_married, unknown
from tagkit.rules.verdict import Check, Verdict, verdict_of
from tagkit.rules.weight import scale_error, stamped_weight, window_words
from tagkit.settings import FitSettings


def check_lifting(
    battery: Battery,
    beam: Lifting | None,
    hoist: Lifting | None,
    *,
    today: date,
    settings: FitSettings,
    battery_married: bool,
) -> Verdict:
    """Whether ``battery`` may be lifted; None for a beam or hoist that nobody has named.

    ``today`` is the site's date, for the inspections.
    """
    lines = [
        *not_married(battery_married),
        *_beam_lines(battery, beam, today, settings),
        *_hoist_lines(battery, beam, hoist, today, settings),
    ]
    return verdict_of(lines)


def _beam_lines(
    battery: Battery, beam: Lifting | None, today: date, settings: FitSettings
) -> list[Check]:
    if beam is None:
        return [_missing("beam")]
    load, parts = _load(battery, settings)
    lines = [
        _kind(beam, "beam"),
        _carries("beam load", figure(beam, "rated_load", "beam"), load, parts),
        _insulated(beam),
        _in_date(beam, "beam", today),
    ]
    lugs = _lugs(battery, beam)
    return [*lines, lugs] if lugs else lines


def _hoist_lines(
    battery: Battery,
    beam: Lifting | None,
    hoist: Lifting | None,
    today: date,
    settings: FitSettings,
) -> list[Check]:
    if hoist is None:
        return [_missing("hoist")]
    load, parts = _load(battery, settings)
    if beam is not None:
        own, hooks = figure(beam, "own_weight", "beam"), _hooks(beam, hoist)
        parts = (*parts, own, *hooks)
        known = own.known and all(hook.known for hook in hooks)
        if load is not None:
            extra = [part.exact() for part in (own, *hooks) if part.known]
            load += sum(extra, Fraction(0))
    else:
        known = False
    rated = figure(hoist, "rated_load", "hoist")
    return [
        _kind(hoist, "hoist"),
        _carries("hoist load", rated, load, parts, whole=known),
        _in_date(hoist, "hoist", today),
    ]


def _missing(gear: str) -> Check:
    return Check(
        f"{gear} load",
        "not_confirmed",
        None,
        None,
        None,
        f"{gear} unknown",
        f"no {gear} is named: both beam and hoist must carry the load",
        "unknown",
    )


def _load(battery: Battery, settings: FitSettings) -> tuple[Fraction | None, tuple[Figure, ...]]:
    """The heaviest the battery may be (kg), and the facts that say so; None when unknown."""
    weight, reading = stamped_weight(battery), figure(battery, "weighed")
    parts = (*weight.figures, reading) if reading.stated else weight.figures
    candidates = [weight.exact()] if weight.known else []
    error = scale_error(battery, reading, settings) if reading.known else None
    if error is not None:
        candidates.append(reading.exact() + error)
    elif reading.stated and reading.known:
        parts = (*parts, figure(battery, "scale_error"))
    return (max(candidates) if candidates else None), parts


def _hooks(beam: Lifting, hoist: Lifting) -> tuple[Figure, ...]:
    """The hooks' weight as either plate states it; both count when both do."""
    both = (figure(hoist, "hooks_weight", "hoist"), figure(beam, "hooks_weight", "beam"))
    stated = tuple(hooks for hooks in both if hooks.stated)
    return stated or both[:1]


def _carries(
    name: str,
    rated: Figure,
    load: Fraction | None,
    parts: Sequence[Figure],
    whole: bool = True,
) -> Check:
    """``load`` is what is known of it; ``whole`` says whether parts are missing from the sum."""
    figures = (*parts, rated)
    required = f"at most {rated.value}" if rated.known else None
    if load is None or not rated.known:
        return unknown(name, figures, required=required)
    unit = rated.value.unit
    found = str(said_weight(load, unit, up=True))
    if load > rated.exact():
        return line(
            name, "no_fit", figures, required=required, found=found,
            margin=said_weight(rated.exact() - load, unit),
            note=f"too heavy for the {rated.owner}", code="too_heavy",
        )  # fmt: skip
    if not whole or not all(part.known for part in parts):
        return unknown(name, figures, required=required, found=f"{found} at least")
    return line(
        name, "fit", figures, required=required, found=found,
        margin=said_weight(rated.exact() - load, unit),
    )  # fmt: skip


def _insulated(beam: Lifting) -> Check:
    insulated = figure(beam, "insulated", "beam")
    if not insulated.known:
        return unknown("insulated", (insulated,), required="yes")
    return compared(
        "insulated",
        insulated.value,
        (insulated,),
        required="yes",
        found=insulated.words,
        note="a bare beam can short the battery",
    )


def _kind(gear: Lifting, wanted: str) -> Check:
    is_a = figure(gear, "gear", wanted)
    name = f"{wanted} kind"
    if not is_a.known:
        return unknown(name, (is_a,), required=wanted)
    if is_a.value == wanted:
        return line(name, "fit", (is_a,), required=wanted, found=is_a.words)
    return unknown(
        name,
        (is_a,),
        required=wanted,
        found=is_a.words,
        note=f"this is a {is_a.words}, no {wanted}",
    )


def _in_date(gear: Lifting, owner: str, today: date) -> Check:
    due = figure(gear, "inspection_due", owner)
    name = f"{owner} inspection"
    days = due_days(due.value) if due.known else None
    if days is None:
        return unknown(name, (due,), required="in date")
    first, last = days
    found = f"due {due.value}"
    if first < today <= last:
        return unknown(
            name, (due,), required="in date", found=found,
            note="the day it is due is not stated: look at the inspection mark",
        )  # fmt: skip
    return compared(
        name,
        today <= first,
        (due,),
        required="in date",
        found=found,
        note="the inspection is overdue: out of use until it is done",
    )


def _lugs(battery: Battery, beam: Lifting) -> Check | None:
    low, high = figure(beam, "lug_spacing_min", "beam"), figure(beam, "lug_spacing_max", "beam")
    if not low.stated and not high.stated:
        return None
    has = figure(battery, "lug_spacing")
    figures, required = (has, low, high), window_words(low, high)
    crossed = low.known and high.known and low.exact() > high.exact()
    if not has.known or crossed or not (low.known or high.known):
        note = "the smallest spacing is above the largest: read the plate again" if crossed else ""
        return unknown(
            "lug spacing", figures, required=required, found=has.words or None, note=note
        )
    gaps = [has.exact() - low.exact()] if low.known else []
    gaps += [high.exact() - has.exact()] if high.known else []
    margin = in_unit(min(gaps), has.value.unit)
    if min(gaps) < 0:
        return line(
            "lug spacing", "no_fit", figures, required=required, found=has.words, margin=margin,
            note="the lugs lie outside the beam's range", code="outside",
        )  # fmt: skip
    if not (low.known and high.known):
        return unknown("lug spacing", figures, required=required, found=has.words)
    return line("lug spacing", "fit", figures, required=required, found=has.words, margin=margin)
