"""Which nameplate goes with which kind of tag."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tagkit.assets.battery import Battery
from tagkit.assets.charger import Charger
from tagkit.assets.fields import plate_from
from tagkit.assets.lifting import Lifting
from tagkit.assets.room import Room
from tagkit.assets.tag import Kind
from tagkit.assets.truck import Truck

AnyPlate = Battery | Truck | Charger | Lifting | Room

PLATES: dict[Kind, type[AnyPlate]] = {
    Kind.BATTERY: Battery,
    Kind.TRUCK: Truck,
    Kind.CHARGER: Charger,
    Kind.LIFTING: Lifting,
    Kind.ROOM: Room,
}


def plate_of(kind: Kind, stored: Mapping[str, Any]) -> AnyPlate:
    """The nameplate of an asset of ``kind`` from what the record keeps."""
    return plate_from(PLATES[kind], stored)
