"""Ventilation of the charging room, from the chargers and batteries of the record; acid total."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Literal

from tagkit.assets.tag import Kind
from tagkit.jobs.care_facts import battery_facts, plain
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState
from tagkit.rules.acid import AcidBattery, AcidInventory, acid_inventory
from tagkit.rules.electrolyte import corrected_gravity
from tagkit.rules.ventilation import NOT_A_DESIGN, GassingCharger, Ventilation, ventilation

SAY_FIGURES = (
    "What is not known of a charger is said with “tagkit amend CHARGER --set FIELD=VALUE”, as on its "
    "plate: characteristic (the charging profile), chemistries, voltages, capacity-max. Cells and "
    "capacity also come from the batteries that go on it."
)
_PROFILES: dict[str, Literal["IU", "IUI", "W"]] = {"iu": "IU", "iui": "IUI", "w": "W"}


@dataclass(frozen=True)
class RoomAir:
    """The air that the room needs while all of its chargers gas at once."""

    result: Ventilation
    chargers: tuple[GassingCharger, ...]
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit plan ventilation --json`` prints it."""
        found = self.result

        def flow(value: Any) -> dict[str, Any]:
            return {
                "air": {"value": round(value.m3_per_hour, 1), "unit": "m³/h"},
                "cfm": round(value.cfm, 1),
                "derivation": list(value.lines),
            }

        return {
            "europe": flow(found.europe),
            "us": flow(found.us),
            "governs": found.governs,
            "air": {"value": round(found.m3_per_hour, 1), "unit": "m³/h"},
            "opening_each": {"value": round(found.opening_cm2), "unit": "cm²"},
            "free_volume": {"value": round(found.volume_m3), "unit": "m³"},
            "natural": found.natural,
            "lower_bound": bool(found.unknown),
            "unknown": list(found.unknown),
            "lines": list(found.lines),
            "notes": list(self.notes),
        }


def plan_ventilation(
    site: Site, *, room_m3: float | None = None, opening_cm2: float | None = None
) -> RoomAir:
    """Air for all chargers in use, each with the largest battery that it charges.

    ``room_m3``: free volume of the room; ``opening_cm2``: the smaller of inlet and outlet.
    """
    batteries = _sorts(site)
    chargers = [
        _gassing(state, batteries)
        for state in site.record.states(Kind.CHARGER)
        if not state.retired_at and state.registered_at
    ]
    result = ventilation(
        chargers, site.settings.ventilation, room_m3=room_m3, opening_cm2=opening_cm2
    )
    notes = (SAY_FIGURES, NOT_A_DESIGN) if result.unknown else (NOT_A_DESIGN,)
    return RoomAir(result, tuple(chargers), notes)


@dataclass(frozen=True)
class _Sort:
    """Batteries of the fleet that a charger does not tell apart."""

    volts: float | None
    capacity_ah: float
    cells: int | None
    chemistry: str | None


def _sorts(site: Site) -> list[_Sort]:
    """The sorts of batteries that the fleet has: there are few, however many batteries."""
    found: dict[_Sort, None] = {}
    for state in site.record.states(Kind.BATTERY):
        if state.retired_at:
            continue
        facts = battery_facts(state, site.settings)
        if facts.capacity_ah:
            found[_Sort(facts.volts, facts.capacity_ah, facts.in_series, facts.chemistry)] = None
    return list(found)


def _gassing(charger: AssetState, batteries: list[_Sort]) -> GassingCharger:
    """A charger with the largest capacity among those its plate allows and the fleet has."""
    plate = charger.nameplate
    volts = [value for fact in _values(plate.get("voltages")) if (value := plain(fact)) is not None]
    highest, most = max(volts, default=None), plain(plate.get("capacity_max"))
    fitting = [
        one for one in batteries if one.volts in volts and (not most or one.capacity_ah <= most)
    ]
    largest = max(fitting, key=lambda one: one.capacity_ah, default=None)
    chemistries = _values(plate.get("chemistries"))
    chemistry = largest.chemistry if largest else None
    if "vented" in chemistries or (chemistry is None and chemistries):
        chemistry = "vented" if "vented" in chemistries else str(chemistries[0])
    shape = plate.get("characteristic")
    return GassingCharger(
        _name(charger),
        cells=largest.cells if largest else round(highest / 2) if highest else None,
        capacity_ah=largest.capacity_ah if largest else most,
        chemistry=chemistry,
        profile=_PROFILES.get(str(shape["value"])) if shape else None,
        finishing_amperes=plain(plate.get("finishing_current")),
    )


def _name(charger: AssetState) -> str:
    bay = charger.nameplate.get("bay")
    return f"{charger.tag} ({bay['value']})" if bay else charger.tag


def _values(fact: Any) -> list[Any]:
    value = fact.get("value") if isinstance(fact, dict) else None
    return list(value) if isinstance(value, list) else []


@dataclass(frozen=True)
class AcidTotal:
    """Sulphuric acid in the fleet, for hazardous-chemical inventories."""

    inventory: AcidInventory
    waiting: tuple[str, ...]
    """Batteries that have left the fleet without a receipt: they are counted, as still here."""

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit plan acid --json`` prints it."""
        found = self.inventory
        return {
            "electrolyte": {"value": round(found.electrolyte_kg, 1), "unit": "kg"},
            "acid": {"value": round(found.acid_kg, 1), "unit": "kg"},
            "acid_lb": round(found.acid_lb, 1),
            "counted": found.counted,
            "assumed": found.assumed,
            "unknown": list(found.unknown),
            "reported": found.reported,
            "waiting_for_receipt": list(self.waiting),
        }


def acid_total(site: Site) -> AcidTotal:
    """The total over every battery that is here, as far as the record tells."""
    batteries, waiting = [], []
    for state in site.record.states(Kind.BATTERY):
        if state.registered_at is None or (state.retired_at and state.receipt):
            continue
        if state.retired_at:
            waiting.append(state.tag)
        facts = battery_facts(state, site.settings)
        full = plain(state.nameplate.get("full_gravity"))
        marked = plain(state.nameplate.get("gravity_temperature"))
        if full is not None and marked is not None:
            full = corrected_gravity(full, marked, 25.0)
        batteries.append(AcidBattery(state.tag, facts.chemistry, facts.kilograms, full))
    return AcidTotal(
        acid_inventory(batteries, site.settings.life, site.settings.electrolyte.full),
        tuple(waiting),
    )
