"""Who is asking: a person, a station, a role."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

Role = Literal["guest", "attendant", "technician", "supervisor"]
RANK: dict[Role, int] = {"guest": 0, "attendant": 1, "technician": 2, "supervisor": 3}


@dataclass(frozen=True)
class Visitor:
    """The person and the station behind a request.

    ``person`` is a code or None while nobody has begun a shift; ``station`` is the name under
    which this device writes into the record; ``csrf`` is the token that its forms carry.
    """

    person: str | None
    initials: str
    role: Role
    station: str
    language: str
    units: str
    csrf: str
    at_station: bool = True
    """Whether the device is an enrolled station or the computer that serves."""
    shift_until: datetime | None = None
    """When the shift ends if nothing is done meanwhile; None without a shift of its own (the
    person is then the one that site.toml names)."""
    pin_wanted: bool = False
    """The person is a supervisor and acts as a technician until the PIN is given."""
    ran_out: str | None = None
    """Last day of an authorisation that has run out, at a site that only warns."""

    def may(self, role: Role) -> bool:
        """Whether this person has at least ``role``."""
        return RANK[self.role] >= RANK[role]
