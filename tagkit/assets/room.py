"""Room equipment that is checked on a schedule."""

from __future__ import annotations

from dataclasses import dataclass

from tagkit.assets.fields import choice, number, text
from tagkit.assets.stated import Stated

EQUIPMENT = {
    "eyewash": "eyewash",
    "shower": "emergency shower",
    "spill-kit": "spill kit",
    "detector": "hydrogen detector",
    "extinguisher": "fire extinguisher",
    "hydrometer": "hydrometer",
    "meter": "meter",
    "ventilation": "ventilation",
    "other": "other equipment",
}


@dataclass(frozen=True)
class Room:
    """What is checked, and how often."""

    maker_serial: Stated[str] | None = text("maker's serial")
    equipment: Stated[str] | None = choice(
        "equipment", EQUIPMENT,
        {"eye wash": "eyewash", "safety shower": "shower", "h2 detector": "detector",
         "fire extinguisher": "extinguisher", "multimeter": "meter", "voltmeter": "meter"},
    )  # fmt: skip
    location: Stated[str] | None = text("where it hangs or stands")
    check: Stated[str] | None = text("what is checked")
    check_every: Stated[int] | None = number("days between checks", 1, 3650)
