"""What a site can set, section by section: defaults, limits, and the comment that goes with each
in ``site.toml`` (see tagkit.site_toml)."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from tagkit.assets.payload import PayloadForm, PayloadStyle
from tagkit.errors import WrongInput


def _setting(default: Any, comment: str, low: float | None = None, high: float | None = None,
             among: tuple[str, ...] = ()) -> Any:  # fmt: skip
    return field(
        default=default, metadata={"comment": comment, "low": low, "high": high, "among": among}
    )


RETIRED = {"cells": ("failing", "failing_deviations")}
"""Settings of earlier versions, by section: a file that still has them is read without them."""


@dataclass(frozen=True)
class SiteSettings:
    """Who and where."""

    code: str = _setting("", "Site code, 2 to 4 letters; part of every number. Given out once.")
    name: str = _setting("", "Name of the site, as printed on reports.")
    language: str = _setting("en", "Language of the site's labels.", among=("en", "es"))
    units: str = _setting(
        "metric",
        "Units of the site: metric prints on A4, us on Letter, unless a template is named.",
        among=("metric", "us"),
    )
    timezone: str = _setting(
        "", "Time zone of what is shown, like Etc/UTC; empty: this computer's."
    )

    @property
    def called(self) -> str:
        """What the site is called: by its name, else by its code."""
        return self.name or self.code


@dataclass(frozen=True)
class StationSettings:
    """Defaults of the options --station and --by."""

    name: str = _setting("desk", "Name under which this computer writes into the record.")
    by: str = _setting("", "Person code used when --by is not given; empty: --by is required.")
    stand: str = _setting(
        "", "Where a battery goes that comes out and is shown no charger, like: roller stand."
    )
    steps: str = _setting(
        "brake, seated, retainer, cable, connected, works",
        "Finishing steps of a change in their order, with commas: brake, seated, retainer, cable, "
        "connected, works, or words of your own.",
    )
    procedure_steps: bool = _setting(
        False,
        "true: the steps of the change (by lifting, by rollers) stand beside the finishing steps; "
        "false: only where the site has its own list (steps.toml).",
    )
    foot_switch: str = _setting(
        "PageDown", "Key that a foot switch sends, as browsers name it (PageDown, F13 ...)."
    )
    light_tower: str = _setting(
        "",
        "Command for a light tower, run with the answer (go, stop, ask, wait, done) and the "
        "station's name after it; empty: none.",
    )

    def finishing_steps(self) -> tuple[str, ...]:
        """The steps one by one."""
        return tuple(step for one in self.steps.split(",") if (step := " ".join(one.split())))


@dataclass(frozen=True)
class AccessSettings:
    """Who may do what at the screen."""

    shift_hours: float = _setting(12.0, "Hours after which a shift ends in any case.", 0.5, 24)
    idle_hours: float = _setting(
        4.0, "Hours after which a shift ends when nothing was done.", 0.05, 24
    )
    lookup_by_phone: bool = _setting(
        True,
        "Whether any phone in the network may open the page behind a label without a shift.",
    )


@dataclass(frozen=True)
class LabelSettings:
    """What labels carry."""

    payload: str = _setting(
        "bare",
        "What the symbol says: the bare number, a link that ends in it, or a GS1 Digital Link.",
        among=tuple(form.value for form in PayloadForm),
    )
    language: str = _setting(
        "", "Language of labels; empty: the site's.", among=("", "en", "es", "en+es")
    )
    host: str = _setting("", "Host name in links, like labels.example.")
    gs1_prefix: str = _setting("", "GS1 company prefix, for the digital link.")


@dataclass(frozen=True)
class FitSettings:
    """Limits of the fit check."""

    play_mm: float = _setting(
        13.0,
        "Largest total play of a battery in its compartment, mm (common practice: 13 mm, 1/2 in).",
        0,
        100,
    )
    scale_difference_percent: float = _setting(
        2.0, "Largest difference between stamped weight and scale before it is settled, %.", 0, 20
    )
    scale_error_percent: float = _setting(
        1.0, "Error of a scale that states none, % of the reading.", 0, 10
    )


@dataclass(frozen=True)
class ReadinessSettings:
    """When a battery that fits may be used."""

    release_celsius: float = _setting(
        43.0, "Electrolyte temperature below which a charged battery may be used, °C.", 20, 60
    )
    rest_factor: float = _setting(
        1.0, "Rest after a conventional charge, as a multiple of the charging time.", 0, 4
    )
    shortest_rest_hours: float = _setting(0.0, "Rest after any conventional charge, h.", 0, 24)
    longest_rest_hours: float = _setting(
        12.0, "Rest asked for at most, h, however long the charge took.", 0, 72
    )
    cool_ends_rest: bool = _setting(
        False, "Whether a measured temperature below the release value ends the rest."
    )
    charge_start_celsius: float = _setting(
        43.0, "Highest electrolyte temperature at the start of a charge, °C.", 20, 60
    )
    charge_cold_celsius: float = _setting(
        10.0, "Below this a charge stays incomplete, °C.", -30, 30
    )


@dataclass(frozen=True)
class ConditionSettings:
    """When a label in service is to be reprinted."""

    unused_soon: float = _setting(
        0.50,
        "Error correction left below which a label is reprinted soon (ISO/IEC 15415: below B).",
        0,
        1,
    )
    unused_now: float = _setting(
        0.25, "Error correction left below which it is reprinted now (below D).", 0, 1
    )
    contrast_soon: float = _setting(
        0.40, "Contrast, (light - dark) / light, below which it is reprinted soon.", 0, 1
    )
    contrast_now: float = _setting(0.20, "Contrast below which it is reprinted now.", 0, 1)
    pattern_soon: float = _setting(
        0.14,
        "Share of a finder pattern damaged above which it is reprinted soon (a seventh).",
        0,
        1,
    )
    pattern_now: float = _setting(
        0.28, "Share of a finder pattern damaged above which it is reprinted now.", 0, 1
    )
    frame_soon: float = _setting(
        0.50, "Share of the printed frame left below which it is reprinted soon.", 0, 1
    )


@dataclass(frozen=True)
class ElectrolyteSettings:
    """Specific gravity of vented lead-acid batteries; a maker's figures for a battery go first."""

    reference_celsius: float = _setting(
        25.0,
        "Temperature that gravities are corrected to, °C (25 or 20; US 77 °F or 80 °F).",
        10,
        40,
    )
    per_kelvin: float = _setting(
        0.0007, "Gravity for each °C of correction (US practice: 0.004 for 10 °F).", 0.0004, 0.001
    )
    full: float = _setting(1.280, "Gravity of a full battery, at the reference.", 1.15, 1.35)
    discharged: float = _setting(
        1.160, "Gravity 80 % discharged, at the reference; 0 % follows in a line.", 1.05, 1.30
    )
    open_circuit: float = _setting(
        0.84, "A rested cell shows its gravity plus this, V.", 0.80, 0.90
    )
    open_circuit_error: float = _setting(
        0.05, "Further off than this, V: a wrong reading or a sick cell.", 0.01, 0.2
    )
    rest_hours: float = _setting(
        1.0, "Rest after charge before a reading can be compared with others, h.", 0, 48
    )
    water_hours: float = _setting(
        12.0,
        "After watering, gravities are not comparable for this long unless charged, h.",
        0,
        200,
    )
    freezing_margin: float = _setting(
        5.0, "Warn when freezing is closer than this to the temperature of the work, °C.", 0, 30
    )


@dataclass(frozen=True)
class CellSettings:
    """What counts as a weak cell; gravities corrected to the reference."""

    watch_spread: float = _setting(0.020, "Spread of gravities to watch.", 0.005, 0.1)
    equalize_spread: float = _setting(0.030, "Spread that asks for an equalize charge.", 0.005, 0.1)
    low: float = _setting(0.020, "A cell further below the median than this is low.", 0.005, 0.1)
    low_deviations: float = _setting(
        3.0, "... and than this many robust deviations (1.4826 x MAD).", 1, 10
    )
    suspect: float = _setting(0.050, "Further below the median than this: suspect.", 0.01, 0.2)
    volts_at_rest: float = _setting(1.7, "A rested cell below this, V, is critical.", 1.0, 2.1)
    failing_percent: float = _setting(
        33.0, "A cell is named as failing when it is at least so likely to be, %.", 5, 95
    )
    trend_rounds: float = _setting(4.0, "Comparable rounds before a trend is told.", 4, 24)
    trend_months: float = _setting(
        12.0, "A trend warns when the limit is passed within this many months.", 1, 36
    )
    confidence_percent: float = _setting(90.0, "Confidence of intervals, %.", 50, 99)


@dataclass(frozen=True)
class WaterSettings:
    """Watering of vented batteries."""

    reserve_litres: float = _setting(
        0.045,
        "Water a cell may lose between mark and low, litres for each 100 Ah of capacity "
        "(assumed; the maker's drawing or your own levels say better).",
        0.005,
        0.3,
    )
    longest_days: float = _setting(
        35.0, "Days between waterings at most, however little a battery drinks.", 1, 366
    )
    sisters_ratio: float = _setting(
        1.4, "Drinking more than this many times its sisters' median is too much.", 1.05, 10
    )
    least_sisters: float = _setting(3.0, "Sisters needed for a comparison.", 2, 20)
    cell_ratio: float = _setting(
        1.5, "A cell that takes more than this many times its neighbours' water.", 1.05, 10
    )


@dataclass(frozen=True)
class ChargingSettings:
    """Flags of use and charge."""

    deepest_percent: float = _setting(80.0, "Deepest discharge of a use, % of capacity.", 20, 100)
    discharged_percent: float = _setting(
        50.0, "Below this state of charge a standing battery counts as discharged, %.", 5, 95
    )
    standing_hours: float = _setting(24.0, "Longest time to stand discharged, h.", 1, 500)
    stored_days: float = _setting(30.0, "Stored longer without a charge: freshen, days.", 1, 366)
    full_percent: float = _setting(95.0, "From this state of charge a battery is full, %.", 50, 100)
    factor: float = _setting(
        1.15, "Ah returned for each Ah taken out (1.05 to 1.20 by profile).", 1.0, 1.4
    )
    long_ratio: float = _setting(
        1.5, "A charge this many times longer than its depth explains is too long.", 1.05, 10
    )
    full_charge_hours: float = _setting(
        8.0, "Hours that a charge from 80 % depth takes, where the charger says nothing.", 1, 24
    )
    short_percent: float = _setting(
        5.0, "A charge that returned less than this, % of capacity, is a short charge.", 0, 50
    )
    short_share_percent: float = _setting(
        60.0, "A conventional charge that returned less of the Ah taken out than this, %.", 10, 100
    )
    shortest_charge_minutes: float = _setting(
        5.0,
        "A charge shorter than this does not count as charged unless somebody confirms it, min.",
        0,
        120,
    )
    working_celsius: float = _setting(
        15.0,
        "Coldest place where the trucks work, °C, unless a truck's plate states its own "
        "(for the freezing warning).",
        -60,
        50,
    )
    stop_celsius: float = _setting(
        55.0, "Highest electrolyte temperature on charge, °C (US practice: 46 °C).", 30, 70
    )


@dataclass(frozen=True)
class LifeSettings:
    """Life, capacity tests, retirement, leakage."""

    rated_cycles: float = _setting(
        1500.0, "Cycles to 80 % depth where the maker states none (EN 60254-1).", 50, 20000
    )
    end_of_life_percent: float = _setting(80.0, "Capacity below which life has ended, %.", 50, 95)
    test_celsius: float = _setting(
        30.0, "Capacity tests are corrected to this, °C (US practice: 77 °F = 25 °C).", 10, 40
    )
    test_per_kelvin: float = _setting(
        0.006, "Capacity for each °C of a capacity test's temperature (EN 60254-1).", 0, 0.02
    )
    test_current_percent: float = _setting(
        5.0, "Largest difference of the test current from the rated one, %.", 0.1, 20
    )
    age_years: float = _setting(
        8.0, "Age at which a battery counts as old, years (for the retirement list).", 1, 30
    )
    leakage_ohm_per_volt: float = _setting(
        50.0, "Least resistance from case to post, ohm for each V of the battery.", 1, 10000
    )
    electrolyte_percent: float = _setting(
        25.0, "Electrolyte in a vented battery, % of its service weight (assumed).", 5, 60
    )


@dataclass(frozen=True)
class VentilationSettings:
    """Ventilation of the charging room; a licensed engineer designs and approves it."""

    hydrogen_at: str = _setting(
        "25 °C",
        "Volume of hydrogen taken at 0 °C (EN 50272-3:2002) or 25 °C (guidance to EN IEC 62485-3).",
        among=("0 °C", "25 °C"),
    )
    dilution_percent: float = _setting(
        1.0, "Hydrogen allowed in the room by US practice, % by volume.", 0.1, 2
    )
    amperes_per_100ah: float = _setting(
        5.0, "Gassing current by US practice where none is stated, A for 100 Ah.", 0.5, 10
    )


@dataclass(frozen=True)
class ScheduleSettings:
    """How often things are due; the battery maker's instructions go first."""

    equalize_days: float = _setting(7.0, "Equalize charge, days.", 1, 366)
    equalize_cycles: float = _setting(10.0, "... or full cycles, whichever is first.", 1, 200)
    round_days: float = _setting(
        28.0,
        "Full round, every cell, days: monthly, because a cell that dies falls behind for four or "
        "five months; with a round each quarter it is seen once or not at all.",
        1,
        366,
    )
    pilot_days: float = _setting(
        14.0, "Pilot cell, days: once between full rounds; 0: none are asked for.", 0, 366
    )
    inspection_days: float = _setting(90.0, "Inspection of a battery, days.", 1, 1000)
    cleaning_days: float = _setting(90.0, "Washing of a battery, days.", 1, 1000)
    leakage_days: float = _setting(180.0, "Case leakage test, days.", 1, 1000)
    capacity_test_days: float = _setting(
        365.0, "Capacity test, days; 0: none are asked for.", 0, 4000
    )
    capacity_test_from_years: float = _setting(
        3.0,
        "... from this age of a battery on, years: 1,500 cycles last about five years on a shift a "
        "day, so before that a test takes more life than it tells; unknown age: asked for.",
        0,
        20,
    )
    beam_days: float = _setting(
        182.0,
        "Examination of a beam, hooks and chains, days: six months for lifting accessories, twelve "
        "for hoists (so the British LOLER 1998, regulation 9; local law goes first).",
        1,
        1000,
    )
    hoist_days: float = _setting(365.0, "... of a hoist, days.", 1, 1000)
    soon_days: float = _setting(3.0, "Due within this many days is shown as due soon.", 0, 60)
    shifts: str = _setting(
        "6-14, 14-22, 22-30",
        "Shifts of the site as hours of the day, past 24 for the next morning: by these the "
        "changes on record tell how many trucks work when (for the plan of the pool).",
    )

    def shift_hours(self) -> tuple[tuple[float, float], ...]:
        """Beginning and end of each shift, hours of the day."""
        return parse_shifts(self.shifts)


def parse_shifts(text: str, where: str = "") -> tuple[tuple[float, float], ...]:
    """``6-14, 14-22, 22-30``: hours of the day; past 24 is the next morning."""
    found = []
    for part in "".join(text.split()).split(","):
        match = re.fullmatch(r"(\d{1,2}(?:\.\d+)?)[-–](\d{1,2}(?:\.\d+)?)", part)
        begin, end = (float(match[1]), float(match[2])) if match else (0.0, 0.0)
        if not (begin < 24 and begin < end <= begin + 24):
            raise WrongInput(f"“{part}” is no shift", "Write hours like 6-14 or 22-30", where)
        found.append((begin, end))
    return tuple(found)


@dataclass(frozen=True)
class PeopleSettings:
    """Authorisations."""

    run_out: str = _setting(
        "refuse",
        "Someone whose authorisation has run out is warned or refused at a change, a charge and care work.",
        among=("warn", "refuse"),
    )
    soon_days: float = _setting(
        30.0, "An authorisation that runs out within this many days is shown.", 0, 366
    )


@dataclass(frozen=True)
class ExchangeSettings:
    """Exchange with the company's other sites."""

    through: str = _setting(
        "",
        "Address of the exchange, like postgresql://tagkit_qm@db.example/tagkit; empty: none. Keep "
        "the password out of it: in a password file (PGPASSFILE) or the variable TAGKIT_EXCHANGE.",
    )
    every_seconds: float = _setting(
        60.0, "How often the server of this site exchanges, s.", 1, 86_400
    )


@dataclass(frozen=True)
class Settings:
    """Everything in site.toml."""

    site: SiteSettings = field(default_factory=SiteSettings)
    station: StationSettings = field(default_factory=StationSettings)
    access: AccessSettings = field(default_factory=AccessSettings)
    labels: LabelSettings = field(default_factory=LabelSettings)
    fit: FitSettings = field(default_factory=FitSettings)
    readiness: ReadinessSettings = field(default_factory=ReadinessSettings)
    condition: ConditionSettings = field(default_factory=ConditionSettings)
    electrolyte: ElectrolyteSettings = field(default_factory=ElectrolyteSettings)
    cells: CellSettings = field(default_factory=CellSettings)
    water: WaterSettings = field(default_factory=WaterSettings)
    charging: ChargingSettings = field(default_factory=ChargingSettings)
    life: LifeSettings = field(default_factory=LifeSettings)
    ventilation: VentilationSettings = field(default_factory=VentilationSettings)
    schedule: ScheduleSettings = field(default_factory=ScheduleSettings)
    people: PeopleSettings = field(default_factory=PeopleSettings)
    exchange: ExchangeSettings = field(default_factory=ExchangeSettings)
    logs: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """Kinds of charger's logs: name -> what is in which column."""
    current_logs: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    """Kinds of logs of the current of one charge, alike."""

    def payload_style(self) -> PayloadStyle:
        """How this site writes tags into symbols."""
        return PayloadStyle(
            PayloadForm(self.labels.payload), self.labels.host, self.labels.gs1_prefix
        )
