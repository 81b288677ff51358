"""Quillmoor Cold Store, the invented depot: its sheets, its people and its built-in troubles.

Everything about it is made up. The sheets lie in ``demo_site/`` as files a person can read, in
the same form that ``tagkit receive`` takes.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tagkit.assets.tag import Kind, Tag, serials_after, tag_for
from tagkit.resources import demo_site

SITE_CODE = "QM"
SITE_NAME = "Quillmoor Cold Store"
STATION = "battery room"
ROLLER_STAND = "roller stand"

# The order in which the fleet is taken in; serials of tags are issued in this order.
_FLEET = (
    (Kind.BATTERY, "batteries.csv", "Maker's serial"),
    (Kind.TRUCK, "trucks.csv", "Fleet number"),
    (Kind.CHARGER, "chargers.csv", "Maker's serial"),
    (Kind.LIFTING, "lifting.csv", "Maker's serial"),
    (Kind.ROOM, "room.csv", "Maker's serial"),
)


@dataclass(frozen=True)
class FleetSheet:
    """One sheet of assets in use: its kind, its file and the column that names each asset."""

    kind: Kind
    path: Path
    named_by: str


@dataclass(frozen=True)
class Trained:
    """A person who may change batteries; times are months before the demo's present."""

    code: str
    initials: str
    role: str  # attendant | technician | supervisor
    trained_months_ago: int
    valid_months: int
    reference: str


@dataclass(frozen=True)
class Troubles:
    """Which battery of the fleet in use plays which trouble, by its maker's serial."""

    dying_cell: str = "21R 36105"
    dying_cell_number: int = 11
    boils_dry: str = "C/4802/20"
    labels_swapped: tuple[str, str] = ("22R 36108", "23R 36111")
    # Same case, same plug, same colour; 300 kg apart.
    heavy_twin: str = "20R 36101"
    light_twin: str = "20R 36201"
    stamp_contradicts: str = "21R 36203"
    label_eaten: str = "H/8003/21"
    # A 24 V charger between two of 36 V in the same cabinet.
    charger_out_of_place: str = "A09"
    charger_beside_it: str = "A08"


@dataclass(frozen=True)
class Showcase:
    """What the demo shows: one truck and, for it, a battery in use and three newly delivered."""

    truck: str = "C01"
    ready: str = "C/4807/24"  # of the fleet in use; charged and rested when the history ends
    fits: str = "C/4808/26"
    too_light: str = "C/4810/26"
    weight_unknown: str = "C/4811/26"


TROUBLES = Troubles()
SHOWCASE = Showcase()


def fleet_sheets() -> tuple[FleetSheet, ...]:
    """The sheets of the fleet in use, in the order in which they are taken in."""
    folder = demo_site() / "fleet"
    return tuple(FleetSheet(kind, folder / name, column) for kind, name, column in _FLEET)


def delivery_csv() -> Path:
    """The supplier's sheet of the newest delivery, troubles included, as CSV."""
    return demo_site() / "delivery" / "delivery.csv"


def delivery_workbook() -> Path:
    """The same sheet as an XLSX workbook."""
    return demo_site() / "delivery" / "delivery.xlsx"


def sample_pictures() -> Path:
    """The folder with the committed sample pictures."""
    return demo_site() / "pictures"


def people() -> tuple[Trained, ...]:
    """Everyone who works in the battery room."""
    with (demo_site() / "fleet" / "people.csv").open(encoding="utf-8", newline="") as file:
        return tuple(
            Trained(
                row["Code"],
                row["Initials"],
                row["Role"],
                int(row["Trained (months ago)"]),
                int(row["Authorised for (months)"]),
                row["Training record"],
            )
            for row in csv.DictReader(file)
        )


def first_tags() -> Mapping[str, Tag]:
    """Maker's serial or fleet number -> the tag it gets in a new, empty site.

    Tags are issued in the order of the sheets, so these never change; the committed sample
    pictures rely on it.
    """
    tags: dict[str, Tag] = {}
    for sheet in fleet_sheets():
        with sheet.path.open(encoding="utf-8", newline="") as file:
            names = [row[sheet.named_by] for row in csv.DictReader(file)]
        serials = serials_after(sheet.kind, SITE_CODE, 0)
        for name, serial in zip(names, serials, strict=False):
            tags[name] = tag_for(sheet.kind, SITE_CODE, serial)
    return tags
