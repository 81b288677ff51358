"""What the events of battery care hold: water, rounds, tests, repairs, inspections, steps.

Figures are kept as they were read: a number, a text of digits, or ``{"value", "unit"}`` with
the digits as marked; :func:`figure` reads all three. The battery of an event is its first tag.
Entries that are not there are unknown; events that were written before an entry existed keep
their meaning.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from tagkit.record.clock import read_time

Body = dict[str, Any]

LEVELS = ("bare", "low", "at mark", "over")
EXTENTS = ("full", "pilot")
VOLTAGE_TAKEN = ("at rest", "on charge", "under load")
REPAIRS = (
    "cell replaced", "cell jumpered", "connectors", "cables", "acid adjusted", "reweighed",
    "other",
)  # fmt: skip
INSPECTIONS = ("arrival", "periodic", "change", "hold", "equipment", "serial", "other", "report")
"""A report is what anyone noticed: it leaves something to do and counts as no inspection. Serial:
the stamped serial was compared with the label, nothing else was looked at."""
INCIDENTS = ("spill", "first aid", "near miss", "arc", "dropped battery", "fire", "other")
PROCEDURES = ("change by lifting", "change by rollers", "charging", "watering", "spill")
_DAY = re.compile(r"\d{4}-\d\d-\d\d")
LARGEST_CELL = 80
MOST_SAMPLES = 500

# kind -> (what must be there, what is filled in, which entries name assets)
CARE_SHAPES: dict[str, tuple[tuple[str, ...], tuple[tuple[str, Any], ...], tuple[str, ...]]] = {
    "watered": (
        (),
        (
            ("litres", None),
            ("cells", ()),  # [{"cell", "litres"}]
            ("before", None),
            ("after", None),
            ("quality", None),
            ("after_charge", None),
            ("flags", ()),
        ),
        (),
    ),
    "cells_read": (
        (),
        (
            ("extent", None),  # full, pilot; unknown: full
            ("cells", ()),  # [{"cell", "sg", "temperature", "level", "voltage"}]
            ("circumstances", None),
            ("after_charge", None),
            ("hours_rested", None),
            ("hours_since_water", None),
            ("charged_since_water", None),
            ("voltage_taken", "at rest"),
            ("temperature_unit", "°C"),
            ("voltage_unit", "V"),
            ("hydrometer", None),
            ("meter", None),
            ("keyed_by", None),
            ("confirmed", ()),  # cells whose critical reading was confirmed by a second press
            ("note", None),
        ),
        (),
    ),
    "capacity_tested": (
        (),
        (
            ("rate_hours", None),
            ("current", None),
            ("minutes", None),
            ("cut_off", None),
            ("temperature", None),
            ("ah", None),
            ("percent_of_rated", None),
            ("life_over", None),
            ("note", None),
        ),
        (),
    ),
    "leakage_tested": (
        (),
        (("ohm", None), ("required_ohm", None), ("passes", None), ("note", None)),
        (),
    ),
    "repaired": (
        (),
        (
            ("what", None),
            ("sort", "other"),
            ("cells", ()),
            ("changes", None),  # field -> stored fact: what the verdicts use from now on
            ("settles", ()),  # to-dos that this does
            ("note", None),
        ),
        (),
    ),
    "inspected": (
        (),
        (
            ("sort", "periodic"),
            ("what", None),
            ("findings", ()),
            ("passed", None),
            ("todo", ()),
            ("settles", ()),
            ("next_due", None),  # of lifting gear: the date until which it may lift now
            ("note", None),
        ),
        (),
    ),
    "cleaned": (
        (),
        (("with", None), ("neutralised", None), ("case_to_post_ohm", None), ("note", None)),
        (),
    ),
    "steps_confirmed": (
        (),
        (("procedure", None), ("steps", ()), ("left_out", ()), ("language", None)),
        (),
    ),
    "incident": (
        (),
        (("sort", "other"), ("what", None), ("hurt", None), ("done", None), ("place", None)),
        (),
    ),
}


def figure(value: Any) -> float | None:
    """The number in a figure as kept; None for none. ValueError for what is no number."""
    if isinstance(value, dict):
        value = value.get("value")
    if value is None:
        return None
    if isinstance(value, bool):
        raise ValueError("yes or no is no figure")
    try:
        number = float(value)
    except OverflowError:  # JSON knows whole numbers of any length
        number = math.inf
    if not math.isfinite(number):
        raise ValueError("a figure must be finite")
    return number


def celsius(value: Any, unit: str = "°C") -> float | None:
    """A temperature in °C; ``unit`` counts where the figure has none of its own."""
    number = figure(value)
    if isinstance(value, dict):
        unit = value.get("unit", unit)
    if number is None or unit == "°C":
        return number
    if unit == "°F":
        return (number - 32) * 5 / 9
    raise ValueError(f"“{unit}” is no unit of temperature")


def care_problem(kind: str, body: Mapping[str, Any]) -> str | None:
    """What is wrong with a completed body, as a clause; None when nothing is."""
    check = _CHECKS.get(kind)
    try:
        return check(body) if check else None
    except (TypeError, ValueError, KeyError, AttributeError, OverflowError) as error:
        return f"an entry of “{kind}” can't be read ({error})"


def _watered(body: Mapping[str, Any]) -> str | None:
    litres = figure(body["litres"])
    if litres is not None and not 0 <= litres <= 1000:
        return "litres are between 0 and 1000"
    for name in ("before", "after"):
        if problem := _among(body[name], LEVELS, "a level"):
            return problem
    for cell in body["cells"]:
        _cell_number(cell)
        figure(cell["litres"])
    return None


def _cells_read(body: Mapping[str, Any]) -> str | None:
    if problem := _among(body["extent"], EXTENTS, "a round"):
        return problem
    if problem := _among(body["voltage_taken"], VOLTAGE_TAKEN, "a voltage"):
        return problem
    figure(body["hours_rested"])
    figure(body["hours_since_water"])
    seen = set()
    for cell in body["cells"]:
        number = _cell_number(cell)
        if number in seen:
            return f"cell {number} is there twice"
        seen.add(number)
        gravity, volts = figure(cell.get("sg")), figure(cell.get("voltage"))
        warmth = celsius(cell.get("temperature"), body["temperature_unit"])
        if gravity is not None and not 1.0 <= gravity <= 1.35:
            return f"cell {number}: a gravity lies between 1.000 and 1.350"
        if volts is not None and not -3 <= volts <= 3:
            return f"cell {number}: a cell's voltage lies between -3 and 3 V"
        if warmth is not None and not -30.01 <= warmth <= 70.01:
            return f"cell {number}: a temperature lies between -30 and 70 °C"
        if problem := _among(cell.get("level"), LEVELS, "a level"):
            return problem
    return None


def _tested(body: Mapping[str, Any]) -> str | None:
    for name in ("rate_hours", "current", "minutes", "ah", "percent_of_rated"):
        value = figure(body[name])
        if value is not None and value < 0:
            return f"“{name}” is not below 0"
    celsius(body["temperature"])
    return None


def _leakage(body: Mapping[str, Any]) -> str | None:
    ohm = figure(body["ohm"])
    return "a resistance is not below 0" if ohm is not None and ohm < 0 else None


def _repaired(body: Mapping[str, Any]) -> str | None:
    for cell in body["cells"]:
        _cell_number({"cell": cell})
    changes = body["changes"]
    if changes is not None and not isinstance(changes, dict):
        return "“changes” names fields with their facts"
    return _texts(body, "settles") or _among(body["sort"], REPAIRS, "a repair")


def _inspected(body: Mapping[str, Any]) -> str | None:
    problem = _among(body["sort"], INSPECTIONS, "an inspection")
    for name in ("findings", "todo", "settles"):
        problem = problem or _texts(body, name)
    if body["passed"] not in (None, True, False):
        return "“passed” is yes, no or unknown"
    due = body["next_due"]
    if due is not None and not (isinstance(due, str) and _DAY.fullmatch(due)):
        return "“next_due” is a date, YYYY-MM-DD"
    return problem


def _cleaned(body: Mapping[str, Any]) -> str | None:
    figure(body["case_to_post_ohm"])
    return None


def _incident(body: Mapping[str, Any]) -> str | None:
    return _among(body["sort"], INCIDENTS, "an incident")


def _steps(body: Mapping[str, Any]) -> str | None:
    return _texts(body, "steps") or _texts(body, "left_out")


def _texts(body: Mapping[str, Any], name: str) -> str | None:
    value = body[name]
    if isinstance(value, str) or not isinstance(value, Sequence):
        return f"“{name}” is a list"
    return None if all(isinstance(one, str) for one in value) else f"“{name}” is a list of texts"


def _among(value: Any, allowed: Sequence[str], what: str) -> str | None:
    if value is None or value in allowed:
        return None
    return f"{what} is one of {', '.join(allowed)}"


def _cell_number(cell: Mapping[str, Any]) -> int:
    number = cell["cell"]
    if isinstance(number, bool) or not isinstance(number, int) or not 1 <= number <= LARGEST_CELL:
        raise ValueError(f"“{number}” is not the number of a cell")
    return number


def charge_problem(body: Mapping[str, Any]) -> str | None:
    """What is wrong with the figures of a charge's start or end; None when nothing is."""
    try:
        for name in ("ah", "highest_temperature"):
            figure(body.get(name))
        current = body.get("current") or ()
        if len(current) > MOST_SAMPLES:
            return f"at most {MOST_SAMPLES} samples of the current are kept"
        for hours, amperes in current:
            if not (_is_number(hours, LONGEST_CHARGE) and _is_number(amperes, MOST_AMPERES)):
                return "a sample of the current is hours and amperes"
        if (began := body.get("started_at")) is not None:
            read_time(began)
    except (TypeError, ValueError, OverflowError) as error:
        return f"a figure of the charge can't be read ({error})"
    return None


LONGEST_CHARGE, MOST_AMPERES = 10_000, 100_000
"""Hours and amperes beyond which no sample of a charge's current lies."""


def _is_number(value: Any, most: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) <= most


_CHECKS: dict[str, Callable[[Mapping[str, Any]], str | None]] = {
    "watered": _watered,
    "cells_read": _cells_read,
    "capacity_tested": _tested,
    "leakage_tested": _leakage,
    "repaired": _repaired,
    "inspected": _inspected,
    "cleaned": _cleaned,
    "steps_confirmed": _steps,
    "incident": _incident,
}
