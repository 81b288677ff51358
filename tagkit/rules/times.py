"""A moment as a message says it to people: day, hour and minute, never the record's own writing."""

from __future__ import annotations

from datetime import datetime, tzinfo


def readable(moment: datetime | str, zone: tzinfo | None) -> str:
    """“2031-05-04 14:20” by the clock of ``zone``; None: of this computer. ``moment`` may be as
    the record keeps it."""
    return f"{_read(moment).astimezone(zone):%Y-%m-%d %H:%M}"


def readable_anywhere(moment: datetime | str) -> str:
    """“14:20 on 2031-05-04 (UTC+02:00)”: with its own offset, where no clock is known."""
    at = _read(moment)
    offset = at.strftime("%z")
    zone = "UTC" if offset == "+0000" else f"UTC{offset[:3]}:{offset[3:5]}"
    return f"{at:%H:%M} on {at:%Y-%m-%d} ({zone})"


def _read(moment: datetime | str) -> datetime:
    return datetime.fromisoformat(moment) if isinstance(moment, str) else moment
