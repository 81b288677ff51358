"""What happened at Quillmoor, before it is written into the record."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any


@dataclass(frozen=True)
class Named:
    """Stands in a body for the id of the event that was written under this key."""

    key: str


@dataclass(frozen=True)
class Happening:
    """One event to be: when, who, what, which assets; ``key`` lets a later one name it."""

    at: datetime
    by: str
    kind: str
    tags: tuple[str, ...]
    body: dict[str, Any] = field(default_factory=dict)
    key: str = ""
    # How long after it happened somebody entered it, in seconds.
    entered_after: int = 20


def figure(value: float, unit: str, digits: int = 0) -> dict[str, str]:
    """A reading as the record keeps it: ``{"value": "31", "unit": "°C"}``."""
    return {"value": f"{Decimal(repr(value)).quantize(Decimal(1).scaleb(-digits)):f}", "unit": unit}
