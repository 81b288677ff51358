"""Does this battery go on this charger?

Voltage, capacity range and chemistry are always checked, because a charger that states nothing
may still destroy a battery; the connector is checked when the charger states one.
"""

from __future__ import annotations

from collections.abc import Sequence

from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.rules.capacity import charger_capacity_check
from tagkit.rules.figures import figure
from tagkit.rules.lines import compared, jumpered_cells, not_married, same_words, unknown
from tagkit.rules.verdict import Check, Verdict, verdict_of


def check_charger(
    battery: Battery, charger: Charger, *, battery_married: bool, jumpered: Sequence[int]
) -> Verdict:
    """Whether ``battery`` may be charged on ``charger``, with one line for each thing compared.

    ``jumpered``: the battery's bridged cells; a charger that counts on all of them overcharges
    the others.
    """
    lines = [
        *not_married(battery_married),
        *jumpered_cells(jumpered),
        _voltage(battery, charger),
        charger_capacity_check(battery, charger),
        _chemistry(battery, charger),
    ]
    connector = figure(charger, "connector")
    if connector.stated:
        lines.append(same_words("connector", connector, figure(battery, "connector")))
    return verdict_of(lines)


def _voltage(battery: Battery, charger: Charger) -> Check:
    offers, has = figure(charger, "voltages"), figure(battery, "voltage")
    if not offers.known or not has.known:
        return unknown(
            "voltage", (has, offers), required=offers.words or None, found=has.words or None
        )
    return compared(
        "voltage",
        any(output.exact() == has.exact() for output in offers.value),
        (has, offers),
        required=offers.words,
        found=has.words,
        note=f"a {has.words} battery on a charger for {offers.words}",
    )


def _chemistry(battery: Battery, charger: Charger) -> Check:
    profiles, has = figure(charger, "chemistries"), figure(battery, "chemistry")
    if not profiles.known or not has.known:
        return unknown(
            "chemistry", (has, profiles), required=profiles.words or None, found=has.words or None
        )
    return compared(
        "chemistry",
        has.value in profiles.value,
        (has, profiles),
        required=profiles.words,
        found=has.words,
        note="the charger has no profile for this chemistry",
    )
