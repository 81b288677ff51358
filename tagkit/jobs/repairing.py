"""Repairs, and what each changes: the baseline of a cell, and the figures that verdicts use.

- cell replaced: its readings begin a new baseline; one that was jumpered counts again.
- cell jumpered: two volts less, and a temporary repair: no verdict is a fit until the cell is
  replaced, whatever the other figures say.
- acid adjusted: every cell named (or all) begins a new baseline.
- reweighed: the scale's weight stands beside the stamp, and both must be inside the window.
- connectors, cables: what is on the battery now is what the check compares.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from tagkit.assets.battery import Battery
from tagkit.assets.chemistry import CHEMISTRIES
from tagkit.assets.fields import fields_of, read_fact
from tagkit.assets.stated import Source
from tagkit.assets.tag import Kind
from tagkit.errors import WrongInput
from tagkit.jobs.assets import asset
from tagkit.jobs.care_facts import BatteryFacts, battery_facts
from tagkit.jobs.people import require_technician
from tagkit.jobs.site import Site
from tagkit.record.care_bodies import REPAIRS
from tagkit.record.envelope import Event
from tagkit.record.state import AssetState

CAUTION = (
    "Only qualified people open a battery: insulated tools, no jewellery, face shield, gloves, "
    "apron; ventilate, no flame; never lift by the cells. What changes capacity, voltage or "
    "weight needs the truck maker's written approval."
)
VOLTS_A_CELL = 2
_MOST_CELLS = 80
"""Of a battery whose number of cells is not known."""
_MARKS = {
    "connectors": ("connector",),
    "cables": ("cable_side", "cable_length"),
    "reweighed": ("weighed", "scale_error"),
}


@dataclass(frozen=True)
class Repaired:
    """A repair as recorded; ``changes`` are the figures that verdicts use from now on."""

    event: Event
    battery: str
    changes: dict[str, Any]
    notes: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """As ``tagkit repair --json`` prints it."""
        return {
            "event": self.event.id,
            "battery": self.battery,
            "sort": self.event.body["sort"],
            "cells": self.event.body["cells"],
            "changes": self.changes,
            "settles": self.event.body["settles"],
            "notes": list(self.notes),
        }


def repair(
    site: Site,
    battery: str,
    sort: str,
    *,
    cells: Sequence[int] = (),
    what: str | None = None,
    marks: dict[str, str] | None = None,
    settles: Sequence[str] = (),
    by: str,
    station: str,
    at: datetime | None = None,
) -> Repaired:
    """Record a repair. ``marks`` are figures as read now, by field: ``weighed`` and
    ``scale_error``, ``connector``, ``cable_side``, ``cable_length``.

    ``settles`` names to-dos by id, or "all". A technician does it. WrongInput says what goes
    with which repair.
    """
    if sort not in REPAIRS:
        raise WrongInput(f"“{sort}” is no repair", f"One of: {', '.join(REPAIRS)}", "SORT")
    if sort == "other" and not what:
        raise WrongInput("what was done is not said", "Add --what in a few words", "--what")
    given = _read_marks(sort, marks or {})
    with site.record.writing(by=by, station=station, at=at) as writing:
        state = asset(writing, battery, Kind.BATTERY)
        require_technician(site, by)
        facts = battery_facts(state, site.settings)
        _check_chemistry(sort, facts)
        numbers = _cells(sort, cells, facts)
        changes = {**given, **_series(sort, numbers, state, facts)}
        event = writing.append(
            "repaired",
            [state.tag],
            {
                "what": what,
                "sort": sort,
                "cells": numbers,
                "changes": changes or None,
                "settles": settled(state, settles),
            },
        )
    return Repaired(event, state.tag, changes, tuple(_notes(sort, changes)))


def settled(state: AssetState, wanted: Sequence[str]) -> list[str]:
    """Ids of open to-dos; "all" is every one. WrongInput for one that is not open."""
    known = [one["id"] for one in state.todos]
    if "all" in wanted:
        return known
    for one in wanted:
        if one not in known:
            raise WrongInput(
                f"“{one}” is no open to-do of {state.tag}",
                f"Open are: {', '.join(known) or 'none'}",
                "--settles",
            )
    return list(wanted)


def _check_chemistry(sort: str, facts: BatteryFacts) -> None:
    """Acid is adjusted in cells that can be opened; a lithium cell is not bridged."""
    chemistry = CHEMISTRIES.get(facts.chemistry or "", facts.chemistry)
    if sort == "acid adjusted" and facts.chemistry is not None and not facts.watered:
        raise WrongInput(
            f"{facts.tag} is {chemistry}: it has no acid to adjust",
            "Leave it closed; if that is wrong, amend its chemistry",
            "SORT",
        )
    if sort == "cell jumpered" and facts.chemistry == "lithium":
        raise WrongInput(
            f"{facts.tag} is {chemistry}: its cells are not bridged",
            "Hold it and call its maker; if that is wrong, amend its chemistry",
            "SORT",
        )


def _cells(sort: str, cells: Sequence[int], facts: BatteryFacts) -> list[int]:
    needed = sort in ("cell replaced", "cell jumpered")
    if needed and not cells:
        raise WrongInput(
            "which cell is not said", "Add --cell N, counted from the positive post", "--cell"
        )
    most = facts.cells or _MOST_CELLS
    for cell in cells:
        if not 1 <= cell <= most:
            raise WrongInput(
                f"{facts.tag} has no cell {cell}", "Count from the positive post", "--cell"
            )
    return sorted(set(cells))


_STATED_AS = {
    "weighed": "Weight on the scale, when reweighed",
    "scale_error": "Error of the scale",
    "connector": "Connector that is on it now",
    "cable_side": "Side of the cable",
    "cable_length": "Length of the cable",
}


def _read_marks(sort: str, marks: dict[str, str]) -> dict[str, Any]:
    specs = fields_of(Battery)
    allowed = _MARKS.get(sort, ())
    stored = {}
    for field, text in marks.items():
        if field not in allowed:
            stated = _STATED_AS[field]
            raise WrongInput(
                f"{stated}: not asked with this repair, {sort}",
                "Amend other figures with “tagkit amend”",
                specs[field].label,
            )
        origin = Source.WEIGHED if sort == "reweighed" else Source.STAMPED
        stored[field] = read_fact(specs[field], text, origin).stored()
    if sort == "reweighed" and "weighed" not in stored:
        raise WrongInput("the weight is missing", "Add --weight with its unit", "--weight")
    return stored


def _series(
    sort: str, cells: Sequence[int], state: AssetState, facts: BatteryFacts
) -> dict[str, Any]:
    """Voltage and number of cells after a cell was bridged, or put back into the row."""
    if sort == "cell jumpered":
        out = [cell for cell in cells if cell not in state.jumpered]
        change = -len(out)
    elif sort == "cell replaced":
        change = len([cell for cell in cells if cell in state.jumpered])
    else:
        return {}
    if change == 0:
        return {}
    if facts.volts is None or facts.in_series is None:
        raise WrongInput(
            f"voltage or number of cells of {facts.tag} is not known",
            f"Amend them first: tagkit amend {facts.tag} --set voltage=V --set cells=N",
        )
    source = Source.STAMPED.value
    return {
        "voltage": {
            "value": f"{facts.volts + VOLTS_A_CELL * change:g}", "unit": "V", "source": source,
        },
        "cells": {"value": facts.in_series + change, "source": source},
    }  # fmt: skip


def _notes(sort: str, changes: dict[str, Any]) -> list[str]:
    notes = []
    if sort == "cell jumpered":
        notes.append(
            f"It has {changes['voltage']['value']} V now. A jumpered cell is a temporary repair: no "
            "check is a fit until the cell is replaced."
            if changes
            else "It was jumpered already."
        )
    if sort == "cell replaced":
        notes.append("Use a cell of the same make and type, and weigh the battery again.")
    if sort in ("cell replaced", "cell jumpered", "acid adjusted"):
        notes.append("Readings before this are no longer compared with those after it.")
    if sort in ("reweighed", "connectors", "cables"):
        notes.append("Check the fit again.")
    return notes
