"""A round on a screen: what was keyed in, cell by cell, and the cells as they lie in the case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from tagkit.assets.tag import Kind
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import BatteryFacts, battery_facts
from tagkit.jobs.rounds import CellWords, RoundTaken
from tagkit.jobs.site import Site
from tagkit.record.state import AssetState
from tagkit.rules.flags import SEVERITIES

COLUMNS = ("gravity", "temperature", "volts", "level")
MOST_CELLS = 80


@dataclass(frozen=True)
class KeyedRound:
    """Everything on the form of a round, as text."""

    cells: tuple[CellWords, ...]
    temperature: str = ""
    extent: str = "full"
    voltage_taken: str = "at rest"
    charged: str = ""
    rested: str = ""
    hydrometer: str = ""
    keyed_by: str = ""
    note: str = ""
    confirmed: tuple[int, ...] = ()
    at: str = ""
    """When it was taken, as somebody wrote it; empty: now."""


@dataclass(frozen=True)
class CellShown:
    """One cell where it lies."""

    cell: int
    gravity: str
    volts: str
    level: str
    severity: str
    says: tuple[str, ...]
    post: str
    """+ or - at the ends of the row of cells."""


def battery_of(site: Site, number: str) -> tuple[AssetState, BatteryFacts]:
    """The battery and its figures."""
    state = asset(site.record, number, Kind.BATTERY)
    return state, battery_facts(state, site.settings)


def keyed(given: Mapping[str, str], cells: int) -> KeyedRound:
    """What a form holds. The one temperature for all cells counts where a cell has none."""
    everywhere = given.get("temperature", "").strip()
    words = []
    for cell in range(1, min(cells, MOST_CELLS) + 1):
        own = {name: given.get(f"{name}-{cell}", "").strip() for name in COLUMNS}
        if any(own.values()):
            own["temperature"] = own["temperature"] or (everywhere if own["gravity"] else "")
            words.append(CellWords(cell, **own))
    return KeyedRound(
        tuple(words),
        everywhere,
        given.get("extent") or "full",
        given.get("voltage_taken") or "at rest",
        given.get("charged", ""),
        given.get("rested", "").strip(),
        given.get("hydrometer", "").strip(),
        given.get("keyed_by", "").strip().upper(),
        given.get("note", "").strip(),
        tuple(cell for cell in range(1, MOST_CELLS + 1) if given.get(f"confirm-{cell}") == "yes"),
        given.get("at", "").strip(),
    )


def case_of(taken: RoundTaken) -> list[list[CellShown]]:
    """The cells of a round as they lie, the positive post at the first."""
    readings = {one.cell: one for one in taken.round.readings}
    judged = {one.cell: one for one in taken.round.judgement.cells}
    trends = {flag.cell: flag for flag in taken.flags if flag.cell is not None}
    last = max((cell for row in taken.rows for cell in row), default=0)
    rows = []
    for row in taken.rows:
        shown = []
        for cell in row:
            reading, found = readings.get(cell), judged.get(cell)
            flags = [*(found.flags if found else ()), *([trends[cell]] if cell in trends else [])]
            worst = max((flag.severity for flag in flags), key=SEVERITIES.index, default="")
            corrected = found.corrected if found else None
            gravity = reading.gravity if reading and corrected is None else corrected
            shown.append(
                CellShown(
                    cell,
                    "" if gravity is None else f"{gravity:.3f}",
                    "" if reading is None or reading.volts is None else f"{reading.volts:.2f} V",
                    (reading.level or "") if reading else "",
                    worst,
                    tuple(dict.fromkeys(flag.code for flag in flags)),
                    "+" if cell == 1 else "−" if cell == last else "",
                )
            )
        rows.append(shown)
    return rows
