"""Air for the charging room, by European and by US practice, with every line shown.

Faraday: 1 Ah frees 0.4182 L of hydrogen per cell at 0 °C and 101.325 kPa, 0.4565 L at 25 °C.

European practice: Q = v q s n I_gas with v = 24 (dilution to 4 % by volume) and s = 5:
Q = 0.05 n I_gas with q at 0 °C (EN 50272-3:2002), 0.055 n I_gas with q at 25 °C (guidance to
EN IEC 62485-3). I_gas by charging profile, or the charger's finishing current when larger.
Natural ventilation: inlet and outlet of at least A = 28 Q cm² each, free volume 2.5 Q m³.

US practice: hydrogen below 1 % by volume, Q = hydrogen flow / 0.01, at the stated gassing
current, else 5 A per 100 Ah.

All chargers are summed: after a power cut they start together. A planning figure only.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from tagkit.settings import VentilationSettings

Profile = Literal["IU", "IUI", "W"]
Practice = Literal["europe", "us"]

NOT_A_DESIGN = (
    "A planning figure. The room is designed and approved by a licensed engineer under local "
    "code (OSHA 29 CFR 1910.178(g), NFPA 1 and 505, EN IEC 62485-3, local fire code)."
)

GASSING_A_PER_100AH: dict[tuple[str, bool], float] = {
    ("IU", True): 2.0, ("IU", False): 1.0,
    ("IUI", True): 6.0, ("IUI", False): 1.5,
    ("W", True): 7.0,
}  # fmt: skip
"""(profile, vented) -> gassing current, A per 100 Ah; a W taper is not used on sealed cells."""

HYDROGEN_LITRES_PER_AH = {"0 °C": 0.4182, "25 °C": 0.4565}
AIR_PER_CELL_AMPERE = {"0 °C": 0.050, "25 °C": 0.055}
"""m³/h of air for each cell and A of gassing current, v q s rounded as the guidance has it."""

OPENING_CM2_PER_M3H = 28.0
VOLUME_M3_PER_M3H = 2.5
CFM_PER_M3H = 0.588578

_NO_GAS = frozenset({"lithium"})


@dataclass(frozen=True)
class GassingCharger:
    """A charger with the largest battery it charges; None: not known. Currents in A."""

    name: str
    cells: int | None = None
    capacity_ah: float | None = None
    chemistry: str | None = None
    profile: Profile | None = None
    finishing_amperes: float | None = None


@dataclass(frozen=True)
class AirFlow:
    """Air by one practice, m³/h, and how it came about, a line for each charger."""

    m3_per_hour: float
    lines: tuple[str, ...]

    @property
    def cfm(self) -> float:
        """In cubic feet a minute."""
        return self.m3_per_hour * CFM_PER_M3H


@dataclass(frozen=True)
class Ventilation:
    """The room's air. While a charger is ``unknown`` the figures are lower bounds only.

    ``natural`` tells whether the openings and the volume that are there suffice without a fan;
    None when that can't be told.
    """

    europe: AirFlow
    us: AirFlow
    governs: Practice
    opening_cm2: float
    volume_m3: float
    natural: bool | None
    unknown: tuple[str, ...]
    lines: tuple[str, ...]

    @property
    def m3_per_hour(self) -> float:
        """The larger of the two."""
        return max(self.europe.m3_per_hour, self.us.m3_per_hour)


def ventilation(
    chargers: Iterable[GassingCharger],
    settings: VentilationSettings,
    *,
    room_m3: float | None = None,
    opening_cm2: float | None = None,
) -> Ventilation:
    """Air for all ``chargers`` at once.

    ``room_m3`` is the free volume of the room, ``opening_cm2`` the smaller of inlet and outlet.
    """
    everyone = list(chargers)
    europe = _summed(_europe(charger, settings) for charger in everyone)
    us = _summed(_us(charger, settings) for charger in everyone)
    unknown = tuple(
        f"{charger.name}: {reason}" for charger in everyone if (reason := _missing(charger))
    )
    governs: Practice = "us" if us.m3_per_hour > europe.m3_per_hour else "europe"
    air = max(us.m3_per_hour, europe.m3_per_hour)
    opening, volume = OPENING_CM2_PER_M3H * air, VOLUME_M3_PER_M3H * air
    enough = [
        None if there is None else there >= needed
        for there, needed in ((opening_cm2, opening), (room_m3, volume))
    ]
    least = "at least " if unknown else ""
    natural = False if False in enough else None if unknown or None in enough else True
    if not everyone:  # nothing was asked for, so that nothing can suffice
        return Ventilation(europe, us, governs, opening, volume, None, unknown, ())
    lines = (
        f"European practice {least}{europe.m3_per_hour:.0f} m³/h, US practice "
        f"{least}{us.m3_per_hour:.0f} m³/h: "
        + (
            "which governs is not known before every charger's figures are"
            if unknown
            else f"{'US' if governs == 'us' else 'European'} practice governs"
        ),
        f"inlet and outlet: 28 × {air:.1f} = {opening:.0f} cm² each, opposite each other",
        f"free volume of the room: 2.5 × {air:.1f} = {volume:.0f} m³",
        "otherwise forced ventilation, running on for about an hour after charging",
    )
    return Ventilation(europe, us, governs, opening, volume, natural, unknown, lines)


def gassing_amperes(charger: GassingCharger) -> float | None:
    """I_gas, A: by the profile's table, or the finishing current when that is larger."""
    if charger.chemistry is None or charger.capacity_ah is None or charger.profile is None:
        return None
    per_100 = GASSING_A_PER_100AH.get((charger.profile, charger.chemistry == "vented"))
    if per_100 is None:
        return None
    return max(per_100 * charger.capacity_ah / 100, charger.finishing_amperes or 0.0)


def hydrogen_litres(ampere_hours: float, cells: int, at: str = "25 °C") -> float:
    """Hydrogen (L at 101.325 kPa) that ``ampere_hours`` of overcharge free from ``cells``."""
    return HYDROGEN_LITRES_PER_AH[at] * ampere_hours * cells


def _europe(charger: GassingCharger, settings: VentilationSettings) -> tuple[float, str] | None:
    if charger.chemistry in _NO_GAS:
        return 0.0, f"{charger.name}: this chemistry frees no hydrogen on charge"
    amperes = gassing_amperes(charger)
    if amperes is None or charger.cells is None:
        return None
    factor = AIR_PER_CELL_AMPERE[settings.hydrogen_at]
    air = factor * charger.cells * amperes
    return air, (
        f"{charger.name}: {factor:g} × {charger.cells} cells × {amperes:.1f} A = {air:.1f} m³/h"
    )


def _us(charger: GassingCharger, settings: VentilationSettings) -> tuple[float, str] | None:
    if charger.chemistry in _NO_GAS:
        return 0.0, f"{charger.name}: this chemistry frees no hydrogen on charge"
    if charger.cells is None:
        return None
    amperes = charger.finishing_amperes
    if amperes is None:
        if charger.capacity_ah is None:
            return None
        amperes = settings.amperes_per_100ah * charger.capacity_ah / 100
    hydrogen = hydrogen_litres(amperes, charger.cells) / 1000
    air = hydrogen / (settings.dilution_percent / 100)
    return air, (
        f"{charger.name}: {charger.cells} cells × {amperes:.1f} A = {hydrogen:.3f} m³/h of "
        f"hydrogen; at {settings.dilution_percent:g}% {air:.1f} m³/h"
    )


def _missing(charger: GassingCharger) -> str:
    if charger.chemistry in _NO_GAS:
        return ""
    absent = [
        words
        for words, value in (
            ("cells", charger.cells),
            ("capacity", charger.capacity_ah),
            ("chemistry", charger.chemistry),
            ("charging profile", charger.profile),
        )
        if value is None
    ]
    if absent:
        return f"{', '.join(absent)} not known"
    if gassing_amperes(charger) is None:
        return "a W taper is not for sealed batteries"
    return ""


def _summed(flows: Iterable[tuple[float, str] | None]) -> AirFlow:
    known = [flow for flow in flows if flow is not None]
    return AirFlow(sum(air for air, _ in known), tuple(line for _, line in known))
